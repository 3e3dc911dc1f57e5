package signin

import (
	"context"

	"example.org/remelt/ledger"
)

// Caller is who asks.
type Caller struct {
	Shop   string
	Person string
	Name   string      // the person's, for people
	Duty   ledger.Duty // what they may do now, with this credential
	Device string      // the token's name, when they came with a token or a paired device
}

type callerKey struct{}

// With tells those behind who asks.
func With(ctx context.Context, c Caller) context.Context {
	return context.WithValue(ctx, callerKey{}, c)
}

// From is who asks; false for nobody, where nobody needs to sign in.
func From(ctx context.Context) (Caller, bool) {
	c, ok := ctx.Value(callerKey{}).(Caller)
	return c, ok
}

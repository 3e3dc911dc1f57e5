package ledger

import (
	"context"
	"time"
)

// SecretKind says what a secret is for.
type SecretKind string

// Kinds of secret.
const (
	SecretPassword   SecretKind = "password"   // by person
	SecretToken      SecretKind = "token"      // by token
	SecretSession    SecretKind = "session"    // by the hash of what the browser holds
	SecretInvitation SecretKind = "invitation" // by the hash of its code
	SecretPairing    SecretKind = "pairing"    // by the hash of its code
)

// Secret is what a sign-in is checked against: a hash, never the thing itself.
// It is kept beside the log and not in it, because entries are exported, and stay
// for ever: an old password's hash would be there to be guessed at for as long as
// the book lasts. Nothing of the book depends on a secret; who loses them all
// makes new ones.
type Secret struct {
	Kind    SecretKind
	ID      string
	For     string    // the person or token it stands for
	Hash    []byte    // where ID is not a hash already
	Made    time.Time // to the millisecond
	Expires time.Time // zero: never
}

// Secrets is the part of a store that keeps them, each shop's apart. Errors are
// as those of Store.
type Secrets interface {
	// KeepSecret keeps s in the place of what has its kind and id, and forgets
	// those of the shop that expired before s was made.
	KeepSecret(ctx context.Context, shop string, s Secret) error

	// Secret returns a secret, also an expired one.
	Secret(ctx context.Context, shop string, kind SecretKind, id string) (s Secret, found bool, err error)

	// TakeSecret returns a secret and forgets it, so that of those who ask for
	// it at once just one has it.
	TakeSecret(ctx context.Context, shop string, kind SecretKind, id string) (s Secret, found bool, err error)

	// AllSecrets returns all of a shop, by kind and id.
	AllSecrets(ctx context.Context, shop string) ([]Secret, error)
}

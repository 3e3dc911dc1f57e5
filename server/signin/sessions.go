package signin

import (
	"context"
	"slices"
	"time"

	"example.org/remelt/ledger"
)

// Session is a sign-in of somebody's that is good.
type Session struct {
	Since, Until time.Time
	This         bool // it is the one that asks
}

// Sessions are the sign-ins of whoever sent a credential, the latest first; none of a
// program or a device, which stand for a token.
func (d *Door) Sessions(ctx context.Context, sent string) ([]Session, error) {
	var out []Session
	mine, own, err := d.sessions(ctx, sent)
	for _, s := range mine {
		out = append(out, Session{Since: s.Made, Until: s.Expires, This: s.ID == own})
	}
	slices.SortStableFunc(out, func(a, b Session) int { return b.Since.Compare(a.Since) })
	return out, err
}

// SignOutEverywhere ends every sign-in of whoever sent a credential, this one too.
// Their tokens and devices stay good.
func (d *Door) SignOutEverywhere(ctx context.Context, sent string) error {
	mine, _, err := d.sessions(ctx, sent)
	defer d.known.end()
	for _, s := range mine {
		if _, _, err := d.store.TakeSecret(ctx, s.shop, ledger.SecretSession, s.ID); err != nil {
			return err
		}
	}
	return err
}

type sessionOf struct {
	ledger.Secret
	shop string
}

// sessions are the good ones of whoever sent a credential, and the id of that one.
func (d *Door) sessions(ctx context.Context, sent string) (mine []sessionOf, own string, err error) {
	who, err := d.Identify(ctx, sent)
	if err != nil || who.Device != "" {
		return nil, "", err
	}
	p, err := d.person(ctx, who.Shop, who.Person)
	if err != nil {
		return nil, "", err
	}
	all, err := d.store.AllSecrets(ctx, who.Shop)
	for _, s := range all {
		if s.Kind == ledger.SecretSession && s.For == p.ID && d.now().Before(s.Expires) && !s.Made.Before(p.Password) {
			mine = append(mine, sessionOf{s, who.Shop})
		}
	}
	is, _ := parse(sent) // it was identified
	return mine, digestID(is.secret), err
}

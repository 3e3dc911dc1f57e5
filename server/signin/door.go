package signin

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"log/slog"
	"sync"
	"time"

	"example.org/remelt/ledger"
)

// How long what people sign in with is good for.
const (
	SessionTime    = 12 * time.Hour // a working day, used or not
	InvitationTime = 24 * time.Hour
	PairingTime    = 10 * time.Minute
)

// Door lets people, programs and devices in. Make one with New.
type Door struct {
	store ledger.Store
	now   func() time.Time
	log   *slog.Logger

	waits   waits
	hashing chan struct{} // bounds the memory that hashing passwords takes

	mu     sync.Mutex
	people map[string]bool // shops that were found to have people; they keep them
}

// New makes the door of a store's shops.
func New(store ledger.Store, now func() time.Time, log *slog.Logger) *Door {
	return &Door{store: store, now: now, log: log, waits: waits{now: now, all: map[string]tries{}},
		hashing: make(chan struct{}, 4), people: map[string]bool{}}
}

func (d *Door) book(shop string) *ledger.Book {
	return &ledger.Book{Store: d.store, Shop: shop, Now: d.now}
}

// HasPeople reports whether somebody can sign in and manage the shop.
func (d *Door) HasPeople(ctx context.Context, shop string) (bool, error) {
	d.mu.Lock()
	known := d.people[shop]
	d.mu.Unlock()
	if known {
		return true, nil
	}
	yes, err := d.book(shop).HasPeople(ctx)
	if err == nil && yes {
		d.mu.Lock()
		d.people[shop] = true
		d.mu.Unlock()
	}
	return yes, err
}

// moment is the time now, as exactly as it is kept.
func (d *Door) moment() time.Time { return d.now().UTC().Truncate(time.Millisecond) }

func notSignedIn(reason, want string) error {
	return &ledger.Error{Class: ledger.ErrSignIn, Reason: reason, Want: want}
}

var errNotKnown = notSignedIn("BAD_CREDENTIAL", "this sign-in is not known here; sign in again, or make another token")

// Identify tells who sent a credential, if it is good at this moment.
func (d *Door) Identify(ctx context.Context, sent string) (Caller, error) {
	c, ok := parse(sent)
	if !ok {
		return Caller{}, errNotKnown
	}
	if c.token != "" {
		kept, found, err := d.store.Secret(ctx, c.shop, ledger.SecretToken, c.token)
		if err != nil {
			return Caller{}, err
		}
		if !found || subtle.ConstantTimeCompare(kept.Hash, digest(c.secret)) != 1 {
			return Caller{}, errNotKnown
		}
		return d.byToken(ctx, c.shop, c.token)
	}
	kept, found, err := d.store.Secret(ctx, c.shop, ledger.SecretSession, digestID(c.secret))
	if err != nil {
		return Caller{}, err
	}
	if !found {
		return Caller{}, errNotKnown
	}
	if !d.now().Before(kept.Expires) {
		return Caller{}, notSignedIn("SIGN_IN_OVER", "the time of this sign-in is over; sign in again")
	}
	if id, device := cutToken(kept.For); device {
		return d.byToken(ctx, c.shop, id)
	}
	p, err := d.person(ctx, c.shop, kept.For)
	if err != nil {
		return Caller{}, err
	}
	if kept.Made.Before(p.Password) {
		return Caller{}, notSignedIn("SIGN_IN_OVER", "the password was changed since; sign in again")
	}
	return Caller{Shop: c.shop, Person: p.ID, Name: p.Name, Duty: p.Duty}, nil
}

// byToken is who a token stands for, if it is good.
func (d *Door) byToken(ctx context.Context, shop, id string) (Caller, error) {
	got, err := ledger.Get[ledger.Token](ctx, d.book(shop), ledger.RecToken, id)
	if err != nil {
		return Caller{}, unknownAs(err, errNotKnown)
	}
	t := got.Value
	switch {
	case t.Revoked:
		return Caller{}, notSignedIn("TOKEN_REVOKED", "this token, or what this device may do, was ended")
	case !d.now().Before(t.Expires):
		return Caller{}, notSignedIn("TOKEN_EXPIRED", "the time of this token or device is over")
	}
	p, err := d.person(ctx, shop, t.Person)
	if err != nil {
		return Caller{}, err
	}
	c := Caller{Shop: shop, Person: p.ID, Name: p.Name, Duty: t.Duty, Device: t.Name}
	if !p.Duty.Covers(t.Duty) { // their person may do less by now
		c.Duty = p.Duty
	}
	return c, nil
}

// person is somebody who may sign in.
func (d *Door) person(ctx context.Context, shop, id string) (ledger.Person, error) {
	got, err := ledger.Get[ledger.Person](ctx, d.book(shop), ledger.RecPerson, id)
	if err != nil {
		return ledger.Person{}, unknownAs(err, errNotKnown)
	}
	if got.Value.Disabled {
		return ledger.Person{}, notSignedIn("PERSON_DISABLED", "may not sign in any more")
	}
	return got.Value, nil
}

// begin starts a session for a person or, with token, a device. after is the
// moment it must not be older than.
func (d *Door) begin(ctx context.Context, shop, holder string, after time.Time, good time.Duration) (string, error) {
	c := credential{shop: shop, secret: rand.Text() + rand.Text()}
	made := d.moment()
	if made.Before(after) {
		made = after
	}
	return c.String(), d.store.KeepSecret(ctx, shop, ledger.Secret{Kind: ledger.SecretSession, ID: digestID(c.secret),
		For: holder, Made: made, Expires: made.Add(good)})
}

// SignOut ends a session. A token stays good.
func (d *Door) SignOut(ctx context.Context, sent string) error {
	c, ok := parse(sent)
	if !ok || c.token != "" {
		return nil
	}
	_, _, err := d.store.TakeSecret(ctx, c.shop, ledger.SecretSession, digestID(c.secret))
	return err
}

// KeepToken makes the secret of a token that is in the book, in the place of one
// it had, and returns what its program is to send.
func (d *Door) KeepToken(ctx context.Context, shop, id string) (string, error) {
	c := credential{shop: shop, token: id, secret: rand.Text() + rand.Text()}
	return c.String(), d.store.KeepSecret(ctx, shop, ledger.Secret{Kind: ledger.SecretToken, ID: id, For: id,
		Hash: digest(c.secret), Made: d.moment()})
}

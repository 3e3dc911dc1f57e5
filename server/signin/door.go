package signin

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
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
	known   known
	hashing chan struct{} // bounds the memory that hashing passwords takes

	mu     sync.Mutex
	people map[string]bool      // shops that were found to have people; they keep them
	none   map[string]time.Time // those that were found to have none, and when
}

// noneFor is how long a shop that has no people is taken to have none: on this
// server the first one ends it at once, on another that shares the store a moment
// later.
const noneFor = time.Second

// mostNone bounds what is remembered: ids come from outside.
const mostNone = 1024

// New makes the door of a store's shops.
func New(store ledger.Store, now func() time.Time, log *slog.Logger) *Door {
	return &Door{store: store, now: now, log: log, known: known{all: map[[sha256.Size]byte]knownCaller{}}, waits: waits{now: now, all: map[string]tries{}},
		hashing: make(chan struct{}, 4), people: map[string]bool{}, none: map[string]time.Time{}}
}

func (d *Door) book(shop string) *ledger.Book {
	return &ledger.Book{Store: d.store, Shop: shop, Now: d.now}
}

// HasPeople reports whether somebody can sign in and manage the shop.
func (d *Door) HasPeople(ctx context.Context, shop string) (bool, error) {
	d.mu.Lock()
	known, asked := d.people[shop], d.none[shop]
	d.mu.Unlock()
	if known || time.Since(asked) < noneFor {
		return known, nil // whoever is first is known at once
	}
	began := time.Now()
	yes, err := d.book(shop).HasPeople(ctx)
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case err != nil:
		return false, err
	case yes:
		d.people[shop] = true
	case !d.people[shop]: // nobody became the first meanwhile
		if len(d.none) >= mostNone {
			clear(d.none)
		}
		d.none[shop] = began
	}
	return d.people[shop], nil
}

// setPeople notes that a shop has people from now on, if it has.
func (d *Door) setPeople(ctx context.Context, shop string) error {
	yes, err := d.book(shop).HasPeople(ctx)
	if err == nil && yes {
		d.mu.Lock()
		d.people[shop] = true
		d.mu.Unlock()
	}
	return err
}

// moment is the time now, as exactly as it is kept.
func (d *Door) moment() time.Time { return d.now().UTC().Truncate(time.Millisecond) }

func notSignedIn(reason, want string) error {
	return &ledger.Error{Class: ledger.ErrSignIn, Reason: reason, Want: want}
}

var errNotKnown = notSignedIn("BAD_CREDENTIAL", "this sign-in is not known here; sign in again, or make another token")

// Identify tells who sent a credential, if it is good at this moment.
func (d *Door) Identify(ctx context.Context, sent string) (Caller, error) {
	if c, found := d.known.get(sent, d.now()); found {
		return c, nil
	}
	ends, asked := d.known.now(), time.Now()
	c, good, err := d.identify(ctx, sent)
	if err == nil {
		d.known.put(sent, c, asked, good, ends)
	}
	return c, err
}

// Changed says that something was recorded of people or tokens.
func (d *Door) Changed() { d.known.end() }

// identify asks the book who sent a credential, and until when it is good.
func (d *Door) identify(ctx context.Context, sent string) (c Caller, good time.Time, err error) {
	is, ok := parse(sent)
	if !ok {
		return c, good, errNotKnown
	}
	if is.token != "" {
		kept, found, err := d.store.Secret(ctx, is.shop, ledger.SecretToken, is.token)
		if err != nil {
			return c, good, err
		}
		if !found || subtle.ConstantTimeCompare(kept.Hash, digest(is.secret)) != 1 {
			return c, good, errNotKnown
		}
		return d.byToken(ctx, is.shop, is.token)
	}
	kept, found, err := d.store.Secret(ctx, is.shop, ledger.SecretSession, digestID(is.secret))
	if err != nil {
		return c, good, err
	}
	if !found {
		return c, good, errNotKnown
	}
	if !d.now().Before(kept.Expires) {
		return c, good, notSignedIn("SIGN_IN_OVER", "the time of this sign-in is over; sign in again")
	}
	if id, device := cutToken(kept.For); device {
		return d.byToken(ctx, is.shop, id)
	}
	p, err := d.person(ctx, is.shop, kept.For)
	if err != nil {
		return c, good, err
	}
	if kept.Made.Before(p.Password) {
		return c, good, notSignedIn("SIGN_IN_OVER", "the password was changed since; sign in again")
	}
	return Caller{Shop: is.shop, Person: p.ID, Name: p.Name, Duty: p.Duty}, kept.Expires, nil
}

// byToken is who a token stands for, if it is good, and until when.
func (d *Door) byToken(ctx context.Context, shop, id string) (c Caller, good time.Time, err error) {
	got, err := ledger.Get[ledger.Token](ctx, d.book(shop), ledger.RecToken, id)
	if err != nil {
		return c, good, unknownAs(err, errNotKnown)
	}
	t := got.Value
	switch {
	case t.Revoked:
		return c, good, notSignedIn("TOKEN_REVOKED", "this token, or what this device may do, was ended")
	case !d.now().Before(t.Expires):
		return c, good, notSignedIn("TOKEN_EXPIRED", "the time of this token or device is over")
	}
	p, err := d.person(ctx, shop, t.Person)
	if err != nil {
		return c, good, err
	}
	c = Caller{Shop: shop, Person: p.ID, Name: p.Name, Duty: t.Duty, Device: t.Name}
	if !p.Duty.Covers(t.Duty) { // their person may do less by now
		c.Duty = p.Duty
	}
	return c, t.Expires, nil
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
	d.known.end()
	return err
}

// KeepToken makes the secret of a token that is in the book, in the place of one
// it had, and returns what its program is to send.
func (d *Door) KeepToken(ctx context.Context, shop, id string) (string, error) {
	c := credential{shop: shop, token: id, secret: rand.Text() + rand.Text()}
	defer d.known.end() // of the one it had
	return c.String(), d.store.KeepSecret(ctx, shop, ledger.Secret{Kind: ledger.SecretToken, ID: id, For: id,
		Hash: digest(c.secret), Made: d.moment()})
}

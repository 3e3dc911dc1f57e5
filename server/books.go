package server

import (
	"context"
	"errors"
	"sync"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// books gives the book of each shop of one store.
type books struct {
	store ledger.Store
	now   func() time.Time

	mu    sync.Mutex
	known map[string]*shop.Shop
}

// mostKnown bounds what is remembered: ids come from outside, and anybody can
// ask for a shop that does not exist.
const mostKnown = 1024

func newBooks(store ledger.Store, now func() time.Time) *books {
	return &books{store: store, now: now, known: map[string]*shop.Shop{}}
}

// book gives a shop's book. A shop that has none gets an empty one: reading it
// finds nothing, and the only write it takes is its opening.
func (b *books) book(_ context.Context, id string) (*shop.Shop, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.known[id]
	if s == nil {
		if len(b.known) >= mostKnown {
			clear(b.known)
		}
		s = shop.New(b.store, id, b.now)
		b.known[id] = s
	}
	return s, nil
}

// watchedStore tells what became of each write, after the commit.
type watchedStore struct {
	ledger.Store
	wrote  func(shop string, err error)
	people func() // something was recorded of people; may be nil
}

// Update implements ledger.Store.
func (w watchedStore) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	people := false
	err := w.Store.Update(ctx, shop, func(tx ledger.Tx) error { return fn(notingPeople{tx, &people}) })
	if people && w.people != nil { // whatever became of it
		w.people()
	}
	w.wrote(shop, err)
	return err
}

// notingPeople notes an entry that is about people or what they sign in with.
type notingPeople struct {
	ledger.Tx
	noted *bool
}

// Append implements ledger.Tx.
func (n notingPeople) Append(s ledger.Sealed, e *ledger.Entry) error {
	for _, r := range e.Records {
		*n.noted = *n.noted || r.Kind == ledger.RecPerson || r.Kind == ledger.RecToken
	}
	return n.Tx.Append(s, e)
}

var errProbe = errors.New("only asking")

// canWrite asks a store whether it would take a write, without making one.
func canWrite(ctx context.Context, store ledger.Store) error {
	err := store.Update(ctx, "probe", func(ledger.Tx) error { return errProbe })
	if errors.Is(err, errProbe) {
		return nil
	}
	return err
}

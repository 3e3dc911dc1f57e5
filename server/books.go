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
	wrote func(shop string, err error)
}

// Update implements ledger.Store.
func (w watchedStore) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	err := w.Store.Update(ctx, shop, fn)
	w.wrote(shop, err)
	return err
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

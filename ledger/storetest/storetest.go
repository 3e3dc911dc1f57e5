// Package storetest is the one suite that every [ledger.Store] passes. The
// memory store passes it too and is then the oracle: random operations run on
// it and on the store under test, and both must answer alike.
//
// After each test every book of its store goes through [ledger.Verify].
//
// It also has what tests of the layers above need: Seal and Append to make
// entries without the rules of the trade, and Faulty, a store that fails on
// purpose.
package storetest

import (
	"context"
	"testing"
	"time"

	"example.org/remelt/ledger"
)

// suite is how the tests get their stores.
type suite struct {
	open   func(t *testing.T) ledger.Store
	reopen func(t *testing.T, s ledger.Store) ledger.Store // nil: the store is not durable
}

// Option says what a store can do beyond the contract.
type Option func(*suite)

// Durable says that books outlive the store. reopen closes s and opens the
// same books again.
func Durable(reopen func(t *testing.T, s ledger.Store) ledger.Store) Option {
	return func(s *suite) { s.reopen = reopen }
}

// Run runs the suite. open returns an empty store; the suite closes it.
func Run(t *testing.T, open func(t *testing.T) ledger.Store, options ...Option) {
	s := &suite{open: open}
	for _, o := range options {
		o(s)
	}
	t.Run("append", s.append)
	t.Run("balances", s.balances)
	t.Run("records", s.records)
	t.Run("holdings", s.holdings)
	t.Run("history", s.history)
	t.Run("requests", s.requests)
	t.Run("paging", s.paging)
	t.Run("dialect", s.dialect)
	t.Run("isolation", s.isolation)
	t.Run("concurrency", s.concurrency)
	t.Run("context", s.context)
	t.Run("secrets", s.secrets)
	t.Run("faults", s.faults)
	if s.reopen != nil {
		t.Run("reopen", s.reopened)
	}
	t.Run("machine", s.machine)
}

// fresh opens an empty store that is verified and closed after the test.
func (s *suite) fresh(t *testing.T) ledger.Store {
	t.Helper()
	return OnlyInTurn{s.whole(t)}
}

// whole gives an empty store that may run functions to rehearse them.
func (s *suite) whole(t *testing.T) ledger.Store {
	t.Helper()
	st := s.open(t)
	t.Cleanup(func() {
		VerifyAll(t, st)
		if err := st.Close(); err != nil {
			t.Errorf("Close: %v", err)
		}
	})
	return st
}

// OnlyInTurn is a store that does not run a function only to see what it will ask, as
// far as the function can tell: for functions that hold what they are told against what
// is so, or that hold others up.
type OnlyInTurn struct{ ledger.Store }

// Update implements ledger.Store.
func (s OnlyInTurn) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	return s.Store.Update(ctx, shop, func(tx ledger.Tx) error {
		if _, only := tx.(interface{ Rehearsal() }); only {
			return errNo
		}
		return fn(tx)
	})
}

// VerifyAll runs ledger.Verify on each book of a store and fails the test at
// the first fault of each.
func VerifyAll(t testing.TB, st ledger.Store) {
	t.Helper()
	shops, err := st.Shops(context.Background())
	if err != nil {
		t.Errorf("Shops: %v", err)
	}
	for _, shop := range shops {
		v, err := ledger.Verify(context.Background(), st, shop, nil)
		if err != nil {
			t.Errorf("Verify %s: %v", shop, err)
		} else if v.Fault != nil {
			t.Errorf("Verify %s: entry %d %s", shop, v.Fault.Seq, v.Fault.What)
		}
	}
}

// within fails the test if fn has not returned after a time in which only a
// deadlock does not.
func within(t *testing.T, what string, fn func()) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		fn()
	}()
	select {
	case <-done:
	case <-time.After(20 * time.Second):
		t.Fatalf("%s: still waiting", what)
	}
}

// Package memory keeps metal books in memory. It is the executable
// specification of [ledger.Store]: every other store must behave as this one
// does, and package storetest compares them.
//
// A snapshot is a number. Every value a book keeps is kept with the number of
// the entry since which it holds, and older values stay; a reader as of entry n
// takes the last value not younger than n. So a View is not disturbed by later
// writes and needs no copy, and a failed transaction is undone by dropping what
// is younger than the last committed entry. A lock is held only while a single
// question is answered, never while fn runs.
//
// It promises what [ledger.Store] promises except durability: the books end
// with the process. It refuses what the contract says a store refuses and
// checks nothing else; listing is by sorting, so it is meant for tests, demos
// and books of some ten thousand entries.
package memory

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sync"

	"example.org/remelt/ledger"
)

// Store keeps books in memory. Make one with New; it is safe for concurrent use.
type Store struct {
	mu      sync.Mutex
	books   map[string]*book
	closed  bool
	running sync.WaitGroup
	secrets secrets
}

var _ ledger.Store = (*Store)(nil)

// New returns an empty store.
func New() *Store {
	return &Store{books: map[string]*book{}, secrets: secrets{all: map[secretKey]ledger.Secret{}}}
}

// Update implements ledger.Store.
func (s *Store) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	b, err := s.begin(shop)
	if err != nil {
		return err
	}
	defer s.running.Done()
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	select {
	case b.turn <- struct{}{}:
		defer func() { <-b.turn }()
	case <-ctx.Done():
		return unavailable("CANCELLED", ctx.Err())
	}
	t := &tx{reader: reader{b: b, n: b.committed()}}
	defer b.dropAfterCommitted() // also when fn panics
	if err := fn(t); err != nil {
		return err
	}
	if t.refused != nil {
		return t.refused
	}
	b.commit(t.n)
	return nil
}

// View implements ledger.Store.
func (s *Store) View(ctx context.Context, shop string, fn func(ledger.Reader) error) (err error) {
	defer func() { err = ledger.Unread(err) }()
	b, err := s.begin(shop)
	if err != nil {
		return err
	}
	defer s.running.Done()
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	return fn(&reader{b: b, n: b.committed()})
}

// Shops implements ledger.Store.
func (s *Store) Shops(ctx context.Context) ([]string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil, errClosed()
	}
	if err := ctx.Err(); err != nil {
		return nil, unavailable("CANCELLED", err)
	}
	var ids []string
	for _, shop := range slices.Sorted(maps.Keys(s.books)) {
		if s.books[shop].committed() > 0 {
			ids = append(ids, shop)
		}
	}
	return ids, nil
}

// Close implements ledger.Store. The books are gone afterwards.
func (s *Store) Close() error {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	s.running.Wait()
	return nil
}

// begin finds the shop's book and counts a running transaction.
func (s *Store) begin(shop string) (*book, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return nil, errClosed()
	}
	s.running.Add(1)
	b := s.books[shop]
	if b == nil {
		b = newBook()
		s.books[shop] = b
	}
	return b, nil
}

func errClosed() error { return unavailable("CLOSED", errors.New("the store is closed")) }

func unavailable(reason string, cause error) error {
	return &ledger.Error{Class: ledger.ErrUnavailable, Reason: reason, Want: ledger.NothingRecorded, Cause: cause}
}

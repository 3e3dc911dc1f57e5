package sqlite

import (
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

func TestStore(t *testing.T) {
	storetest.Run(t,
		func(t *testing.T) ledger.Store { return open(t, newPath(t)) },
		storetest.Durable(func(t *testing.T, s ledger.Store) ledger.Store {
			path := s.(*Store).Path()
			if err := s.Close(); err != nil {
				t.Error(err)
			}
			return open(t, path)
		}))
}

func newPath(t testing.TB) string { return t.TempDir() + "/books.remelt" }

func open(t testing.TB, path string) *Store {
	t.Helper()
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatalf("Open: %v", err)
	}
	return s
}

package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5/pgconn"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/storetest"
)

// TestLostCommit: when the answer to a commit is lost, the store finds out what
// became of it.
func TestLostCommit(t *testing.T) {
	for name, c := range map[string]struct {
		commit func(s *Store, commit func() error) error
		kept   bool
	}{
		"committed, answer lost": {func(_ *Store, commit func() error) error {
			if err := commit(); err != nil {
				return err
			}
			return io.ErrUnexpectedEOF
		}, true},
		"not committed, connection lost": {func(*Store, func() error) error { return io.ErrUnexpectedEOF }, false},
		"the server ends the connection": {func(*Store, func() error) error {
			return &pgconn.PgError{Code: "57P01", Severity: "FATAL", SeverityUnlocalized: "FATAL"}
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			s := open(t, postgrestest.Database(t))
			defer s.Close()
			storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", "lot/L1", 5))
			s.faults.commit = func(commit func() error) error {
				s.faults.commit = nil
				return c.commit(s, commit)
			}
			err := s.Update(t.Context(), "harrow", func(tx ledger.Tx) error {
				_, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L1", 2))
				return err
			})
			want := ledger.Mass(5)
			if c.kept {
				want = 7
			}
			if c.kept != (err == nil) || err != nil && !errors.Is(err, ledger.ErrUnavailable) {
				t.Errorf("error %v", err)
			}
			storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", "lot/L1", 1))
			if err := s.View(t.Context(), "harrow", func(r ledger.Reader) error {
				m, err := r.Balance("lot/L1")
				if m != want+1 {
					t.Errorf("balance %d, want %d", m, want+1)
				}
				return err
			}); err != nil {
				t.Error(err)
			}
			storetest.VerifyAll(t, s)
		})
	}
}

// TestConflictsAreRunAgain: of every three commits two are given up in favour of
// others that there are not; each function has its effect once.
func TestConflictsAreRunAgain(t *testing.T) {
	s := open(t, postgrestest.Database(t))
	defer s.Close()
	var n atomic.Int64
	s.faults.commit = func(commit func() error) error {
		if n.Add(1)%3 != 0 {
			return &pgconn.PgError{Code: "40001", Severity: "ERROR", SeverityUnlocalized: "ERROR"}
		}
		return commit()
	}
	runs := 0
	for i := range 12 {
		if err := s.Update(t.Context(), "harrow", func(tx ledger.Tx) error {
			runs++
			_, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L1", 1))
			if err == nil && i%4 == 3 {
				return errNo
			}
			return err
		}); (err != nil) != (i%4 == 3) {
			t.Error(err)
		}
	}
	if err := s.View(context.Background(), "harrow", func(r ledger.Reader) error {
		m, err := r.Balance("lot/L1")
		if m != 9 {
			t.Errorf("balance %d, want 9", m)
		}
		return err
	}); err != nil {
		t.Error(err)
	}
	if runs != 72 { // each time rehearsed first
		t.Errorf("functions ran %d times, want 72", runs)
	}
	storetest.VerifyAll(t, s)
}

// TestGivingUpWhenAllConflicts: it ends, and says that nothing was recorded.
func TestGivingUpWhenAllConflicts(t *testing.T) {
	s := open(t, postgrestest.Database(t))
	defer s.Close()
	s.faults.commit = func(func() error) error {
		return fmt.Errorf("wrapped: %w", &pgconn.PgError{Code: "40P01", SeverityUnlocalized: "ERROR"})
	}
	defer func(was int) { mostTries = was }(mostTries)
	mostTries = 4
	err := s.Update(t.Context(), "harrow", func(ledger.Tx) error { return nil })
	if !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("%v, want ErrUnavailable", err)
	}
}

var errNo = errors.New("no")

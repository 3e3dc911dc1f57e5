package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

// Outcome is what becomes of an Update of a Faulty store.
type Outcome int

// Outcomes.
const (
	Saved        Outcome = iota
	NotSaved             // nothing is recorded, ErrUnavailable is returned
	SavedButLost         // all is recorded, an error of unknown outcome is returned
	NotSavedLost         // nothing is recorded, an error of unknown outcome is returned
)

// Faulty is a store whose Updates end as Plan says; what it reads is true. Plan
// is called once for each Update and must be safe for concurrent use.
type Faulty struct {
	ledger.Store
	Plan func() Outcome
}

// ErrLost is the cause of the errors of a Faulty store.
var ErrLost = errors.New("fault made by the test")

// Update implements ledger.Store.
func (f *Faulty) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	outcome := f.Plan()
	err := f.Store.Update(ctx, shop, func(tx ledger.Tx) error {
		err := fn(tx)
		if err == nil && (outcome == NotSaved || outcome == NotSavedLost) {
			err = ErrLost
		}
		return err
	})
	switch {
	case err != nil && !errors.Is(err, ErrLost): // fn's own
		return err
	case outcome == NotSaved:
		return &ledger.Error{Class: ledger.ErrUnavailable, Reason: "TEST_FAULT", Want: "nothing was recorded", Cause: ErrLost}
	case outcome != Saved:
		return fmt.Errorf("outcome unknown: %w", ErrLost)
	}
	return nil
}

// faults tests that a writer who asks again with the same request id ends with
// exactly one entry, whatever was saved and whatever was answered (promise 5).
func (s *suite) faults(t *testing.T) {
	for _, plan := range [][]Outcome{
		{NotSaved}, {SavedButLost}, {NotSavedLost},
		{NotSaved, SavedButLost}, {SavedButLost, SavedButLost, NotSaved}, {NotSavedLost, NotSaved, SavedButLost, NotSavedLost},
	} {
		t.Run(fmt.Sprint(plan), func(t *testing.T) {
			st := s.fresh(t)
			step := 0
			faulty := &Faulty{Store: st, Plan: func() Outcome {
				step++
				if step <= len(plan) {
					return plan[step-1]
				}
				return Saved
			}}
			e := Move("supplier/S1", "lot/L1", 7)
			e.Request = NewRequest()
			var got ledger.Sealed
			tries := 0
			for {
				tries++
				err := faulty.Update(context.Background(), Shop, func(tx ledger.Tx) (err error) {
					var found bool
					if got, found, err = tx.ByRequest(e.Request); err != nil || found {
						return err
					}
					got, err = Append(tx, Shop, e)
					return err
				})
				if err == nil {
					break
				}
				if !errors.Is(err, ErrLost) {
					t.Fatal(err)
				}
			}
			if tries != len(plan)+1 {
				t.Errorf("%d tries, want %d", tries, len(plan)+1)
			}
			view(t, st, func(r ledger.Reader) {
				if log := must[[]ledger.Sealed](t)(r.Log(0, all)); !cmp.Equal(log, []ledger.Sealed{got}) {
					t.Errorf("log %v, want the one entry that was answered", seqs(log))
				}
				if m := balance(t, r, "lot/L1"); m != 7 {
					t.Errorf("balance %d, want 7", m)
				}
			})
		})
	}
}

// reopened tests promise 6 as far as a clean stop goes.
func (s *suite) reopened(t *testing.T) {
	st := s.open(t)
	Put(t, st, Shop, Move("supplier/S1", "lot/L1", 9, Rec("lot", "L1", "heat/1", `{"v":1}`)), Move("lot/L1", "heat/1", 9))
	Put(t, st, "south", Move("supplier/S1", "lot/L1", 4))
	for range 3 {
		north, south := dump(t, st, Shop), dump(t, st, "south")
		st = s.reopen(t, st)
		if diff := cmp.Diff(north, dump(t, st, Shop)); diff != "" {
			t.Errorf("north after reopening (-before +after):\n%s", diff)
		}
		if diff := cmp.Diff(south, dump(t, st, "south")); diff != "" {
			t.Errorf("south after reopening (-before +after):\n%s", diff)
		}
		Put(t, st, Shop, Move("supplier/S1", "lot/L2", 1, Rec("lot", "L2", "", `{}`)))
	}
	VerifyAll(t, st)
	if err := st.Close(); err != nil {
		t.Error(err)
	}
}

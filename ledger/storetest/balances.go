package storetest

import (
	"math"
	"testing"

	"example.org/remelt/ledger"
)

// balances tests promises 4 and 7: kept sums equal the postings, and no account
// with a floor goes below zero.
func (s *suite) balances(t *testing.T) {
	t.Run("are the sums of the postings", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 9_100_000), Move("lot/L1", "heat/41", 4_000_000),
			Move("lot/L1", "heat/41", 100_000), Move("heat/41", "molds/41", 4_000_001))
		view(t, st, func(r ledger.Reader) {
			for a, want := range map[ledger.Account]ledger.Mass{
				"supplier/S1": -9_100_000, "lot/L1": 5_000_000, "heat/41": 99_999, "molds/41": 4_000_001,
				"lot/L2": 0, "oxide/41": 0, "lot/l1": 0, "lot/": 0, "lot": 0,
			} {
				if m := balance(t, r, a); m != want {
					t.Errorf("%s is %d, want %d", a, m, want)
				}
			}
		})
	})

	t.Run("several postings to one account count together", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, ledger.Entry{Postings: []ledger.Posting{
			{Account: "lot/L1", Mass: -7, Basis: 'w'}, // for a moment below zero, but not after the entry
			{Account: "lot/L1", Mass: 10, Basis: 'w'},
			{Account: "supplier/S1", Mass: -3, Basis: 'e'},
		}})
		view(t, st, func(r ledger.Reader) {
			if m := balance(t, r, "lot/L1"); m != 3 {
				t.Errorf("lot/L1 is %d, want 3", m)
			}
		})
	})

	t.Run("an account with a floor stops at zero", func(t *testing.T) {
		for _, floor := range []ledger.Account{"lot/A", "casting/A", "supply/A"} {
			from := ledger.Account("supplier/S")
			if floor.CountsSupplies() {
				from = ledger.Acct(ledger.Supplied, "A")
			}
			st := s.fresh(t)
			wantRefused(t, st, func(tx ledger.Tx) error { _, err := Append(tx, Shop, Move(floor, from, 1)); return err })
			Put(t, st, Shop, Move(from, floor, 10))
			wantRefused(t, st, func(tx ledger.Tx) error { _, err := Append(tx, Shop, Move(floor, from, 11)); return err })
			Put(t, st, Shop, Move(floor, from, 10)) // to zero and no further
			wantRefused(t, st, func(tx ledger.Tx) error { _, err := Append(tx, Shop, Move(floor, from, 1)); return err })
		}
	})

	t.Run("an account without a floor goes below zero", func(t *testing.T) {
		st := s.fresh(t)
		for _, a := range []ledger.Account{"molds/A", "heat/A", "heel/A", "oxide/A", "count/A", "origin/unknown"} {
			Put(t, st, Shop, Move(a, "left/out", 5))
			view(t, st, func(r ledger.Reader) {
				if m := balance(t, r, a); m != -5 {
					t.Errorf("%s is %d, want -5", a, m)
				}
			})
		}
	})

	t.Run("a zero balance stays kept and is not a holding", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5), Move("lot/L1", "supplier/S1", 5), Move("supplier/S2", "lot/L2", 0))
		view(t, st, func(r ledger.Reader) {
			for _, kind := range []ledger.AccountKind{"lot", "supplier"} {
				if h := must[[]ledger.Holding](t)(r.Holdings(kind, "lot", "", all)); len(h) != 0 {
					t.Errorf("holdings of %s: %+v, want none", kind, h)
				}
			}
			kept := map[ledger.Account]bool{}
			if err := r.Kept(func(k ledger.Kept) error {
				if k.Balance != nil {
					kept[k.Balance.Account] = k.Balance.Mass == 0
				}
				return nil
			}); err != nil {
				t.Error(err)
			}
			for _, a := range []ledger.Account{"lot/L1", "supplier/S1", "lot/L2", "supplier/S2"} {
				if !kept[a] {
					t.Errorf("the zero balance of %s is not kept", a)
				}
			}
		})
	})

	t.Run("are exact to the ends of int64", func(t *testing.T) {
		const past53 = 1<<53 + 1 // the first integer a double cannot hold
		st := s.fresh(t)
		Put(t, st, Shop,
			Move("supplier/S1", "lot/L1", past53), Move("supplier/S1", "lot/L1", 2),
			Move("supplier/S2", "lot/L2", math.MaxInt64),
			Move("supplier/S3", "lot/L3", math.MaxInt64-1), Move("supplier/S3", "lot/L3", 1))
		view(t, st, func(r ledger.Reader) {
			for a, want := range map[ledger.Account]ledger.Mass{
				"lot/L1": past53 + 2, "supplier/S1": -past53 - 2,
				"lot/L2": math.MaxInt64, "supplier/S2": -math.MaxInt64,
				"lot/L3": math.MaxInt64, "supplier/S3": -math.MaxInt64,
			} {
				if m := balance(t, r, a); m != want {
					t.Errorf("%s is %d, want %d", a, m, want)
				}
			}
			h := must[[]ledger.Holding](t)(r.Holdings("lot", "lot", "", all))
			if len(h) != 3 || h[0].Mass != past53+2 || h[1].Mass != math.MaxInt64 {
				t.Errorf("holdings: %+v", h)
			}
		})
		for _, e := range []ledger.Entry{
			Move("supplier/S4", "lot/L2", 1),                // above the largest
			Move("supplier/S2", "lot/L4", 2),                // below the smallest
			Move("supplier/S2", "lot/L4", math.MaxInt64),    // far below
			Move("supplier/S4", "lot/L1", math.MaxInt64-10), // no wrapping round to a small sum
		} {
			wantRefused(t, st, func(tx ledger.Tx) error { _, err := Append(tx, Shop, e); return err })
		}
		Put(t, st, Shop, Move("supplier/S2", "lot/L4", 1)) // the smallest itself
		view(t, st, func(r ledger.Reader) {
			if m := balance(t, r, "supplier/S2"); m != math.MinInt64 {
				t.Errorf("supplier/S2 is %d, want the smallest int64", m)
			}
		})
	})
}

package storetest

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

// history tests that an entry is found under everything it is about.
func (s *suite) history(t *testing.T) {
	st := s.fresh(t)
	Put(t, st, Shop,
		/* 1 */ Move("supplier/S1", "lot/L1", 100, Rec("lot", "L1", "", `{}`)),
		/* 2 */ Move("lot/L1", "heat/41", 50),
		/* 3 */ Move("heat/41", "molds/41", 40),
		/* 4 */ Note(Rec("mold", "M1", "heat/41", `{}`)),
		/* 5 */ Move("heat/41", "oxide/41", 1),
		/* 6 */ Move("lot/L1", "lot/L10", 1),
		/* 7 */ ledger.Entry{Postings: []ledger.Posting{{Account: "lot/L1", Mass: -1}, {Account: "lot/L10", Mass: 1}, {Account: "lot/L1", Mass: 0}}},
		/* 8 */ Note(Rec("mold", "M1", "heat/42", `{}`)))
	Put(t, st, "south", Move("supplier/S1", "lot/L1", 100))
	// An account of a heat becomes a subject only when a record names it.
	Put(t, st, Shop /* 9 */, Note(Rec("note", "N1", "oxide/41", `{}`)) /* 10 */, Note(Rec("molds", "41", "", `{}`)))

	view(t, st, func(r ledger.Reader) {
		for subject, want := range map[string][]int64{
			"lot/L1":      {7, 6, 2, 1},
			"lot/L10":     {7, 6},
			"supplier/S1": {1},
			"heat/41":     {5, 4, 3, 2},
			"molds/41":    {10}, // what is posted there is filed under its heat
			"oxide/41":    {9},
			"spill/41":    {},
			"mold/M1":     {8, 4},
			"heat/42":     {8},
			"heat/4":      {},
			"lot/l1":      {},
			"lot":         {},
			"":            {},
		} {
			got := must[[]ledger.Sealed](t)(r.History(subject, 0, all))
			if diff := cmp.Diff(want, seqs(got)); diff != "" {
				t.Errorf("history of %q (-want +got):\n%s", subject, diff)
			}
		}
		if got := seqs(must[[]ledger.Sealed](t)(r.History("lot/L1", 6, 2))); !cmp.Equal(got, []int64{2, 1}) {
			t.Errorf("history of lot/L1 before 6: %v", got)
		}
		h, l := must[[]ledger.Sealed](t)(r.History("heat/42", 0, 1)), must[[]ledger.Sealed](t)(r.Log(7, 1))
		if len(h) != 1 || !bytes.Equal(h[0].Bytes, l[0].Bytes) || h[0].Hash != l[0].Hash {
			t.Error("the entry found by its subject is not the one in the log")
		}
	})
}

// requests tests promise 5 as far as it is the store's: an id is found, and is
// not used twice in a shop.
func (s *suite) requests(t *testing.T) {
	st := s.fresh(t)
	ids := []ledger.RequestID{{}, {0: 1}, {15: 1}, {0: 0xff, 15: 0xff}, {8: 0x80}} // none stands out for a store
	ids[0] = ledger.RequestID{7: 1}
	wrote := map[ledger.RequestID]ledger.Sealed{}
	for _, id := range ids {
		e := Move("supplier/S1", "lot/L1", 1)
		e.Request = id
		wrote[id] = Put(t, st, Shop, e)[0]
	}
	view(t, st, func(r ledger.Reader) {
		for id, want := range wrote {
			got, found, err := r.ByRequest(id)
			if err != nil || !found || !cmp.Equal(got, want) {
				t.Errorf("by request %s: %+v %v %v", id, got, found, err)
			}
		}
		for _, id := range []ledger.RequestID{{3: 9}, {}} {
			if got, found, err := r.ByRequest(id); err != nil || found || !cmp.Equal(got, ledger.Sealed{}) {
				t.Errorf("by a request never made: %+v %v %v", got, found, err)
			}
		}
	})
	again := Move("supplier/S1", "lot/L1", 1)
	again.Request = ids[3]
	wantRefused(t, st, func(tx ledger.Tx) error { _, err := Append(tx, Shop, again); return err })
	fresh := Move("supplier/S1", "lot/L1", 1)
	fresh.Request = NewRequest()
	wantRefused(t, st, func(tx ledger.Tx) error { // within one transaction
		if _, err := Append(tx, Shop, fresh); err != nil {
			t.Errorf("first use: %v", err)
		}
		if _, found, err := tx.ByRequest(fresh.Request); !found || err != nil {
			t.Errorf("its own request is not found: %v", err)
		}
		_, err := Append(tx, Shop, fresh)
		return err
	})
	Put(t, st, Shop, fresh)    // the failed transaction did not use it up
	Put(t, st, "south", again) // another shop's ids are its own
}

package storetest

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

// dialect tests where data bases differ from each other and from Go.
func (s *suite) dialect(t *testing.T) {
	// Each of these sorts or compares differently under some collation: case
	// folded, punctuation ignored, digits as numbers, trailing blanks or dots
	// dropped.
	refs := []string{"a", "A", "B", "b", "a-1", "a.1", "a_1", "a1", "a10", "a2", "A2", "a-", "a.", "a_", "aa", "a-b", "ab", "a.b", "a_b",
		"0", "00", "01", "1", "10", "9", "1e3", "1000", "z", "Z", "Zz", "zZ", "strasse", "i", "I", "null", "NULL", "true", "x0x", "0x1"}

	t.Run("strings compare by bytes", func(t *testing.T) {
		st := s.fresh(t)
		var records []ledger.Record
		for _, ref := range refs {
			Put(t, st, Shop, Move("supplier/S1", ledger.Acct("lot", ref), 1))
			records = append(records, Rec("lot", ref, "heat/"+ref, `"`+ref+`"`))
		}
		Put(t, st, Shop, Note(records...))
		want := slices.Sorted(slices.Values(refs)) // Go compares by bytes
		view(t, st, func(r ledger.Reader) {
			var held, listed []string
			for _, h := range must[[]ledger.Holding](t)(r.Holdings("lot", "lot", "", all)) {
				held = append(held, h.Account.Ref())
				if string(h.Record.Body) != `"`+h.Account.Ref()+`"` {
					t.Errorf("%s has the record %q", h.Account, h.Record.Body)
				}
			}
			for _, rec := range must[[]ledger.Record](t)(r.Records("lot", "", "", all)) {
				listed = append(listed, rec.ID)
			}
			if diff := cmp.Diff(want, held); diff != "" {
				t.Errorf("holdings (-want +got):\n%s", diff)
			}
			if diff := cmp.Diff(want, listed); diff != "" {
				t.Errorf("records (-want +got):\n%s", diff)
			}
			for i, ref := range want {
				if m := balance(t, r, ledger.Acct("lot", ref)); m != 1 {
					t.Errorf("lot/%s is %d, want 1", ref, m)
				}
				if h := must[[]ledger.Sealed](t)(r.History("lot/"+ref, 0, all)); len(h) != 2 {
					t.Errorf("history of lot/%s: %v, want 2", ref, seqs(h))
				}
				wantRecords(t, r, "lot", "heat/"+ref, ref)
				after := must[[]ledger.Record](t)(r.Records("lot", "", ref, all))
				if len(after) != len(want)-i-1 {
					t.Errorf("%d records after %s, want %d", len(after), ref, len(want)-i-1)
				}
			}
			for _, missing := range []string{"a ", " a", "a\x00", "%", "_", "a%", "a*", "?", "é", "'", "a'--", ""} {
				if m := balance(t, r, ledger.Acct("lot", missing)); m != 0 {
					t.Errorf("lot/%q is %d, want 0", missing, m)
				}
				wantRecord(t, r, "lot", missing, nil)
			}
		})
	})

	t.Run("shop ids compare by bytes", func(t *testing.T) {
		st := s.fresh(t)
		for _, shop := range refs {
			Put(t, st, shop, Move("supplier/S1", "lot/L1", 1))
		}
		if diff := cmp.Diff(slices.Sorted(slices.Values(refs)), must[[]string](t)(st.Shops(context.Background()))); diff != "" {
			t.Errorf("shops (-want +got):\n%s", diff)
		}
	})

	t.Run("dates keep their milliseconds and their zone is UTC", func(t *testing.T) {
		st := s.fresh(t)
		for _, at := range []time.Time{
			time.Date(1969, 12, 31, 23, 59, 59, 999_000_000, time.UTC), // before the epoch
			time.UnixMilli(0), time.UnixMilli(1),
			time.Date(2026, 10, 25, 2, 30, 0, 123_456_789, time.FixedZone("CEST", 7200)), // an hour there is twice
			time.Date(2026, 12, 31, 23, 59, 59, 999_999_999, time.UTC),                   // not rounded up into next year
			time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC),
		} {
			e := Move("supplier/S1", "lot/L1", 1)
			e.Recorded, e.Happened = at, at
			Put(t, st, Shop, e)
			view(t, st, func(r ledger.Reader) {
				got := must[ledger.Head](t)(r.Head()).Recorded
				if want := time.UnixMilli(at.UnixMilli()).UTC(); got != want { // the zone too
					t.Errorf("recorded %v comes back as %v", want, got)
				}
			})
		}
	})

	t.Run("empty is not missing", func(t *testing.T) {
		st := s.fresh(t)
		e := Note(Rec("lot", "L1", "", `{}`), Rec("lot", "L2", "heat/1", `{}`))
		e.Who, e.Device, e.Reason = "", "", ""
		Put(t, st, Shop, e, Move("supplier/S1", "lot/L3", 0))
		view(t, st, func(r ledger.Reader) {
			wantRecords(t, r, "lot", "", "L1", "L2") // no parent asked for: all
			wantRecord(t, r, "lot", "L1", &ledger.Record{Kind: "lot", ID: "L1", Body: []byte(`{}`), Seq: 1})
			wantRecord(t, r, "lot", "L3", nil) // an account with nothing in it is no record
		})
	})

	t.Run("numbers have room", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1))
		view(t, st, func(r ledger.Reader) {
			if l := must[[]ledger.Sealed](t)(r.Log(1<<62, all)); len(l) != 0 {
				t.Errorf("log far past the end: %v", seqs(l))
			}
			if h := must[[]ledger.Sealed](t)(r.History("lot/L1", 1<<62, all)); len(h) != 1 {
				t.Errorf("history from far past the end: %v", seqs(h))
			}
			if l := must[[]ledger.Sealed](t)(r.Log(0, 1<<31)); len(l) != 1 {
				t.Errorf("log with a large limit: %v", seqs(l))
			}
		})
	})
}

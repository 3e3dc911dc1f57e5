package storetest

import (
	"fmt"
	"strconv"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

// holdings tests what is here: accounts that hold something, with their record.
func (s *suite) holdings(t *testing.T) {
	t.Run("are those not zero, each with the record of its ref", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop,
			Move("supplier/S1", "lot/L2", 20, Rec("lot", "L2", "", `{"alloy":"C87300"}`)),
			Move("supplier/S1", "lot/L1", 10),
			Move("supplier/S1", "lot/L3", 30, Rec("lot", "L3", "heat/7", `{"alloy":"A356"}`)),
			Move("lot/L3", "heat/7", 30),
			Move("supplier/S1", "lot/L4", 40, Rec("note", "L4", "", `{"of":"another kind"}`)),
			Note(Rec("lot", "L5", "", `{"nothing":"in it"}`)),
			Note(Rec("lot", "L2", "", `{"alloy":"C87610"}`)))
		view(t, st, func(r ledger.Reader) {
			want := []ledger.Holding{
				{Account: "lot/L1", Mass: 10},
				{Account: "lot/L2", Mass: 20, Record: ledger.Record{Kind: "lot", ID: "L2", Body: []byte(`{"alloy":"C87610"}`), Seq: 7}},
				{Account: "lot/L4", Mass: 40},
			}
			got := must[[]ledger.Holding](t)(r.Holdings("lot", "lot", "", all))
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("lots with their lot records (-want +got):\n%s", diff)
			}
			for _, h := range got {
				if (h.Record.Body == nil) != (h.Account != "lot/L2") {
					t.Errorf("%s: body %v", h.Account, h.Record.Body)
				}
			}
			want = []ledger.Holding{{Account: "lot/L1", Mass: 10}, {Account: "lot/L2", Mass: 20},
				{Account: "lot/L4", Mass: 40, Record: ledger.Record{Kind: "note", ID: "L4", Body: []byte(`{"of":"another kind"}`), Seq: 5}}}
			if diff := cmp.Diff(want, must[[]ledger.Holding](t)(r.Holdings("lot", "note", "", all))); diff != "" {
				t.Errorf("lots with their notes (-want +got):\n%s", diff)
			}
			want = []ledger.Holding{{Account: "supplier/S1", Mass: -100}} // below zero is something too
			if diff := cmp.Diff(want, must[[]ledger.Holding](t)(r.Holdings("supplier", "supplier", "", all))); diff != "" {
				t.Errorf("suppliers (-want +got):\n%s", diff)
			}
		})
	})

	t.Run("come and go and come back", func(t *testing.T) {
		st := s.fresh(t)
		want := func(n int) {
			t.Helper()
			view(t, st, func(r ledger.Reader) {
				if h := must[[]ledger.Holding](t)(r.Holdings("lot", "lot", "", all)); len(h) != n {
					t.Errorf("%d lots hold something, want %d", len(h), n)
				}
			})
		}
		for range 3 {
			Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1))
			want(1)
			Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1))
			want(1)
			Put(t, st, Shop, Move("lot/L1", "supplier/S1", 2))
			want(0)
		}
	})

	t.Run("of kinds whose names are alike stay apart", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("heat/1", "heel/1", 1), Move("supply/1", "supplied/1", 0), Move("supplied/1", "supply/1", 3), Move("supplier/1", "lot/1", 4))
		view(t, st, func(r ledger.Reader) {
			for kind, want := range map[ledger.AccountKind]ledger.Mass{"heat": -1, "heel": 1, "supply": 3, "supplied": -3, "supplier": -4, "lot": 4} {
				h := must[[]ledger.Holding](t)(r.Holdings(kind, "lot", "", all))
				if len(h) != 1 || h[0].Mass != want || h[0].Account != ledger.Acct(kind, "1") {
					t.Errorf("holdings of %s: %+v, want one of %d", kind, h, want)
				}
			}
			for _, kind := range []ledger.AccountKind{"", "suppl", "lo", "lot/", "LOT"} {
				if h := must[[]ledger.Holding](t)(r.Holdings(kind, "lot", "", all)); len(h) != 0 {
					t.Errorf("holdings of %q: %+v, want none", kind, h)
				}
			}
		})
	})
}

// paging tests limits and keys to go on from.
func (s *suite) paging(t *testing.T) {
	const n = 25
	st := s.fresh(t)
	for i := range n {
		ref := fmt.Sprintf("L%02d", i)
		Put(t, st, Shop, Move("supplier/S1", ledger.Acct("lot", ref), 1, Rec("lot", ref, "heat/1", `{"i":`+fmt.Sprint(i)+`}`)))
	}
	view(t, st, func(r ledger.Reader) {
		lists := map[string]func(from string, limit int) []string{
			"Log": func(from string, limit int) (keys []string) {
				for _, e := range must[[]ledger.Sealed](t)(r.Log(number(from), limit)) {
					keys = append(keys, fmt.Sprint(e.Seq))
				}
				return keys
			},
			"History": func(from string, limit int) (keys []string) {
				for _, e := range must[[]ledger.Sealed](t)(r.History("supplier/S1", number(from), limit)) {
					keys = append(keys, fmt.Sprint(e.Seq))
				}
				return keys
			},
			"Holdings": func(from string, limit int) (keys []string) {
				for _, h := range must[[]ledger.Holding](t)(r.Holdings("lot", "lot", from, limit)) {
					keys = append(keys, h.Account.Ref())
				}
				return keys
			},
			"Records": func(from string, limit int) (keys []string) {
				for _, rec := range must[[]ledger.Record](t)(r.Records("lot", "", from, limit)) {
					keys = append(keys, rec.ID)
				}
				return keys
			},
			"Records of a parent": func(from string, limit int) (keys []string) {
				for _, rec := range must[[]ledger.Record](t)(r.Records("lot", "heat/1", from, limit)) {
					keys = append(keys, rec.ID)
				}
				return keys
			},
		}
		for name, list := range lists {
			whole := list("", all)
			if len(whole) != n {
				t.Fatalf("%s: %d in all, want %d", name, len(whole), n)
			}
			for _, limit := range []int{1, 2, 7, n - 1, n, n + 1, 2 * n} {
				var paged []string
				from := ""
				for {
					page := list(from, limit)
					if len(page) > limit || len(paged) > n {
						t.Fatalf("%s: %d for a limit of %d, after %d", name, len(page), limit, len(paged))
					}
					if len(page) == 0 {
						break
					}
					paged, from = append(paged, page...), page[len(page)-1]
				}
				if diff := cmp.Diff(whole, paged); diff != "" {
					t.Errorf("%s in pages of %d (-whole +paged):\n%s", name, limit, diff)
				}
			}
			for _, limit := range []int{0, -1} {
				if got := list("", limit); len(got) != 0 {
					t.Errorf("%s: %d for a limit of %d", name, len(got), limit)
				}
			}
		}
		if h := must[[]ledger.Sealed](t)(r.History("supplier/S1", 1, all)); len(h) != 0 {
			t.Errorf("history before the first entry: %v", seqs(h))
		}
		if l := must[[]ledger.Sealed](t)(r.Log(n, all)); len(l) != 0 {
			t.Errorf("log after the last entry: %v", seqs(l))
		}
		if got := lists["Holdings"]("L07x", 1); len(got) != 1 || got[0] != "L08" {
			t.Errorf("holdings after a ref that is not there: %v, want L08", got)
		}
	})
}

// number reads a key that is the number of an entry; "" is 0.
func number(s string) int64 {
	n, _ := strconv.ParseInt(s, 10, 64)
	return n
}

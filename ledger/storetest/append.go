package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

// append tests the log: numbering, order, the head (promises 3 and 9).
func (s *suite) append(t *testing.T) {
	t.Run("an empty book", func(t *testing.T) {
		st := s.fresh(t)
		view(t, st, func(r ledger.Reader) {
			if h := must[ledger.Head](t)(r.Head()); h != (ledger.Head{}) {
				t.Errorf("head of an empty book: %v", h)
			}
			if l := must[[]ledger.Sealed](t)(r.Log(0, all)); len(l) != 0 {
				t.Errorf("log of an empty book: %v", l)
			}
			if err := r.Kept(func(k ledger.Kept) error { t.Errorf("kept in an empty book: %+v", k); return nil }); err != nil {
				t.Error(err)
			}
		})
		if shops := must[[]string](t)(st.Shops(context.Background())); len(shops) != 0 {
			t.Errorf("shops of an empty store: %q", shops)
		}
	})

	t.Run("what is appended comes back byte for byte", func(t *testing.T) {
		st := s.fresh(t)
		wrote := Put(t, st, Shop, Move("supplier/S1", "lot/L1", 9_100_000), Move("lot/L1", "heat/41", 1), Note(Rec("mold", "M1", "heat/41", `{"é":"☃"}`)))
		view(t, st, func(r ledger.Reader) {
			if diff := cmp.Diff(wrote, must[[]ledger.Sealed](t)(r.Log(0, all))); diff != "" {
				t.Errorf("log (-wrote +read):\n%s", diff)
			}
			want := ledger.Head{Seq: 3, Hash: wrote[2].Hash, Recorded: Day}
			if diff := cmp.Diff(want, must[ledger.Head](t)(r.Head())); diff != "" {
				t.Errorf("head (-want +got):\n%s", diff)
			}
		})
	})

	t.Run("a transaction sees its own appends", func(t *testing.T) {
		st := s.fresh(t)
		err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
			for n := int64(1); n <= 3; n++ {
				wrote, err := Append(tx, Shop, Move("supplier/S1", "lot/L1", 10, Rec("lot", "L1", "", `{}`)))
				if err != nil {
					return err
				}
				if h := must[ledger.Head](t)(tx.Head()); h.Seq != n || h.Hash != wrote.Hash || !h.Recorded.Equal(Day) {
					t.Errorf("head after %d appends: %+v", n, h)
				}
				if m := balance(t, tx, "lot/L1"); m != ledger.Mass(10*n) {
					t.Errorf("balance after %d appends: %d", n, m)
				}
				if l := must[[]ledger.Sealed](t)(tx.Log(0, all)); int64(len(l)) != n {
					t.Errorf("log after %d appends has %d", n, len(l))
				}
				if h := must[[]ledger.Holding](t)(tx.Holdings("lot", "lot", "", all)); len(h) != 1 || h[0].Mass != ledger.Mass(10*n) || h[0].Record.Seq != n {
					t.Errorf("holdings after %d appends: %+v", n, h)
				}
				if h := must[[]ledger.Sealed](t)(tx.History("lot/L1", 0, all)); int64(len(h)) != n {
					t.Errorf("history after %d appends has %d", n, len(h))
				}
				if c := must[int64](t)(tx.CountRecords("lot")); c != 1 {
					t.Errorf("lots counted after %d appends: %d", n, c)
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	})

	t.Run("each question alone sees them", func(t *testing.T) {
		// One question per transaction: an earlier one may have made a store
		// write what it had only remembered.
		record := func(n int, r ledger.Reader) []string {
			rec, _, err := r.Record("lot", fmt.Sprint("L", n))
			return []string{string(rec.Body), fmt.Sprint(rec.Seq, err)}
		}
		for name, q := range map[string]struct {
			ask  func(r ledger.Reader) []string
			want []string
		}{
			"Head":         {func(r ledger.Reader) []string { h, err := r.Head(); return []string{fmt.Sprint(h.Seq, err)} }, []string{"4 <nil>"}},
			"Balance":      {func(r ledger.Reader) []string { m, err := r.Balance("lot/L2"); return []string{fmt.Sprint(m, err)} }, []string{"2 <nil>"}},
			"CountRecords": {func(r ledger.Reader) []string { n, err := r.CountRecords("lot"); return []string{fmt.Sprint(n, err)} }, []string{"4 <nil>"}},
			"Record 1":     {func(r ledger.Reader) []string { return record(1, r) }, []string{`{"lot":1}`, "1 <nil>"}},
			"Record 2":     {func(r ledger.Reader) []string { return record(2, r) }, []string{`{"lot":2}`, "2 <nil>"}},
			"Record 4":     {func(r ledger.Reader) []string { return record(4, r) }, []string{`{"lot":4}`, "4 <nil>"}},
			"Log":          {func(r ledger.Reader) []string { l, err := r.Log(1, all); return []string{fmt.Sprint(seqs(l), err)} }, []string{"[2 3 4] <nil>"}},
			"History": {func(r ledger.Reader) []string {
				l, err := r.History("lot/L3", 0, all)
				return []string{fmt.Sprint(seqs(l), err)}
			}, []string{"[3] <nil>"}},
			"Holdings": {func(r ledger.Reader) []string {
				h, err := r.Holdings("lot", "lot", "L2", all)
				return []string{fmt.Sprint(len(h), err)}
			}, []string{"2 <nil>"}},
			"Records": {func(r ledger.Reader) []string {
				l, err := r.Records("lot", "heat/1", "L2", all)
				return []string{fmt.Sprint(len(l), err)}
			}, []string{"2 <nil>"}},
			"Kept": {func(r ledger.Reader) []string {
				n := 0
				err := r.Kept(func(ledger.Kept) error { n++; return nil })
				return []string{fmt.Sprint(n, err)}
			}, []string{"26 <nil>"}}, // 5 balances, 4 records, 4 requests, 12 touches, 1 count
		} {
			st := s.fresh(t)
			put := func(tx ledger.Tx, n int) {
				id := fmt.Sprint("L", n)
				if _, err := Append(tx, Shop, Move("supplier/S1", ledger.Acct("lot", id), ledger.Mass(n), Rec("lot", id, "heat/1", fmt.Sprintf(`{"lot":%d}`, n)))); err != nil {
					t.Errorf("%s: append %d: %v", name, n, err)
				}
			}
			if err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error { put(tx, 1); return nil }); err != nil {
				t.Error(err)
			}
			if err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
				put(tx, 2)
				put(tx, 3)
				put(tx, 4)
				if got := q.ask(tx); !cmp.Equal(got, q.want) {
					t.Errorf("%s: %q, want %q", name, got, q.want)
				}
				return nil
			}); err != nil {
				t.Error(err)
			}
			view(t, st, func(r ledger.Reader) {
				if got := q.ask(r); !cmp.Equal(got, q.want) {
					t.Errorf("%s afterwards: %q, want %q", name, got, q.want)
				}
			})
		}
	})

	t.Run("an entry out of order is refused", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5))
		for _, seq := range []int64{-1, 0, 1, 3, 1 << 40} {
			wantRefused(t, st, func(tx ledger.Tx) error {
				head, err := tx.Head()
				if err != nil {
					return err
				}
				head.Seq = seq - 1
				sealed, e := Seal(head, Shop, Move("supplier/S1", "lot/L1", 5))
				return tx.Append(sealed, e)
			})
		}
	})

	t.Run("a swallowed refusal keeps nothing", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5))
		wantRefused(t, st, func(tx ledger.Tx) error {
			appendAll(t, tx, Shop, Move("supplier/S1", "lot/L1", 7))
			if _, err := Append(tx, Shop, Move("lot/L1", "heat/1", 13)); !errors.Is(err, ledger.ErrCorrupt) {
				t.Errorf("over-draw: %v, want ErrCorrupt", err)
			}
			if _, err := Append(tx, Shop, Move("supplier/S1", "lot/L1", 9)); err == nil {
				t.Error("the transaction goes on after a refusal")
			}
			return nil
		})
	})

	t.Run("what is read belongs to the reader", func(t *testing.T) {
		st := s.fresh(t)
		e := Move("supplier/S1", "lot/L1", 5, Rec("lot", "L1", "", `{"n":1}`))
		err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
			sealed, decoded := Seal(ledger.Head{}, Shop, e)
			if err := tx.Append(sealed, decoded); err != nil {
				return err
			}
			clear(sealed.Bytes) // the caller's again
			own, _, err := tx.ByRequest(decoded.Request)
			clear(own.Bytes)
			rec, _, _ := tx.Record("lot", "L1")
			clear(rec.Body)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		view(t, st, func(r ledger.Reader) {
			clear(must[[]ledger.Sealed](t)(r.Log(0, 1))[0].Bytes)
			clear(must[[]ledger.Record](t)(r.Records("lot", "", "", 1))[0].Body)
			rec, _, _ := r.Record("lot", "L1")
			clear(rec.Body)
			rec, _, _ = r.Record("lot", "L1")
			if string(rec.Body) != `{"n":1}` {
				t.Errorf("record spoiled: %q", rec.Body)
			}
		})
	})

	t.Run("shops have books of their own", func(t *testing.T) {
		st := s.fresh(t)
		shops := []string{"north", "South", "a", "north-2", "north.2", "north_2", "Z"}
		for i, shop := range shops {
			for range i + 1 {
				Put(t, st, shop, Move("supplier/S1", "lot/L1", ledger.Mass(i+1), Rec("lot", "L1", "", `{}`)))
			}
		}
		for i, shop := range shops {
			viewOf(t, st, shop, func(r ledger.Reader) {
				if h := must[ledger.Head](t)(r.Head()); h.Seq != int64(i+1) {
					t.Errorf("%s ends at %d, want %d", shop, h.Seq, i+1)
				}
				if m := balance(t, r, "lot/L1"); m != ledger.Mass((i+1)*(i+1)) {
					t.Errorf("%s holds %d, want %d", shop, m, (i+1)*(i+1))
				}
				if h := must[[]ledger.Sealed](t)(r.History("lot/L1", 0, all)); len(h) != i+1 {
					t.Errorf("%s has a history of %d, want %d", shop, len(h), i+1)
				}
			})
		}
		viewOf(t, st, "nowhere", func(r ledger.Reader) {
			if m := balance(t, r, "lot/L1"); m != 0 {
				t.Errorf("a shop never written to holds %d", m)
			}
		})
		want := []string{"South", "Z", "a", "north", "north-2", "north.2", "north_2"}
		if diff := cmp.Diff(want, must[[]string](t)(st.Shops(context.Background()))); diff != "" {
			t.Errorf("shops (-want +got):\n%s", diff)
		}
	})

	t.Run("a shop whose first write failed is not listed", func(t *testing.T) {
		st := s.fresh(t)
		if err := st.Update(context.Background(), "failed", func(tx ledger.Tx) error {
			appendAll(t, tx, "failed", Move("supplier/S1", "lot/L1", 5))
			return errNo
		}); !errors.Is(err, errNo) {
			t.Error(err)
		}
		if err := st.Update(context.Background(), "idle", func(ledger.Tx) error { return nil }); err != nil {
			t.Error(err)
		}
		viewOf(t, st, "looked", func(ledger.Reader) {})
		if shops := must[[]string](t)(st.Shops(context.Background())); len(shops) != 0 {
			t.Errorf("shops: %q, want none", shops)
		}
	})

	t.Run("an entry of a heat's size", func(t *testing.T) {
		st := s.fresh(t)
		var e ledger.Entry
		for i := range 120 {
			id := string(rune('A'+i%26)) + string(rune('a'+i/26))
			e.Postings = append(e.Postings,
				ledger.Posting{Account: ledger.Acct("supplier", "S"+id), Mass: -ledger.Mass(i + 1), Basis: 'w'},
				ledger.Posting{Account: ledger.Acct("lot", "L"+id), Mass: ledger.Mass(i + 1), Basis: 'w'})
			e.Records = append(e.Records, Rec("mold", "M"+id, "heat/7", `{"text":"`+id+`"}`))
		}
		e.Reason = string(make([]byte, 60_000))
		wrote := Put(t, st, Shop, e)
		view(t, st, func(r ledger.Reader) {
			if diff := cmp.Diff(wrote, must[[]ledger.Sealed](t)(r.Log(0, all))); diff != "" {
				t.Error("a large entry does not come back")
			}
			if n := len(must[[]ledger.Record](t)(r.Records("mold", "heat/7", "", all))); n != 120 {
				t.Errorf("%d molds, want 120", n)
			}
			if m := balance(t, r, "lot/LAa"); m != 1 {
				t.Errorf("first lot holds %d", m)
			}
		})
	})

	t.Run("recording time is the last entry's", func(t *testing.T) {
		st := s.fresh(t)
		at := Day.Add(90 * time.Minute)
		e := Move("supplier/S1", "lot/L1", 1)
		e.Recorded, e.Happened = at, Day.AddDate(-1, 0, 0)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1), e)
		view(t, st, func(r ledger.Reader) {
			if h := must[ledger.Head](t)(r.Head()); !h.Recorded.Equal(at) {
				t.Errorf("recorded %v, want %v", h.Recorded, at)
			}
		})
	})
}

// wantRefused runs fn in an Update of Shop that must fail with ErrCorrupt and
// leave the book as it was.
func wantRefused(t *testing.T, st ledger.Store, fn func(ledger.Tx) error) {
	t.Helper()
	before := dump(t, st, Shop)
	err := st.Update(context.Background(), Shop, fn)
	if !errors.Is(err, ledger.ErrCorrupt) {
		t.Errorf("error %v, want ErrCorrupt", err)
	}
	if diff := cmp.Diff(before, dump(t, st, Shop)); diff != "" {
		t.Errorf("a refused append changed the book (-before +after):\n%s", diff)
	}
}

package storetest

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

var errNo = errors.New("no")

// isolation tests that transactions are whole and apart.
func (s *suite) isolation(t *testing.T) {
	t.Run("a failed function leaves nothing and its error is returned", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5, Rec("lot", "L1", "", `{}`)))
		for name, fn := range map[string]func(ledger.Tx) error{
			"before appending": func(ledger.Tx) error { return errNo },
			"after appending": func(tx ledger.Tx) error {
				appendAll(t, tx, Shop, Move("lot/L1", "heat/41", 5, Rec("lot", "L1", "", `{"v":2}`), Rec("lot", "L2", "heat/41", `{}`)))
				return errNo
			},
			"after appending and reading": func(tx ledger.Tx) error {
				appendAll(t, tx, Shop, Move("lot/L1", "heat/41", 5))
				must[[]ledger.Holding](t)(tx.Holdings("lot", "lot", "", all))
				appendAll(t, tx, Shop, Move("heat/41", "molds/41", 5))
				must[[]ledger.Sealed](t)(tx.History("heat/41", 0, all))
				return fmt.Errorf("wrapped: %w", errNo)
			},
		} {
			before := dump(t, st, Shop)
			if err := st.Update(context.Background(), Shop, fn); !errors.Is(err, errNo) {
				t.Errorf("%s: error %v, want the function's own", name, err)
			}
			if diff := cmp.Diff(before, dump(t, st, Shop)); diff != "" {
				t.Errorf("%s: the book changed (-before +after):\n%s", name, diff)
			}
		}
		Put(t, st, Shop, Move("lot/L1", "heat/41", 5)) // and nothing is in the way
	})

	t.Run("a large transaction is whole or not there", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 1))
		const n = 5000
		for _, fail := range []error{errNo, nil} {
			if err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
				for range n {
					if _, err := Append(tx, Shop, Move("supplier/S1", "lot/L1", 1)); err != nil {
						return err
					}
				}
				return fail
			}); !errors.Is(err, fail) {
				t.Errorf("error %v, want %v", err, fail)
			}
			want := ledger.Mass(1)
			if fail == nil {
				want += n
			}
			view(t, st, func(r ledger.Reader) {
				if m, h := balance(t, r, "lot/L1"), must[ledger.Head](t)(r.Head()); m != want || h.Seq != int64(want) {
					t.Errorf("ending with %v: balance %d at entry %d, want %d", fail, m, h.Seq, want)
				}
			})
		}
	})

	t.Run("a function that does not return leaves nothing", func(t *testing.T) {
		st := s.fresh(t)
		before := dump(t, st, Shop)
		func() {
			defer func() {
				if p := recover(); p != "boom" {
					t.Errorf("panic %v, want the function's own", p)
				}
			}()
			err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
				appendAll(t, tx, Shop, Move("supplier/S1", "lot/L1", 5))
				panic("boom")
			})
			t.Errorf("a panic in Update ends as %v", err)
		}()
		func() {
			defer func() {
				if p := recover(); p != "boom" {
					t.Errorf("panic %v, want the function's own", p)
				}
			}()
			err := st.View(context.Background(), Shop, func(ledger.Reader) error { panic("boom") })
			t.Errorf("a panic in View ends as %v", err)
		}()
		within(t, "a goroutine that ends inside Update", func() {
			err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
				appendAll(t, tx, Shop, Move("supplier/S1", "lot/L1", 5))
				runtime.Goexit()
				return nil
			})
			t.Errorf("a goroutine that ends inside Update goes on with %v", err)
		})
		if diff := cmp.Diff(before, dump(t, st, Shop)); diff != "" {
			t.Errorf("the book changed (-before +after):\n%s", diff)
		}
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5))
	})

	t.Run("a view is a snapshot and holds nobody up", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5, Rec("lot", "L1", "", `{"v":1}`)))
		view(t, st, func(r ledger.Reader) {
			before, err := read(r)
			if err != nil {
				t.Fatal(err)
			}
			within(t, "writing during a view", func() {
				for range 3 {
					Put(t, st, Shop, Move("lot/L1", "heat/41", 1, Rec("lot", "L1", "", `{"v":2}`), Rec("lot", "L2", "", `{}`)))
				}
			})
			after, err := read(r)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(before, after); diff != "" {
				t.Errorf("a snapshot moved (-before +after):\n%s", diff)
			}
			wantRecord(t, r, "lot", "L1", &ledger.Record{Kind: "lot", ID: "L1", Body: []byte(`{"v":1}`), Seq: 1})
			if m := balance(t, r, "lot/L1"); m != 5 {
				t.Errorf("balance %d in a snapshot of 5", m)
			}
			view(t, st, func(r ledger.Reader) {
				if m := balance(t, r, "lot/L1"); m != 2 {
					t.Errorf("a new view has %d, want 2", m)
				}
			})
		})
	})

	t.Run("an update that is not over is not seen", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5))
		err := st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
			if _, err := Append(tx, Shop, Move("lot/L1", "heat/41", 5)); err != nil {
				return err
			}
			within(t, "viewing during an update", func() {
				view(t, st, func(r ledger.Reader) {
					if m := balance(t, r, "lot/L1"); m != 5 {
						t.Errorf("an uncommitted balance is seen: %d", m)
					}
					if h := must[ledger.Head](t)(r.Head()); h.Seq != 1 {
						t.Errorf("an uncommitted entry is seen: %d", h.Seq)
					}
					if h := must[[]ledger.Holding](t)(r.Holdings("heat", "heat", "", all)); len(h) != 0 {
						t.Errorf("an uncommitted holding is seen: %+v", h)
					}
				})
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	})

	t.Run("Kept stops at the function's error", func(t *testing.T) {
		st := s.fresh(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/L1", 5))
		view(t, st, func(r ledger.Reader) {
			n := 0
			if err := r.Kept(func(ledger.Kept) error { n++; return errNo }); !errors.Is(err, errNo) || n != 1 {
				t.Errorf("error %v after %d calls", err, n)
			}
			if m := balance(t, r, "lot/L1"); m != 5 {
				t.Errorf("afterwards the balance is %d", m)
			}
			if err := r.Kept(func(ledger.Kept) error { _, err := r.Balance("lot/L1"); return err }); err != nil {
				t.Errorf("asking while listing: %v", err)
			}
		})
	})

	t.Run("of many at once each is whole or not there", func(t *testing.T) {
		st := s.whole(t)
		Put(t, st, Shop, Move("supplier/S1", "lot/pool", 1000))
		// One update holds the writer up, so that the others wait together and
		// a store that writes in groups puts them into one.
		hold, release := make(chan struct{}), make(chan struct{})
		var wg sync.WaitGroup
		wg.Add(1)
		go func() {
			defer wg.Done()
			if err := (OnlyInTurn{st}).Update(context.Background(), Shop, func(ledger.Tx) error { close(hold); <-release; return errNo }); !errors.Is(err, errNo) {
				t.Error(err)
			}
		}()
		<-hold
		const n = 90
		outcomes := make([]error, n)
		for i := range n {
			wg.Add(1)
			go func() {
				defer wg.Done()
				defer func() { // the function that panics
					if recover() != nil {
						outcomes[i] = errNo
					}
				}()
				outcomes[i] = st.Update(context.Background(), Shop, func(tx ledger.Tx) error {
					was, err := tx.Balance("lot/pool")
					if err != nil {
						return err
					}
					id := fmt.Sprintf("J%d", i)
					for range 2 { // two entries that belong together
						if _, err := Append(tx, Shop, Move("lot/pool", ledger.Acct("lot", id), 1, Rec("job", id, "", `{}`))); err != nil {
							return err
						}
					}
					if now, err := tx.Balance("lot/pool"); err != nil || now != was-2 {
						t.Errorf("job %d: pool %d, was %d (%v)", i, now, was, err)
					}
					switch i % 6 {
					case 1:
						return errNo
					case 2:
						if _, err := tx.Holdings("lot", "job", "", all); err != nil {
							return err
						}
						return errNo
					case 3:
						_, err := Append(tx, Shop, Move("lot/pool", "lot/X", 5000)) // over-drawn
						return err
					case 4:
						panic("boom")
					}
					return nil
				})
			}()
		}
		close(release)
		wg.Wait()
		kept := 0
		view(t, st, func(r ledger.Reader) {
			for i, err := range outcomes {
				want := ledger.Mass(0)
				switch i % 6 {
				case 0, 5:
					want = 2
					kept++
					if err != nil {
						t.Errorf("job %d: %v", i, err)
					}
				case 3:
					if !errors.Is(err, ledger.ErrCorrupt) {
						t.Errorf("job %d: %v, want ErrCorrupt", i, err)
					}
				default:
					if !errors.Is(err, errNo) {
						t.Errorf("job %d: %v, want its own error", i, err)
					}
				}
				if m := balance(t, r, ledger.Acct("lot", fmt.Sprintf("J%d", i))); m != want {
					t.Errorf("job %d left %d, want %d", i, m, want)
				}
			}
			if h := must[ledger.Head](t)(r.Head()); h.Seq != int64(1+2*kept) {
				t.Errorf("%d entries, want %d", h.Seq, 1+2*kept)
			}
			if n := must[int64](t)(r.CountRecords("job")); n != int64(kept) {
				t.Errorf("%d jobs counted, want %d", n, kept)
			}
		})
	})
}

package shop_test

import (
	"errors"
	"reflect"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
)

// TestRememberedAnswersFollowTheBook: after each entry, a shop that was asked before says
// what one says that was never asked anything.
func TestRememberedAnswersFollowTheBook(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.Do(b.SetPot(t.Context(), ledger.Meta{}, ledger.Pot{ID: "east", Kind: ledger.PotFurnace, Name: "east"}))
	changed := 0
	var last shop.Reconciliation
	check := func() {
		t.Helper()
		fresh := shop.New(b.Store, "harrow", func() time.Time { return b.Now })
		for range 2 { // the second time it is remembered
			for _, heat := range []string{"", "41"} {
				got, err := b.Reconcile(t.Context(), heat)
				want, err2 := fresh.Reconcile(t.Context(), heat)
				if err != nil || err2 != nil || !reflect.DeepEqual(got, want) {
					t.Fatalf("of heat %q: %+v, %v, not %+v, %v", heat, got, err, want, err2)
				}
				if heat == "" && !reflect.DeepEqual(got, last) {
					changed++
					last = got
				}
			}
			got, err := b.Losses(t.Context())
			want, err2 := fresh.Losses(t.Context())
			if err != nil || err2 != nil || got.Seq != want.Seq || got.Heats != want.Heats || !reflect.DeepEqual(got.Watch, want.Watch) {
				t.Fatalf("losses %+v, %v, not %+v, %v", got, err, want, err2)
			}
			cost, err := b.CostOfHeat(t.Context(), "41", time.Time{})
			wantCost, err2 := fresh.CostOfHeat(t.Context(), "41", time.Time{})
			if err != nil || err2 != nil || !reflect.DeepEqual(cost, wantCost) {
				t.Fatalf("cost %+v, %v, not %+v, %v", cost, err, wantCost, err2)
			}
			burn, ok, err := b.BurnOf(t.Context(), "east", "propane")
			wantBurn, ok2, err2 := fresh.BurnOf(t.Context(), "east", "propane")
			if err != nil || err2 != nil || ok != ok2 || burn != wantBurn {
				t.Fatalf("%+v, %v, %v, not %+v, %v, %v", burn, ok, err, wantBurn, ok2, err2)
			}
		}
	}
	check()
	cup := b.Do(b.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(20)}))
	check()
	b.Do(b.Reverse(t.Context(), ledger.Meta{Reason: "not of this heat"}, ledger.ReverseEntry{Entry: cup.Seq}))
	check()
	b.Do(b.SetScale(t.Context(), ledger.Meta{}, ledger.Scale{ID: "floor", Name: "floor scale", Division: ledgertest.Grams(500), Class: "III"}))
	check()
	if changed < 4 {
		t.Errorf("the answer changed %d times: this test sees nothing", changed)
	}
}

// TestRememberedWhileTheBookGrows: many ask while others write, and in the end the answer
// is that of the whole book.
func TestRememberedWhileTheBookGrows(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			for range 10 {
				if _, err := b.Losses(t.Context()); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for range 20 {
		b.Do(b.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(1)}))
	}
	all.Wait()
	got, err := b.Reconcile(t.Context(), "")
	want, err2 := shop.New(b.Store, "harrow", func() time.Time { return b.Now }).Reconcile(t.Context(), "")
	if err != nil || err2 != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v, not %+v, %v", got, err, want, err2)
	}
	losses, err := b.Losses(t.Context())
	if err != nil || losses.Seq != got.Seq {
		t.Errorf("losses as of entry %d, %v; the book is at %d", losses.Seq, err, got.Seq)
	}
}

// TestNothingOfAnotherBookIsKept: a book that was put in the place of another, of as many
// entries or of more or fewer, is read anew.
func TestNothingOfAnotherBookIsKept(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	for i, cups := range []int{0, 1, 1, 2, 0, 3, 1} {
		other := ledgertest.RunHeat41(t)
		for range cups {
			other.Do(other.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(int64(100 * (i + 1)))}))
		}
		got, want := ask(b.Shop.Shop, []string{"41"}), ask(shop.New(b.Store, "harrow", func() time.Time { return b.Now }), []string{"41"})
		if diff := cmp.Diff(want, got, same); diff != "" {
			t.Fatalf("before book %d: %s", i, diff)
		}
		b.Store = other.Store
		got, want = ask(b.Shop.Shop, []string{"41"}), ask(other.Shop.Shop, []string{"41"})
		if diff := cmp.Diff(want, got, same); diff != "" {
			t.Fatalf("book %d: %s", i, diff)
		}
		if diff := cmp.Diff(traced(t, other.Shop.Shop), traced(t, b.Shop.Shop), same); diff != "" {
			t.Fatalf("traced in book %d: %s", i, diff)
		}
	}
}

// TestLineageOfAnEarlierState: of the same book as it was before its last entries, as a
// standby may have it that was promoted, lineage holds no more than is there.
func TestLineageOfAnEarlierState(t *testing.T) {
	b, before := ledgertest.RunHeat41(t), memory.New()
	if _, err := ledger.Copy(t.Context(), b.Store, before, "harrow", nil); err != nil {
		t.Fatal(err)
	}
	b.Do(b.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(100)}))
	if _, err := b.TraceForward(t.Context(), "heat/41"); err != nil {
		t.Fatal(err)
	}
	b.Store = before
	got, err1 := b.TraceForward(t.Context(), "heat/41")
	want, err2 := shop.New(before, "harrow", nil).TraceForward(t.Context(), "heat/41")
	if diff := cmp.Diff(want, got, same); diff != "" || err1 != nil || err2 != nil {
		t.Errorf("%v, %v: %s", err1, err2, diff)
	}
}

// traced is what the graph of lineage and the carried compositions say of heat 41.
func traced(t *testing.T, s *shop.Shop) (all []any) {
	t.Helper()
	back, err1 := s.TraceBack(t.Context(), "heat/41")
	to, err2 := s.TraceForward(t.Context(), "heat/41")
	made, err3 := s.Content(t.Context(), "heat/41", "")
	if err := errors.Join(err1, err2, err3); err != nil {
		t.Fatal(err)
	}
	return append(all, back, to, made)
}

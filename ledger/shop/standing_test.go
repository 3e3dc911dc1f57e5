package shop_test

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// afterEach does something after each write.
type afterEach struct {
	ledger.Store
	do func()
}

func (a afterEach) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	defer a.do()
	return a.Store.Update(ctx, shop, fn)
}

// TestStockEntryByEntry: asked after each entry of a heat that leaves a heel, of another
// in the same crucible, and of all that comes out of their molds, the stock is that of
// the log folded again.
func TestStockEntryByEntry(t *testing.T) {
	b, m := ledgertest.RunHeat41(t), ledger.Meta{Reason: "as it comes"}
	asked := shop.New(b.Store, "harrow", func() time.Time { return b.Now })
	var seen []shop.Stock
	b.Store = afterEach{b.Store, func() {
		got, err := asked.Stock(t.Context(), shop.AsOf{}, "")
		if err != nil {
			t.Fatal(err)
		}
		want, err := asked.Stock(t.Context(), shop.Through(got.Seq), "")
		if diff := cmp.Diff(want, got, same); diff != "" || err != nil {
			t.Fatalf("as of entry %d, %v (-the log folded +answered):\n%s", got.Seq, err, diff)
		}
		seen = append(seen, got)
	}}
	heat := func(id, alloy string, heel int64) {
		t.Helper()
		b.Now = b.Now.Add(time.Hour)
		lot := ledgertest.MadeLot(t, b.Do(b.Receive(t.Context(), m, ledger.Receive{Supplier: "northmetal", Alloy: alloy, Weighing: ledgertest.Net(9000)})))
		b.Do(b.PlanHeat(t.Context(), m, ledger.PlanHeat{ID: id, Alloy: alloy, Crucible: "A60", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(4000)}, {Metal: ledgertest.Grams(3000)}}}))
		b.Do(b.OpenHeat(t.Context(), m, id))
		b.Do(b.Charge(t.Context(), m, ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: lot.ID}}}))
		b.Do(b.Pour(t.Context(), m, ledger.PourMold{Heat: id, Mold: id + "-1"}))
		b.Do(b.Pour(t.Context(), m, ledger.PourMold{Heat: id, Mold: id + "-2"}))
		b.Do(b.FinishPour(t.Context(), m, ledger.FinishPour{Heat: id, Heel: ledgertest.Grams(heel)}))
	}
	heat("42", "C87300", 1000)
	b.BringHome()
	heat("43", "A356", 700)
	cast := b.Do(b.WeighCasting(t.Context(), m, ledger.WeighCasting{Heat: "42", Mold: "42-1", Stage: ledger.CutOff, Weighing: ledgertest.Net(3500)}))
	b.Do(b.WeighCasting(t.Context(), m, ledger.WeighCasting{Heat: "43", Mold: "43-2", Stage: ledger.AsCast, Weighing: ledgertest.Net(2800)}))
	b.Do(b.Reverse(t.Context(), ledger.Meta{Reason: "of the other heat"}, ledger.ReverseEntry{Entry: cast.Seq}))
	heels, expected := map[string]bool{}, map[ledger.Mass]bool{}
	for _, st := range seen {
		for _, p := range st.Positions {
			heels[p.Alloy] = heels[p.Alloy] || p.InCrucible > 0
			expected[p.Expected] = true
		}
	}
	if !heels["C87300"] || !heels["A356.0"] || len(expected) < 4 {
		t.Errorf("heels of %v, and %v expected out of molds: this test sees too little", heels, expected)
	}
}

// TestStockWhileOthersWrite: while three servers write to a book, four readers ask a
// fourth for the stock. Each answer is that of the log folded up to the entry it names,
// also when it is looked at later, and is not older than the question.
func TestStockWhileOthersWrite(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	now := func() time.Time { return b.Now }
	heat := b.Do(b.PlanHeat(t.Context(), ledger.Meta{}, ledger.PlanHeat{Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{}, {}}}))
	var h ledger.Heat
	if _, err := heat.First(ledger.RecHeat, &h); err != nil {
		t.Fatal(err)
	}
	b.Do(b.OpenHeat(t.Context(), ledger.Meta{}, h.ID))

	var writing, asking sync.WaitGroup
	done := make(chan struct{})
	for i := range 3 {
		writing.Go(func() {
			s := shop.New(b.Store, "harrow", now)
			r := rand.New(rand.NewPCG(uint64(i), 2))
			for range 120 {
				if err := writeSomething(t, s, r, h.ID); err != nil {
					t.Error(err)
				}
			}
		})
	}
	asked := shop.New(b.Store, "harrow", now)
	answers := make([][]shop.Stock, 4)
	for i := range answers {
		asking.Go(func() {
			for last := false; !last; {
				select {
				case <-done:
					last = true
				default:
				}
				head, err := asked.HeadOf(t.Context())
				if err != nil {
					t.Error(err)
					return
				}
				got, err := asked.Stock(t.Context(), shop.AsOf{}, "")
				if err != nil || got.Seq < head.Seq {
					t.Errorf("as of entry %d when the book was at %d: %v", got.Seq, head.Seq, err)
					return
				}
				if n := len(answers[i]); n == 0 || answers[i][n-1].Seq != got.Seq {
					answers[i] = append(answers[i], got)
				}
				time.Sleep(50 * time.Microsecond) // the writers need the processors too
			}
		})
	}
	writing.Wait()
	close(done)
	asking.Wait()

	folded := map[int64]shop.Stock{}
	for _, got := range slices.Concat(answers...) {
		want, known := folded[got.Seq]
		if !known {
			var err error
			if want, err = asked.Stock(t.Context(), shop.Through(got.Seq), ""); err != nil {
				t.Fatal(err)
			}
			folded[got.Seq] = want
		}
		if diff := cmp.Diff(want, got, same); diff != "" {
			t.Fatalf("as of entry %d (-the log folded +answered):\n%s", got.Seq, diff)
		}
	}
	t.Logf("%d answers of %d moments", len(slices.Concat(answers...)), len(folded))
	if len(folded) < 20 {
		t.Errorf("the stock was seen at %d moments: this test sees too little", len(folded))
	}
}

// writeSomething records something that moves metal or changes what it is.
func writeSomething(t *testing.T, s *shop.Shop, r *rand.Rand, heat string) error {
	t.Helper()
	lots, _, err := s.Lots(t.Context(), ledger.LotQuery{})
	if err != nil {
		return err
	}
	lot, grams, what := "", r.Int64N(900)+1, 0
	if len(lots) > 0 {
		lot, what = lots[r.IntN(len(lots))].ID, r.IntN(6)
	}
	switch what {
	case 0:
		_, err = s.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(grams)})
	case 1:
		_, err = s.Hold(t.Context(), ledger.Meta{}, ledger.HoldLot{Lot: lot, Why: "looks odd"})
	case 2:
		_, err = s.Release(t.Context(), ledger.Meta{}, lot)
	case 3:
		_, err = s.Charge(t.Context(), ledger.Meta{Reason: "as it comes"}, ledger.ChargeHeat{Heat: heat, Items: []ledger.ChargeItem{{Lot: lot}}})
	case 4:
		_, err = s.WeighIn(t.Context(), ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(grams)})
	case 5:
		_, err = s.ReceiveSupply(t.Context(), ledger.Meta{}, ledger.SupplyMove{Supply: "borax", Amount: ledgertest.Grams(grams)})
	}
	if errors.Is(err, ledger.ErrState) { // such as a lot that is charged already
		return nil
	}
	return err
}

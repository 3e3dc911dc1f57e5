package shop_test

import (
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// Gating that is still on a casting comes back as well as what is in molds: 20 kg are
// planned for the casting and 10 for its gating, and as cast it weighs 29.
func TestGatingOnACastingIsExpectedBack(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.Receive(ctx, why, ledger.Receive{LotID: "C", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(30_000)}))
	b.Do(b.PlanHeat(ctx, why, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(20_000), Gating: ledgertest.Grams(10_000)}}}))
	b.Do(b.OpenHeat(ctx, why, "1"))
	b.Do(b.Charge(ctx, why, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "C"}}}))
	b.Do(b.FinishPour(ctx, why, ledger.FinishPour{Heat: "1"}))
	for _, c := range []struct {
		when     string
		do       func()
		expected ledger.Mass
	}{
		{"poured", func() {}, 10_000 * g},
		{"weighed as cast", func() {
			b.Do(b.WeighCasting(ctx, why, ledger.WeighCasting{Heat: "1", Mold: "1-1", Stage: ledger.AsCast, Weighing: ledgertest.Net(29_000)}))
		}, 10_000 * g}, // 9 on it, and 1 in the mold
		{"cut off", func() {
			b.Do(b.WeighCasting(ctx, why, ledger.WeighCasting{ID: "C1", Stage: ledger.CutOff, Weighing: ledgertest.Net(20_500)}))
		}, 9_500 * g}, // all of it in the mold's account now
	} {
		c.do()
		stock, err := b.Stock(ctx, shop.AsOf{}, "")
		if err != nil || stock.Total.Expected != c.expected {
			t.Errorf("%s: %d g are expected back, want %d: %v", c.when, stock.Total.Expected/g, c.expected/g, err)
		}
	}
}

// A casting entered by mistake came from no mold: its mold waits for one as before, and
// what the plan wants for it is not expected back as gating.
func TestMoldWaitsWhenItsCastingWasAMistake(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.Receive(ctx, why, ledger.Receive{LotID: "C", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(100_000)}))
	b.Do(b.PlanHeat(ctx, why, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(30_000)}, {Metal: ledgertest.Grams(30_000)}}}))
	b.Do(b.OpenHeat(ctx, why, "1"))
	b.Do(b.Charge(ctx, why, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "C", Mass: ledgertest.Grams(80_000)}}}))
	b.Do(b.FinishPour(ctx, why, ledger.FinishPour{Heat: "1"}))
	want := func(when string, expected ledger.Mass, waits string) {
		t.Helper()
		stock, err := b.Stock(ctx, shop.AsOf{}, "")
		if err != nil || stock.Total.Expected != expected {
			t.Errorf("%s: %d g are expected back, want %d: %v", when, stock.Total.Expected/g, expected/g, err)
		}
		got, err := b.Balance(ctx, "1", shop.AsOf{})
		if err != nil || !slices.Contains(got.Waiting, waits) {
			t.Errorf("%s: waits for %q, want %q: %v", when, got.Waiting, waits, err)
		}
	}
	const two, one = "2 of its molds have no casting weighed", "1 of its molds have no casting weighed"
	want("poured", 20_000*g, two)
	e := b.Do(b.WeighCasting(ctx, why, ledger.WeighCasting{Heat: "1", Mold: "1-2", Stage: ledger.AsCast, Weighing: ledgertest.Net(9_000)}))
	want("weighed", 41_000*g, one)
	b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: e.Seq}))
	want("by mistake", 20_000*g, two)
}

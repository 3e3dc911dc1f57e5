package shop_test

import (
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

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

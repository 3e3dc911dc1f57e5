package shop_test

import (
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// A policy that says so takes as normal what the heats before a heat let expect of it: the
// mean of the forecast that was made when nothing of it was weighed yet. What is learned
// later changes nothing of a heat that is settled; a reversed settling is reckoned anew.
func TestNormalLossIsLearned(t *testing.T) {
	b := otters(t)
	m := ledger.Meta{}
	b.Do(b.SetCosting(ctx, m, ledger.Costing{From: b.Now.AddDate(0, -1, 0), Method: "by-lot", Normal: []ledger.AlloyShare{{Alloy: "C87300", Learned: true}}}))
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "41", Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Name: "hook", Metal: ledgertest.Grams(10_000), Gating: ledgertest.Grams(8_000)}}}))
	b.Do(b.OpenHeat(ctx, m, "41"))
	w := ledgertest.Net(40_000)
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "41", Items: []ledger.ChargeItem{{Lot: ledger.LotID(1), Weigh: &w}}}))
	b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: "41"}))
	before, err := b.ForecastHeat(ctx, "41")
	if err != nil {
		t.Fatal(err)
	}
	want := int64(before.Whole.Mean*40e6 + 0.5)
	if want < 200_000 {
		t.Fatalf("%d mg are expected to be lost", want)
	}
	b.Do(b.WeighCasting(ctx, m, ledger.WeighCasting{Heat: "41", Mold: "41-1", Stage: ledger.CutOff, Weighing: ledgertest.Net(20_000)}))
	b.Do(b.WeighIn(ctx, m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Gating, Weighing: ledgertest.Net(17_000)}))
	settled := b.Do(b.Settle(ctx, ledger.Meta{Reason: "all of it"}, "41"))
	is := func(when string) (abnormal int64) {
		t.Helper()
		c, err := b.Costs(ctx, shop.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		h := c.Heat("41")
		if d := h.Normal - want; d < -40 || d > 40 { // a share is kept to a millionth
			t.Errorf("%s: %d mg are normal, not %d", when, h.Normal, want)
		}
		if h.Lost != 3_000_000 || h.Abnormal <= 0 {
			t.Errorf("%s: %+v", when, h)
		}
		return h.Abnormal
	}
	first := is("settled")
	castAgain(t, b, "42")
	if again := is("after another heat"); again != first {
		t.Errorf("another heat changed it from %d to %d", first, again)
	}
	if f, err := b.ForecastCharge(ctx, "C87300", before.Charge); err != nil || f.Whole.Mean == before.Whole.Mean {
		t.Errorf("nothing was learned: %+v, %v", f.Whole, err)
	}
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "too early"}, ledger.ReverseEntry{Entry: settled.Seq}))
	if h, err := ledger.Get[ledger.Heat](ctx, b.Book, ledger.RecHeat, "41"); err != nil || h.Value.Expected != nil {
		t.Errorf("not settled any more: %+v, %v", h.Value, err)
	}
	b.Verify()
}

// castAgain is a heat of what is left that loses a tenth.
func castAgain(t *testing.T, b *ledgertest.Shop, id string) {
	t.Helper()
	m := ledger.Meta{}
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: id, Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Name: "hook", Metal: ledgertest.Grams(10_000)}}}))
	b.Do(b.OpenHeat(ctx, m, id))
	w := ledgertest.Net(20_000)
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: ledger.LotID(1), Weigh: &w}}}))
	b.Do(b.Skim(ctx, m, ledger.SkimHeat{Heat: id, Weighing: ledgertest.Net(900)})) // without it nobody learns from a heat
	b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: id}))
	b.Do(b.WeighCasting(ctx, m, ledger.WeighCasting{Heat: id, Mold: id + "-1", Stage: ledger.CutOff, Weighing: ledgertest.Net(18_000)}))
	b.Do(b.Settle(ctx, ledger.Meta{Reason: "all of it"}, id))
}

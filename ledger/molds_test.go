package ledger_test

import (
	"errors"
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// A mold that was not poured, because its heat is put off or the metal did not reach,
// goes over to another heat: the plan it leaves wants less, and taking the new plan back
// brings it home.
func TestMoldGoesOverToAnotherHeat(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "50", Alloy: "C87300", Molds: []ledger.MoldPlan{{ID: "50-1", Metal: ledgertest.Grams(900)}, {ID: "50-2", Metal: ledgertest.Grams(500), Gating: ledgertest.Grams(100)}}}))
	e := b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "51", Alloy: "C87300", Take: []string{"50-2"}, Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(50)}}}))
	heat := func(id string, grams int64, molds ...string) {
		t.Helper()
		h, err := ledger.Get[ledger.Heat](ctx, b.Book, ledger.RecHeat, id)
		if err != nil || h.Value.Charge != ledger.Mass(grams)*ledger.Gram {
			t.Errorf("heat %s wants %d mg, not %d g: %v", id, h.Value.Charge, grams, err)
		}
		got, err := ledger.List[ledger.Mold](ctx, b.Book, ledger.RecMold, ledger.OfHeat(id), "", 10)
		var ids []string
		for _, x := range got {
			if ids = append(ids, x.Value.ID); x.Value.Heat != id {
				t.Errorf("mold %s of heat %s says it is of %s", x.Value.ID, id, x.Value.Heat)
			}
		}
		if err != nil || !slices.Equal(ids, molds) {
			t.Errorf("heat %s has molds %v, want %v: %v", id, ids, molds, err)
		}
	}
	heat("50", 900, "50-1")
	heat("51", 650, "50-2", "51-1")
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "the other day"}, ledger.ReverseEntry{Entry: e.Seq}))
	heat("50", 1500, "50-1", "50-2")
	b.Do(b.OpenHeat(ctx, m, "50"))
	b.Do(b.Pour(ctx, m, ledger.PourMold{Heat: "50", Mold: "50-1"}))
	if _, err := b.PlanHeat(ctx, m, ledger.PlanHeat{Alloy: "C87300", Take: []string{"50-1"}}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("a mold that is poured was taken: %v", err)
	}
	if _, err := b.PlanHeat(ctx, m, ledger.PlanHeat{Alloy: "C90300", Take: []string{"50-2"}}); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("a mold of another alloy was taken without a word: %v", err)
	}
	b.Verify()
}

// Who says nothing of any mold says by the end of the pour that all were poured; who says
// so of one does not say it of the others; and a casting comes from no mold that waits.
func TestMoldsThatNobodyTicked(t *testing.T) {
	for name, c := range map[string]struct {
		pour []string
		want map[string]ledger.MoldState
	}{
		"none":   {nil, map[string]ledger.MoldState{"50-1": ledger.MoldPoured, "50-2": ledger.MoldPoured}},
		"one":    {[]string{"50-1"}, map[string]ledger.MoldState{"50-1": ledger.MoldPoured, "50-2": ledger.MoldPlanned}},
		"unused": {nil, map[string]ledger.MoldState{"50-1": ledger.MoldUnused, "50-2": ledger.MoldPoured}},
	} {
		b := ledgertest.Open(t)
		states := func(when string, want map[string]ledger.MoldState) {
			t.Helper()
			got, err := ledger.List[ledger.Mold](ctx, b.Book, ledger.RecMold, ledger.OfHeat("50"), "", 10)
			if err != nil {
				t.Fatal(err)
			}
			for _, m := range got {
				if m.Value.State != want[m.Value.ID] {
					t.Errorf("%s, %s: mold %s is %s, want %s", name, when, m.Value.ID, m.Value.State, want[m.Value.ID])
				}
			}
		}
		lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(20_000)})))
		b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "50", Alloy: "C87300", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(9000)}, {Metal: ledgertest.Grams(5000)}}}))
		b.Do(b.OpenHeat(ctx, none, "50"))
		b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "50", Items: []ledger.ChargeItem{{Lot: lot.ID}}}))
		for _, m := range c.pour {
			b.Do(b.Pour(ctx, none, ledger.PourMold{Heat: "50", Mold: m}))
		}
		if name == "unused" {
			b.Do(b.Pour(ctx, none, ledger.PourMold{Heat: "50", Mold: "50-1", State: ledger.MoldUnused}))
		}
		end := b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "50"}))
		states("poured", c.want)
		b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: end.Seq}))
		before := map[string]ledger.MoldState{"50-1": ledger.MoldPlanned, "50-2": ledger.MoldPlanned}
		if len(c.pour) > 0 {
			before["50-1"] = ledger.MoldPoured
		} else if name == "unused" {
			before["50-1"] = ledger.MoldUnused
		}
		states("taken back", before)
		b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "50"}))

		weighed := b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{Heat: "50", Mold: "50-2", Stage: ledger.CutOff, Weighing: ledgertest.Net(5_000)}))
		after := map[string]ledger.MoldState{"50-1": c.want["50-1"], "50-2": ledger.MoldPoured}
		states("cast", after)
		if _, err := b.PlanHeat(ctx, none, ledger.PlanHeat{Alloy: "C87300", Take: []string{"50-2"}}); !errors.Is(err, ledger.ErrState) {
			t.Errorf("%s: a mold of which a casting came was taken: %v", name, err)
		}
		b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: weighed.Seq}))
		states("cast by mistake", c.want)
		b.Verify()
	}
}

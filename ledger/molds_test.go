package ledger_test

import (
	"errors"
	"slices"
	"strings"
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

// twoMolds is heat 1 being poured, 80 kg for molds of 30 kg each.
func twoMolds(t *testing.T) (*ledgertest.Shop, func(when, first, second string)) {
	b := ledgertest.Open(t)
	b.Do(b.Receive(ctx, none, ledger.Receive{LotID: "C", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(100_000)}))
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(30_000)}, {Metal: ledgertest.Grams(30_000)}}}))
	b.Do(b.OpenHeat(ctx, none, "1"))
	b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "C", Mass: ledgertest.Grams(80_000)}}}))
	return b, func(when, first, second string) {
		t.Helper()
		for id, want := range map[string]string{"1-1": first, "1-2": second} {
			m, err := ledger.Get[ledger.Mold](ctx, b.Book, ledger.RecMold, id)
			if err != nil || string(m.Value.State) != want {
				t.Errorf("%s: mold %s is %s, want %s: %v", when, id, m.Value.State, want, err)
			}
		}
	}
}

func castOf(id string, grams int64) ledger.WeighCasting {
	return ledger.WeighCasting{ID: id, Heat: "1", Mold: "1-2", Stage: ledger.AsCast, Weighing: ledgertest.Net(grams)}
}

// That a mold was not poured may be found out after its heat was settled: no metal moves,
// and it goes over to the next heat.
func TestMoldFoundUnpouredAfterSettlement(t *testing.T) {
	b, states := twoMolds(t)
	b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
	b.Do(b.WeighCasting(ctx, none, castOf("C1", 79_000)))
	b.Do(b.Settle(ctx, none, "1"))
	states("settled", "poured", "poured")
	if _, err := b.Pour(ctx, none, ledger.PourMold{Heat: "1", Mold: "1-1", State: ledger.MoldShort}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("said to have run short: %v", err)
	}
	e := b.Do(b.Pour(ctx, none, ledger.PourMold{Heat: "1", Mold: "1-1", State: ledger.MoldUnused}))
	if len(e.Postings) != 0 {
		t.Errorf("metal moved: %v", e.Postings)
	}
	states("found", "unused", "poured")
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "2", Alloy: "C87300", Take: []string{"1-1"}}))
	b.Verify()
}

// A mold that a casting came from was poured, whatever is said or taken back; only a
// casting entered by mistake came from no mold.
func TestMoldThatACastingCameFrom(t *testing.T) {
	t.Run("said to be unused", func(t *testing.T) {
		b, states := twoMolds(t)
		b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
		first := b.Do(b.WeighCasting(ctx, none, castOf("C1", 9_000)))
		unused := ledger.PourMold{Heat: "1", Mold: "1-2", State: ledger.MoldUnused}
		_, err := b.Pour(ctx, none, unused)
		var e *ledger.Error
		if !errors.Is(err, ledger.ErrState) || !errors.As(err, &e) || e.Reason != "MOLD_POURED" || !strings.Contains(e.Want, "C1") {
			t.Errorf("a mold that C1 came from was not poured: %v", err)
		}
		states("refused", "poured", "poured")
		b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: first.Seq}))
		b.Do(b.Pour(ctx, none, unused))
		states("no casting came from it", "poured", "unused")
	})
	t.Run("one of two castings taken back", func(t *testing.T) {
		b, states := twoMolds(t)
		b.Do(b.Pour(ctx, none, ledger.PourMold{Heat: "1", Mold: "1-1"}))
		b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
		first := b.Do(b.WeighCasting(ctx, none, castOf("C1", 9_000)))
		b.Do(b.WeighCasting(ctx, none, castOf("C2", 8_000)))
		b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: first.Seq}))
		states("C2 came from it", "poured", "poured")
		b.Verify()
	})
	t.Run("the end of the pour taken back", func(t *testing.T) {
		b, states := twoMolds(t)
		end := b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
		b.Do(b.WeighCasting(ctx, none, castOf("C1", 9_000)))
		b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: end.Seq}))
		states("taken back", "planned", "poured")
		b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
		states("nobody ticked any", "poured", "poured")
		b.Verify()
	})
	t.Run("its pour taken back", func(t *testing.T) {
		b, states := twoMolds(t)
		pour := b.Do(b.Pour(ctx, none, ledger.PourMold{Heat: "1", Mold: "1-2", Amount: ledgertest.Grams(40_000)}))
		b.Do(b.WeighCasting(ctx, none, castOf("C1", 9_000)))
		b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: pour.Seq}))
		states("taken back", "planned", "poured")
		if m, err := ledger.Get[ledger.Mold](ctx, b.Book, ledger.RecMold, "1-2"); err != nil || m.Value.Poured != 0 {
			t.Errorf("%d mg are said to be in it: %v", m.Value.Poured, err)
		}
		b.Verify()
	})
	t.Run("weighed before the pour was over", func(t *testing.T) {
		b, states := twoMolds(t)
		b.Do(b.WeighCasting(ctx, none, castOf("C1", 9_000)))
		states("weighed", "planned", "poured")
		b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
		states("nobody ticked any", "poured", "poured")
	})
	t.Run("ticked and weighed before the pour was over", func(t *testing.T) {
		b, states := twoMolds(t)
		b.Do(b.Pour(ctx, none, ledger.PourMold{Heat: "1", Mold: "1-2"}))
		b.Do(b.WeighCasting(ctx, none, castOf("C1", 9_000)))
		b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
		states("one was ticked", "planned", "poured")
	})
}

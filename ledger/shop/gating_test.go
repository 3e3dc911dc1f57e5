package shop_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

var why = ledger.Meta{Reason: "it happened"}

// gatingDay is a heat of 80 kg at 10.00 USD/kg with one panel for commission gate in it.
func gatingDay(t *testing.T) *ledgertest.Shop {
	b := ledgertest.Open(t)
	b.Do(b.Receive(ctx, why, ledger.Receive{LotID: "C", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(100_000), Price: "10.00 USD/kg"}))
	b.Do(b.SetCommission(ctx, why, ledger.Commission{ID: "gate", Title: "Gate", Patterns: []ledger.Pattern{{Name: "panel", Alloy: "C87300", Copies: 1, Metal: ledger.Range{Typed: "37.5 kg"}}}}))
	b.Do(b.PlanHeat(ctx, why, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{Name: "panel", Metal: ledgertest.Grams(37_500), Gating: ledgertest.Grams(40_000), Commission: "gate"}}}))
	b.Do(b.OpenHeat(ctx, why, "1"))
	b.Do(b.Charge(ctx, why, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "C", Mass: ledgertest.Grams(80_000)}}}))
	b.Do(b.FinishPour(ctx, why, ledger.FinishPour{Heat: "1"}))
	b.Do(b.WeighCasting(ctx, why, ledger.WeighCasting{ID: "C1", Heat: "1", Mold: "1-1", Stage: ledger.AsCast, Weighing: ledgertest.Net(79_000)}))
	return b
}

// Gating sawn off a casting is metal of its heat that came back, whoever names what it
// was weighed in by, and whether its heat was settled before. By hand: of 80 kg 37.6 are
// the casting (47.0 %) and 41 came back, so 1.4 are gone, at 10.00 the kilogram.
func TestGatingOfACasting(t *testing.T) {
	gating := ledger.WeighIn{Casting: "C1", Weighing: ledgertest.Net(41_000)}
	dirty := ledger.WeighIn{Casting: "C1", LotID: "D", Dirty: true, Weighing: ledgertest.Net(43_000)}
	cutOff := ledger.WeighCasting{ID: "C1", Stage: ledger.CutOff, Weighing: ledgertest.Net(37_600)}
	believed, content := 0.0, 0.0 // of the first way, by its heat
	for _, way := range []struct {
		name string
		do   func(b *ledgertest.Shop)
	}{
		{"by its heat", func(b *ledgertest.Shop) {
			b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "1"}}, Weighing: ledgertest.Net(41_000)}))
			b.Do(b.WeighCasting(ctx, why, cutOff))
			b.Do(b.Settle(ctx, why, "1"))
		}},
		{"by the casting", func(b *ledgertest.Shop) {
			b.Do(b.WeighIn(ctx, why, gating))
			b.Do(b.WeighCasting(ctx, why, cutOff))
			b.Do(b.Settle(ctx, why, "1"))
		}},
		{"by the casting, settled before", func(b *ledgertest.Shop) {
			b.Do(b.Settle(ctx, why, "1"))
			b.Do(b.WeighIn(ctx, why, gating))
			b.Do(b.WeighCasting(ctx, why, cutOff))
		}},
		{"by its heat, settled before", func(b *ledgertest.Shop) {
			b.Do(b.Settle(ctx, why, "1"))
			b.Do(b.WeighCasting(ctx, why, cutOff))
			b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "1"}}, Weighing: ledgertest.Net(41_000)}))
		}},
		{"dirty, and cleaned when the casting was gone", func(b *ledgertest.Shop) {
			b.Do(b.WeighIn(ctx, why, dirty))
			b.Do(b.WeighCasting(ctx, why, cutOff))
			b.Do(b.Settle(ctx, why, "1"))
			b.Do(b.ShipCasting(ctx, why, ledger.ShipCasting{Casting: "C1"}))
			b.Do(b.Clean(ctx, why, ledger.CleanLot{Lot: "D", Weighing: ledgertest.Net(41_000)}))
		}},
		{"wrong, taken back when it was cut off, and right", func(b *ledgertest.Shop) {
			wrong := b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Casting: "C1", Weighing: ledgertest.Net(14_000)}))
			b.Do(b.WeighCasting(ctx, why, cutOff))
			b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: wrong.Seq}))
			b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "1"}}, Weighing: ledgertest.Net(41_000)}))
			b.Do(b.Settle(ctx, why, "1"))
		}},
	} {
		t.Run(way.name, func(t *testing.T) {
			b := gatingDay(t)
			way.do(b)
			b.Verify()
			got, err := b.Balance(ctx, "1", shop.AsOf{})
			if err != nil {
				t.Fatal(err)
			}
			if got.Castings != 37_600*g || got.Returns != 41_000*g || got.ByForm[ledger.Gating] != 41_000*g || got.Unaccounted != 1_400*g || got.InMolds != 0 {
				t.Errorf("castings %d, returns %d, unaccounted %d, in molds %d", got.Castings, got.Returns, got.Unaccounted, got.InMolds)
			}
			c, err := b.Costs(ctx, shop.AsOf{})
			if err != nil {
				t.Fatal(err)
			}
			moneyAdds(t, c)
			h := c.Heat("1")
			if len(h.Castings) != 1 || h.Castings[0].Mass != int64(37_600*g) || h.Castings[0].Cost != 376_00 || h.Castings[0].Credit != 0 || h.Abnormal != 14_00 || h.Lost != int64(1_400*g) {
				t.Errorf("%+v", h)
			}
			gone := int64(0)
			if way.name == "dirty, and cleaned when the casting was gone" {
				gone = 376_00
			}
			if w := c.Where(); w.Castings+w.Shipped != 376_00 || w.Shipped != gone || w.Abnormal != 14_00 || w.Stock != 610_00 {
				t.Errorf("%+v", w)
			}
			of, err := b.CommissionCost(ctx, "gate", 0)
			if err != nil {
				t.Fatal(err)
			}
			if of.Lines[0].Really != 376_00 || len(of.Castings) != 1 || of.Castings[0].Mass != 37_600*g || of.Castings[0].Failed {
				t.Errorf("%+v", of.Lines[0])
			}
			said, err := b.Reconcile(ctx, "")
			if err != nil {
				t.Fatal(err)
			}
			lost := said.Streams[len(said.Streams)-1] // what the shop believes that heats lose unseen, learned from this one
			if lost.Entry != 0 || len(said.Suspects) != 0 {
				t.Fatalf("%+v, %+v", lost, said.Suspects)
			}
			if believed == 0 {
				believed = lost.Measured
			}
			if math.Abs(lost.Measured-believed) > 1e-9 || math.Abs(lost.Adjusted-lost.Measured) > 0.01 {
				t.Errorf("believed to lose %.6f kg, not %.6f, and lost %.6f by the weighings", lost.Measured, believed, lost.Adjusted)
			}
			melt, err := b.Content(ctx, "heat/1", "")
			if err != nil {
				t.Fatal(err)
			}
			if silicon := melt.Composition.Mean["Si"]; content == 0 {
				content = silicon
			} else if math.Abs(silicon-content) > 1e-9 {
				t.Errorf("%.6f %% of silicon, not %.6f: what comes back is not melted again", silicon, content)
			}
		})
	}
}

// notTraced says of which account the lineage has another mass than the entries have.
// What metal enters the book by is a source, which lineage keeps no count of.
func notTraced(b *ledgertest.Shop, log []*ledger.Entry) (fault string) {
	g, err := b.Lineage(ctx)
	if err != nil {
		return err.Error()
	}
	held := map[ledger.Account]ledger.Mass{}
	for _, e := range log {
		for _, p := range e.Postings {
			held[p.Account] += p.Mass
		}
	}
	for _, a := range slices.Sorted(maps.Keys(held)) {
		switch a.Kind() {
		case ledger.Supplier, ledger.Customer, ledger.Before, ledger.Additive, ledger.Count:
			continue
		}
		if got := g.Content(string(a)); !a.CountsSupplies() && got != int64(held[a]) {
			fault += fmt.Sprintf("%s holds %d by the book, %d by lineage\n", a, held[a], got)
		}
	}
	return fault
}

// What a casting had given and gets back belongs to the molds once the casting was weighed
// again or is gone, in the book and in a recall. By hand: of 80 kg in the heat 79 were the
// casting as cast.
func TestTakenBackFromACasting(t *testing.T) {
	weigh := func(stage ledger.Stage, grams int64) func(*ledgertest.Shop) *ledger.Entry {
		return func(b *ledgertest.Shop) *ledger.Entry {
			return b.Do(b.WeighCasting(ctx, why, ledger.WeighCasting{ID: "C1", Stage: stage, Weighing: ledgertest.Net(grams)}))
		}
	}
	gating := func(b *ledgertest.Shop) *ledger.Entry {
		return b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Casting: "C1", Weighing: ledgertest.Net(14_000)}))
	}
	ship := func(b *ledgertest.Shop) *ledger.Entry {
		return b.Do(b.ShipCasting(ctx, why, ledger.ShipCasting{Casting: "C1"}))
	}
	back := func(of func(*ledgertest.Shop) *ledger.Entry) func(*ledgertest.Shop) *ledger.Entry {
		return func(b *ledgertest.Shop) *ledger.Entry {
			e := of(b)
			return b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: e.Seq}))
		}
	}
	for _, way := range []struct {
		name                      string
		wrong, since              func(*ledgertest.Shop) *ledger.Entry
		casting, molds, elsewhere int64
	}{
		{"gating, cut off since", gating, weigh(ledger.CutOff, 37_600), 37_600, 42_400, 0},
		{"gating, shipped since", gating, ship, 0, 15_000, 65_000},
		{"gating, weighed again as cast", gating, weigh(ledger.AsCast, 38_000), 38_000, 42_000, 0},
		{"gating, weighed again as cast, which was wrong", gating, back(weigh(ledger.AsCast, 38_000)), 79_000, 1_000, 0},
		{"gating, shipped, which was wrong", gating, back(ship), 79_000, 1_000, 0},
		{"gating, nothing since", gating, nil, 79_000, 1_000, 0},
		{"cut off, finished since, which was wrong", weigh(ledger.CutOff, 37_600), back(weigh(ledger.Finished, 37_000)), 79_000, 1_000, 0},
	} {
		t.Run(way.name, func(t *testing.T) {
			b := gatingDay(t)
			wrong := way.wrong(b)
			if way.since != nil {
				way.since(b)
			}
			b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: wrong.Seq}))
			b.Verify()
			b.Want(way.casting, "casting/C1")
			b.Want(way.molds, "molds/1")
			log, err := b.Entries(ctx, 0, 0)
			if err != nil {
				t.Fatal(err)
			}
			if fault := notTraced(b, log); fault != "" {
				t.Error(fault)
			}
			recall, err := b.TraceForward(ctx, "lot/C")
			if err != nil {
				t.Fatal(err)
			}
			got := map[string]int64{}
			for _, h := range recall.Holdings {
				switch ledger.Account(h.Node) {
				case "casting/C1", "molds/1", "lot/C":
					got[h.Node] = h.Mg
				default:
					got["elsewhere"] += h.Mg
				}
			}
			if got["casting/C1"] != way.casting*int64(g) || got["molds/1"] != way.molds*int64(g) || got["lot/C"] != 20_000*int64(g) || got["elsewhere"] != way.elsewhere*int64(g) {
				t.Errorf("a recall of the lot says %v", got)
			}
		})
	}
}

// A spill is weighed clean when its heat is poured, or settled: what it weighs less is no
// longer in the crucible. By hand: of 20 kg 10 are the casting, 8.9 came back and 0.6
// were swept up, so 0.5 are unaccounted for.
func TestASpillCleanedAfterThePour(t *testing.T) {
	for _, settled := range []bool{false, true} {
		b := ledgertest.Open(t)
		b.Do(b.Receive(ctx, why, ledger.Receive{LotID: "S43", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(20_000), Price: "10.00 USD/kg"}))
		b.Do(b.SetCosting(ctx, why, ledger.Costing{From: b.Now.AddDate(-1, 0, 0), Method: "by-lot", Normal: []ledger.AlloyShare{{Alloy: "C87300", PPM: 10_000}}}))
		b.Do(b.PlanHeat(ctx, why, ledger.PlanHeat{ID: "43", Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Name: "bowl"}}}))
		b.Do(b.OpenHeat(ctx, why, "43"))
		b.Do(b.Charge(ctx, why, ledger.ChargeHeat{Heat: "43", Items: []ledger.ChargeItem{{Lot: "S43"}}}))
		swept := ledgertest.Net(1_000)
		spill := ledgertest.MadeLot(t, b.Do(b.Spill(ctx, why, ledger.SpillMetal{Heat: "43", Weighing: &swept})))
		b.Do(b.FinishPour(ctx, why, ledger.FinishPour{Heat: "43"}))
		b.Do(b.WeighCasting(ctx, why, ledger.WeighCasting{Heat: "43", Mold: "43-1", Stage: ledger.CutOff, Weighing: ledgertest.Net(10_000)}))
		b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "43"}}, Weighing: ledgertest.Net(8_900)}))
		clean := func() {
			got, err := b.Balance(ctx, "43", shop.AsOf{})
			if err != nil || got.SpillKept != 1_000*g || got.SpillToClean != 1_000*g {
				t.Errorf("before it is cleaned: %d swept up, %d of it to be cleaned: %v", got.SpillKept, got.SpillToClean, err)
			}
			b.Do(b.Clean(ctx, why, ledger.CleanLot{Lot: spill.ID, Weighing: ledgertest.Net(600)}))
		}
		if settled {
			b.Do(b.Settle(ctx, why, "43"))
			clean()
		} else {
			clean()
			b.Want(500, "molds/43")
			b.Do(b.Settle(ctx, why, "43"))
		}
		b.Verify()
		b.Want(0, "heat/43")
		got, err := b.Balance(ctx, "43", shop.AsOf{})
		if err != nil || got.InCrucible != 0 || got.Unaccounted != 500*g || got.SpillKept != 600*g || got.SpillToClean != 0 || len(got.Waiting) != 0 {
			t.Errorf("settled %v: in crucible %d, unaccounted %d, swept up %d, to be cleaned %d, waiting for %q, %v", settled, got.InCrucible, got.Unaccounted, got.SpillKept, got.SpillToClean, got.Waiting, err)
		}
		c, err := b.Costs(ctx, shop.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		moneyAdds(t, c)
		// Lost are 500 g, 200 of them normal, of 10 500 g that cost 200.00 less 95.00 of
		// returns: 105.00 × 300 ÷ 10 300 (what is good and what is abnormal) = 3.06.
		if h := c.Heat("43"); h.Lost != int64(500*g) || h.Abnormal != 3_06 {
			t.Errorf("settled %v: %+v", settled, h)
		}
		stock, err := b.Stock(ctx, shop.AsOf{}, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range stock.Positions {
			if p.InCrucible != 0 {
				t.Errorf("settled %v: %d in crucible in stock", settled, p.InCrucible)
			}
		}
	}
}

// Gating of a casting that is weighed by difference, as what it comes by is, is traced as
// any other, is no casting broken up, and belongs to whom the heat's metal does; taken
// back too.
func TestGatingByDifference(t *testing.T) {
	b := gatingDay(t)
	w := ledgertest.Net(41_000)
	w.Basis = ledger.ByDifference
	e := b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Casting: "C1", Weighing: w}))
	for _, p := range e.Postings {
		if p.Mass == 0 {
			t.Errorf("a posting of nothing: %v", e.Postings)
		}
	}
	figures := func(castings, back ledger.Mass) {
		t.Helper()
		got, err := b.Balance(ctx, "1", shop.AsOf{})
		if err != nil || got.Castings != castings*g || got.Returns != back*g {
			t.Errorf("castings %d, returned %d mg, want %d and %d g (%v)", got.Castings, got.Returns, castings, back, err)
		}
		if _, err := b.LotCautions(ctx, "C"); err != nil {
			t.Error(err)
		}
		if _, err := b.TraceBack(ctx, "casting/C1"); err != nil {
			t.Error(err)
		}
	}
	figures(38_000, 41_000)
	b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: e.Seq}))
	figures(79_000, 0)
	b.Verify()
}

func TestGatingOfACustomersCasting(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.Receive(ctx, why, ledger.Receive{LotID: "I", Customer: "iris", Alloy: "C87300", Weighing: ledgertest.Net(20_000)}))
	b.Do(b.PlanHeat(ctx, why, ledger.PlanHeat{ID: "1", Alloy: "C87300", Owner: "iris"}))
	b.Do(b.OpenHeat(ctx, why, "1"))
	b.Do(b.Charge(ctx, why, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "I"}}}))
	b.Do(b.FinishPour(ctx, why, ledger.FinishPour{Heat: "1"}))
	b.Do(b.WeighCasting(ctx, why, ledger.WeighCasting{ID: "C1", Heat: "1", Stage: ledger.AsCast, Weighing: ledgertest.Net(18_000)}))
	if l := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, why, ledger.WeighIn{Casting: "C1", Weighing: ledgertest.Net(4_000)}))); l.Owner != "iris" {
		t.Errorf("gating of iris' casting belongs to %q", l.Owner)
	}
}

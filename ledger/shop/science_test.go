package shop_test

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestTraceThroughTwoHeats: the worked heat's pigs are charged into a second
// heat; what is poured there leads back to the three lots of the first.
func TestTraceThroughTwoHeats(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	m := ledger.Meta{}
	fresh := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(6_300)})))
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "42", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, m, "42"))
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "42", Items: []ledger.ChargeItem{{Lot: b.Pigs.ID}, {Lot: fresh.ID}}}))
	got, err := b.TraceBack(ctx, "heat/42")
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]float64{string(ledgertest.LotAcct(b.Ingots)): 0.25, string(ledgertest.LotAcct(b.Cups)): 14_620.0 / 120_000,
		string(ledgertest.LotAcct(b.PigsIn)): 15_380.0 / 120_000, string(ledgertest.LotAcct(fresh)): 0.5}
	sum := 0.0
	for _, s := range got.Sources {
		sum += s.Fraction
		if math.Abs(s.Fraction-want[s.Node]) > 1e-9 {
			t.Errorf("%s gave %.6f, want %.6f", s.Node, s.Fraction, want[s.Node])
		}
	}
	if len(got.Sources) != 4 || math.Abs(sum-1) > 1e-12 {
		t.Errorf("sources %+v", got.Sources)
	}
	if math.Abs(got.Age.Mean-1.5) > 1e-9 { // half was melted twice
		t.Errorf("mean age %.4f melts, want 1.5", got.Age.Mean)
	}
	fw, err := b.TraceForward(ctx, ledgertest.LotAcct(b.Ingots))
	if err != nil {
		t.Fatal(err)
	}
	total := int64(0)
	for _, h := range fw.Holdings {
		total += h.Mg + h.Settled
	}
	if total != int64(30_000*g) {
		t.Errorf("30 kg of ingot are now %d mg: %+v", total, fw.Holdings)
	}
	if _, err := b.TraceBack(ctx, "lot/L99999-0"); err == nil {
		t.Error("a lot that never was has a trace")
	}
}

// TestLossesOfAFewHeats: three heats give a sensible forecast near the belief.
func TestLossesOfAFewHeats(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	b.Do(b.Settle(ctx, ledger.Meta{}, "41"))
	l, err := b.Losses(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if l.Heats != 1 || l.Shop.Whole.Heats != 1 {
		t.Errorf("learned from %d of %d heats, left out %v", l.Shop.Whole.Heats, l.Heats, l.Shop.Whole.LeftOut)
	}
	past := l.Shop.Whole.History()
	if rate := past[0].Weighed.Mean; math.Abs(rate-0.021) > 1e-9 { // melt loss 2.1 %
		t.Errorf("weighed loss %.5f, want 0.021", rate)
	}
	_ = shop.AsOf{}
}

// TestReconcileFindsASwappedWeight: the worked heat and its returns charged into
// a second; the gating of the first is written 5 kg too heavy.
func TestReconcileFindsASwappedWeight(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	b.Do(b.Settle(ctx, ledger.Meta{}, "41"))
	rec, err := b.Reconcile(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	if len(rec.Suspects) != 0 {
		t.Errorf("a clean heat has suspects: %+v", rec.Suspects)
	}
	b.Do(b.WeighIn(ctx, ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(5_000)}))
	if rec, err = b.Reconcile(ctx, "41"); err != nil {
		t.Fatal(err)
	}
	if len(rec.Suspects) == 0 {
		t.Fatalf("5 kg that cannot be of heat 41 raise no suspicion; global %+v", rec.Global)
	}
	t.Log(rec.Suspects[0].Sentence, len(rec.Suspects[0].Alike), len(rec.Suspects[0].Nearly))
}

// TestContentThroughAHeat: half of an ingot with 4 % Si by certificate and half
// with 2 % make a heat with 3 %, less what burns; its pig carries that on.
func TestContentThroughAHeat(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	ingot := func(si int64) ledger.Lot {
		return ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10_000),
			Certificate: &ledger.Certificate{Number: "x", Elements: []ledger.Element{{Symbol: "Si", PPM: ledger.PPM(si)}, {Symbol: "Cu", PPM: ledger.PPM(990_000 - si)}, {Symbol: "Mn", PPM: 10_000}}}})))
	}
	a, c := ingot(40_000), ingot(20_000)
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "1", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, m, "1"))
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: a.ID}, {Lot: c.ID}}}))
	pig := ledgertest.MadeLot(t, b.Do(b.PourOff(ctx, m, ledger.PourPigs{Heat: "1", Weighing: ledgertest.Net(3_000)})))
	got, err := b.Content(ctx, ledgertest.LotAcct(pig), "")
	if err != nil {
		t.Fatal(err)
	}
	si := got.Composition.Estimate("Si")
	if si.Mean > 3.0 || si.Mean < 2.8 || si.SD <= 0 {
		t.Errorf("Si in the pig %.3f ± %.3f %%, want a little under 3", si.Mean, si.SD)
	}
	if got.Limits == nil || got.Chance.AtLeast < 0.9 { // C87300 wants 3.5 to 4.5 % Si
		t.Errorf("chance of being outside %+v", got.Chance)
	}
	f, err := b.ForecastRemelts(ctx, "C87300", 0.5, 10, 0.05)
	if err != nil || len(f.Steps) == 0 {
		t.Fatalf("forecast %+v, %v", f, err)
	}
}

// contentOf is what a lot or heat is thought to hold of an element.
func contentOf(t *testing.T, b *ledgertest.Shop, a ledger.Account, element string) alloy.Estimate {
	t.Helper()
	got, err := b.Content(ctx, a, "")
	if err != nil {
		t.Fatal(err)
	}
	return got.Composition.Estimate(element)
}

// TestPartOfAnAnalysisInAMixture: what an analysis does not name counts in a mixture as
// metal within its alloy's limits, not as none of it. C87300 is at least 94 % copper and at
// most 0.09 % lead (CDA data sheet C87300, 2006; ASTM B584-14).
func TestPartOfAnAnalysisInAMixture(t *testing.T) {
	b := ledgertest.Open(t)
	part := analysis("Si", 39_000, "Mn", 10_000)
	var items []ledger.ChargeItem
	for _, cert := range []*ledger.Certificate{part, nil} {
		lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{HereAlready: true, Alloy: "C87300", Form: ledger.Gating, Weighing: ledgertest.Net(10_000)})))
		if cert != nil {
			b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: lot.ID, Alloy: "C87300", Certificate: cert}))
		}
		items = append(items, ledger.ChargeItem{Lot: lot.ID})
	}
	b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "1", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "1"))
	b.Do(b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: "1", Items: items}))
	heat := ledger.Acct(ledger.InHeat, "1")
	if cu := contentOf(t, b, heat, "Cu"); cu.Mean < 94 || cu.Mean > 96 || cu.SD < 0.1 {
		t.Errorf("Cu %.3f ± %.3f %%", cu.Mean, cu.SD)
	}
	if pb := contentOf(t, b, heat, "Pb"); math.Abs(pb.Mean-0.045) > 0.005 || pb.SD < 0.015 {
		t.Errorf("Pb %.4f ± %.4f %%, want half of 0.09 on the average", pb.Mean, pb.SD)
	}
	got, err := b.Content(ctx, heat, "")
	if err != nil || got.Chance.AtLeast > 0.5 {
		t.Errorf("outside with a chance of %+v (%v)", got.Chance.AtLeast, err)
	}
}

// TestMetalPutToAPile: what came to a pile first counts by what is left of it, and by what
// it was measured to hold.
func TestMetalPutToAPile(t *testing.T) {
	b := ledgertest.Open(t)
	pile := func(grams, pb int) ledger.Lot {
		return ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Gating,
			Weighing: ledgertest.Net(int64(grams)), Certificate: analysis("Si", 39_000, "Mn", 10_000, "Pb", pb, "Cu", 951_000-pb)})))
	}
	first := pile(10_000, 0)
	b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: first.ID, Alloy: "C87300", Certificate: analysis("Si", 39_000, "Mn", 10_000, "Pb", 900, "Cu", 950_100)}))
	b.Do(b.Remove(ctx, ledger.Meta{}, ledger.RemoveLot{Lot: first.ID, How: "scrapped", Mass: ledgertest.Grams(9_000)}))
	second := pile(9_000, 0)
	b.Do(b.Combine(ctx, ledger.Meta{}, ledger.CombineLots{Lots: []string{second.ID}, Into: first.ID}))
	if pb := contentOf(t, b, ledgertest.LotAcct(first), "Pb"); math.Abs(pb.Mean-0.009) > 1e-6 {
		t.Errorf("Pb %.4f %%, want a tenth of 0.09", pb.Mean)
	}
}

// TestAnalysisOfSomeElementsKeepsTheRest: pigs of a heat whose metal is known, of which only
// the silicon is measured, still hold the manganese of the heat; under another alloy, or
// of metal that was only known by its alloy, nothing is kept.
func TestAnalysisOfSomeElementsKeepsTheRest(t *testing.T) {
	b := ledgertest.Open(t)
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot,
		Weighing: ledgertest.Net(10_000), Certificate: analysis("Si", 39_000, "Mn", 10_000, "Pb", 300, "Cu", 950_700)})))
	b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: lot.ID, Alloy: "C87300", Certificate: analysis("Si", 36_000)}))
	if si, mn := contentOf(t, b, ledgertest.LotAcct(lot), "Si"), contentOf(t, b, ledgertest.LotAcct(lot), "Mn"); math.Abs(si.Mean-3.6) > 1e-9 || math.Abs(mn.Mean-1) > 1e-9 {
		t.Errorf("Si %.4f %%, Mn %.4f %%: want what was measured, and what was certified before", si.Mean, mn.Mean)
	}
	if got, err := b.Content(ctx, ledgertest.LotAcct(lot), ""); err != nil || got.Basis != "measured, what the analysis does not name as before" {
		t.Errorf("known by %q (%v)", got.Basis, err)
	}

	b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: lot.ID, Alloy: "C87500", Certificate: analysis("Si", 36_000)}))
	if mn := contentOf(t, b, ledgertest.LotAcct(lot), "Mn"); mn.Mean != 0 {
		t.Errorf("as another alloy it still has %.4f %% Mn", mn.Mean)
	}

	bare := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: ledgertest.Net(10_000)})))
	b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: bare.ID, Alloy: "C87300", Certificate: analysis("Si", 36_000)}))
	if got, err := b.Content(ctx, ledgertest.LotAcct(bare), ""); err != nil || len(got.Composition.Mean) != 1 || got.Basis != "measured" {
		t.Errorf("of metal only known by its alloy: %v, by %q (%v)", got.Composition.Mean, got.Basis, err)
	}
}

// TestAnalysisTakenBack: a lot holds again what it was thought to hold before an analysis
// of the wrong lot, also when it was moved meanwhile.
func TestAnalysisTakenBack(t *testing.T) {
	b := ledgertest.Open(t)
	for _, cert := range []*ledger.Certificate{nil, analysis("Si", 39_000, "Pb", 300)} {
		lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: ledgertest.Net(10_000), Certificate: cert})))
		a := ledgertest.LotAcct(lot)
		before, err := b.Content(ctx, a, "")
		if err != nil {
			t.Fatal(err)
		}
		wrong := b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: lot.ID, Alloy: "C87300", Certificate: analysis("Pb", 20_000)}))
		if pb := contentOf(t, b, a, "Pb"); pb.Mean != 2 {
			t.Fatalf("measured as 2 %% lead it has %.3f", pb.Mean)
		}
		b.Do(b.Move(ctx, ledger.Meta{}, ledger.MoveLot{Lot: lot.ID, Place: "rack"}))
		b.Do(b.Reverse(ctx, ledger.Meta{Reason: "of the wrong lot"}, ledger.ReverseEntry{Entry: wrong.Seq}))
		after, err := b.Content(ctx, a, "")
		if diff := cmp.Diff(before.Composition, after.Composition); err != nil || diff != "" || after.Basis != before.Basis {
			t.Errorf("by %q (before by %q), %v (-before +after):\n%s", after.Basis, before.Basis, err, diff)
		}
	}
}

// TestRemeltsOfWhatBurnsFirst: an element that burns before copper never rises with each
// remelt, and iron from tools never falls (common practice, no source).
func TestRemeltsOfWhatBurnsFirst(t *testing.T) {
	b := ledgertest.Open(t)
	for name, falls := range map[string][]string{"C87300": {"Si", "Mn"}, "C95400": {"Al"}, "C83600": {"Zn"}} {
		f, err := b.ForecastRemelts(ctx, name, 0.5, 10, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range falls {
			for i, s := range f.Steps[e] {
				if i > 0 && s.Content.Mean >= f.Steps[e][i-1].Content.Mean {
					t.Errorf("%s: %s goes from %.3f to %.3f %% at melt %d", name, e, f.Steps[e][i-1].Content.Mean, s.Content.Mean, i+1)
				}
			}
			if len(f.Steps[e]) < 2 {
				t.Errorf("%s: nothing about %s", name, e)
			}
		}
		if fe := f.Steps["Fe"]; len(fe) > 1 && fe[len(fe)-1].Content.Mean < fe[0].Content.Mean {
			t.Errorf("%s: iron falls", name)
		}
	}
}

// TestHeatKeepsItsLimits: a heat's castings are judged by the limit set that was
// current when it was planned.
func TestHeatKeepsItsLimits(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	h, err := ledger.Get[ledger.Heat](ctx, b.Book, ledger.RecHeat, "41")
	if err != nil || h.Value.Limits == "" {
		t.Fatalf("heat 41 keeps no limit set: %+v, %v", h, err)
	}
	got, err := b.Content(ctx, "heat/41", "")
	if err != nil || got.Limits == nil || got.Limits.ID() != h.Value.Limits {
		t.Errorf("judged by %+v, %v; the heat keeps %s", got.Limits, err, h.Value.Limits)
	}
}

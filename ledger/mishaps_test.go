package ledger_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// What goes wrong in real life and must come out right. The figures are invented.

var (
	none = ledger.Meta{}
	why  = ledger.Meta{Reason: "so it was"}
)

func hasFlag(e *ledger.Entry, code string) bool {
	return slices.ContainsFunc(e.Flags, func(f ledger.Flag) bool { return f.Code == code })
}

func TestDirtyNeverCleaned(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.Do(b.Settle(ctx, why, "41"))
	lot := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Dirty: true, Weighing: ledgertest.Net(10_000)})))
	b.Want(42_605, "unaccounted/41")
	// Cleaned after the settlement, what was grit is unaccounted metal again.
	b.Do(b.Clean(ctx, none, ledger.CleanLot{Lot: lot.ID, Weighing: ledgertest.Net(9_700)}))
	b.Want(42_905, "unaccounted/41")
	b.Verify()
}

// A dirty lot that was put with another is not cleaned by itself without a word: its
// metal would be in the book twice.
func TestCleanedAfterItWasPutElsewhere(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	weigh := func(g int64) ledger.Lot {
		return ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Dirty: true, Weighing: ledgertest.Net(g)})))
	}
	gone, bin := weigh(2_000), weigh(5_000)
	b.Do(b.Combine(ctx, none, ledger.CombineLots{Lots: []string{gone.ID, bin.ID}, Into: bin.ID}))
	again := ledger.CleanLot{Lot: gone.ID, Weighing: ledgertest.Net(1_900)}
	if _, err := b.Clean(ctx, none, again); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("cleaning a lot that has nothing left: %v", err)
	}
	if e := b.Do(b.Clean(ctx, ledger.Meta{Reason: "a second bag under the bench"}, again)); !hasFlag(e, ledger.FlagAgain) {
		t.Error("it is not flagged")
	}
	b.Verify()
}

func TestCorePinsInACleanReturn(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	again := ledger.CleanLot{Lot: b.Gating.ID, Weighing: ledgertest.Net(24_600)}
	if _, err := b.Clean(ctx, none, again); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("cleaning a clean lot: %v", err)
	}
	b.Do(b.Clean(ctx, ledger.Meta{Reason: "pulled the core pins"}, again))
	b.Want(285+190, "molds/41")
}

func TestTwoHeatsInOneBin(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "42", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, none, "42"))
	bin := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, none, ledger.WeighIn{
		Heats: []ledger.HeatShare{{Heat: "41"}, {Heat: "42"}}, Weighing: ledgertest.Net(10_000)})))
	if !slices.Equal(bin.Candidates, []string{"41", "42"}) || bin.Alloy != "C87300" {
		t.Errorf("lot %+v", bin)
	}
	b.Want(-10_000, ledger.UnknownOrigin)
	b.Want(52_605, "molds/41")
	b.Do(b.Assign(ctx, none, ledger.AssignLot{Lot: bin.ID, Heats: []ledger.HeatShare{{Heat: "41", Share: 600_000}, {Heat: "42", Share: 400_000}}}))
	b.Want(0, ledger.UnknownOrigin)
	b.Want(46_605, "molds/41")
	b.Want(-4_000, "molds/42")
	if _, err := b.Assign(ctx, none, ledger.AssignLot{Lot: bin.ID, Heats: []ledger.HeatShare{{Heat: "41"}}}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("settling it twice: %v", err)
	}
	b.Verify()
}

func TestUnknownHeatAndAlloy(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	if _, err := b.WeighIn(ctx, none, ledger.WeighIn{Weighing: ledgertest.Net(500)}); err == nil {
		t.Error("returns without heat or alloy were accepted")
	}
	lot := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Alloy: "unknown", Weighing: ledgertest.Net(500)})))
	if lot.Condition != ledger.SetApart || lot.AlloySure {
		t.Errorf("metal of unknown alloy is not held apart: %+v", lot)
	}
	if _, err := b.Release(ctx, why, lot.ID); !errors.Is(err, ledger.ErrState) {
		t.Errorf("releasing it: %v", err)
	}
	known := ledgertest.MadeLot(t, b.Do(b.Identify(ctx, none, ledger.IdentifyLot{Lot: lot.ID, Alloy: "c87300",
		Certificate: &ledger.Certificate{Method: "xrf", Elements: []ledger.Element{{Symbol: "Si", PPM: 39_000}, {Symbol: "Cu", PPM: 945_000}}}})))
	if known.Alloy != "C87300" || known.Condition != ledger.Clean || !known.AlloySure {
		t.Errorf("after the assay: %+v", known)
	}
	if _, err := b.Identify(ctx, none, ledger.IdentifyLot{Lot: lot.ID, Alloy: "C87300",
		Certificate: &ledger.Certificate{Elements: []ledger.Element{{Symbol: "Cu", PPM: 900_000}, {Symbol: "Si", PPM: 200_000}}}}); err == nil {
		t.Error("a composition of 110 % was accepted")
	}
}

func TestCastingThroughItsStages(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	first := b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{Heat: "41", Mold: "41-1", Stage: ledger.AsCast, Weighing: ledgertest.Net(20_000)}))
	var k ledger.Casting
	if _, err := first.First(ledger.RecCasting, &k); err != nil || k.Name != "heron left" {
		t.Fatalf("casting %+v, %v", k, err)
	}
	b.Want(32_605, "molds/41")
	b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Casting: k.ID, Form: ledger.Cup, Weighing: ledgertest.Net(3_000)})) // its cup, sawn off
	b.Want(17_000, ledger.Acct(ledger.OfCasting, k.ID))
	b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{ID: k.ID, Stage: ledger.CutOff, Weighing: ledgertest.Net(11_000)}))
	b.Want(38_605, "molds/41") // 6 000 of gating still to be weighed
	b.Do(b.Settle(ctx, why, "41"))
	b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{ID: k.ID, Stage: ledger.Finished, Weighing: ledgertest.Net(10_700)}))
	b.Want(300, "kerf/41")
	b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{ID: k.ID, Stage: ledger.Finished, Weighing: ledgertest.Net(10_750)})) // welded with bought rod
	b.Want(-50, "additive/welding")
	if _, err := b.WeighCasting(ctx, none, ledger.WeighCasting{ID: k.ID, Stage: ledger.AsCast, Weighing: ledgertest.Net(1)}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("back to as cast: %v", err)
	}
	scrap := b.Do(b.BreakUp(ctx, none, ledger.BreakUp{Casting: k.ID, Weighing: ledgertest.Net(10_740)}))
	lot := ledgertest.MadeLot(t, scrap)
	if lot.Form != ledger.ScrapCast {
		t.Errorf("broken up into %+v", lot)
	}
	b.Want(310, "kerf/41")
	if _, err := b.ShipCasting(ctx, none, ledger.ShipCasting{Casting: k.ID}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("shipping a casting that was broken up: %v", err)
	}
	b.Verify()
}

func TestHeelLeakAndVisitor(t *testing.T) {
	b := ledgertest.Open(t)
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(40_000)})))
	for _, id := range []string{"1", "2"} {
		b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: id, Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Name: "bowl"}}}))
		b.Do(b.OpenHeat(ctx, none, id))
	}
	b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: lot.ID, Mass: ledgertest.Grams(20_000)}}}))
	b.Do(b.Give(ctx, none, ledger.GiveMetal{Heat: "1", To: "a visitor", Amount: ledgertest.Grams(400)}))
	b.Do(b.Pour(ctx, none, ledger.PourMold{Heat: "1", Mold: "1-1", Amount: ledgertest.Grams(9_000)}))
	swept := ledgertest.Net(2_500)
	b.Do(b.Spill(ctx, none, ledger.SpillMetal{Heat: "1", Mold: "1-1", Weighing: &swept, Lost: ledgertest.Grams(100)}))
	b.Want(6_400, "molds/1")
	b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1", Heel: ledgertest.Grams(700)}))
	b.Want(700, "heel/A60")
	b.Want(20_000-400-2_600-700, "molds/1")
	b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "2", Heel: true}))
	b.Want(0, "heel/A60")
	b.Want(700, "heat/2")
	pot, err := ledger.Get[ledger.Pot](ctx, b.Book, ledger.RecPot, "A60")
	if err != nil || pot.Value.Heats != 2 {
		t.Errorf("crucible %+v, %v", pot, err)
	}
	mold, err := ledger.Get[ledger.Mold](ctx, b.Book, ledger.RecMold, "1-1")
	if err != nil || mold.Value.State != ledger.MoldLeaked {
		t.Errorf("mold %+v, %v", mold, err)
	}
	b.Verify()
}

func TestCustomersOwnMetalStaysApart(t *testing.T) {
	b := ledgertest.Open(t)
	own := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Customer: "iris", Alloy: "C87300", Weighing: ledgertest.Net(20_000)})))
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "7", Alloy: "C87300", Owner: "iris"}))
	b.Do(b.OpenHeat(ctx, none, "7"))
	b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "7", Items: []ledger.ChargeItem{{Lot: own.ID}}}))
	pig := ledgertest.MadeLot(t, b.Do(b.PourOff(ctx, none, ledger.PourPigs{Heat: "7", Weighing: ledgertest.Net(3_000)})))
	if pig.Owner != "iris" {
		t.Errorf("a pig of her metal belongs to %q", pig.Owner)
	}
	if _, err := b.Remove(ctx, none, ledger.RemoveLot{Lot: pig.ID, How: "sold", To: "somebody"}); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("selling a customer's metal: %v", err)
	}
	b.Do(b.Remove(ctx, none, ledger.RemoveLot{Lot: pig.ID, How: "returned", To: "iris"}))
	b.Want(3_000, "left/returned")
}

func TestSplitCombineCount(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	e := b.Do(b.Split(ctx, none, ledger.SplitLot{Lot: b.Pigs.ID, Parts: []ledger.Part{{Weighing: ledger.WeighingIn{Net: ledgertest.Grams(3_100), Pieces: 1}, Label: "left"}}}))
	left := ledgertest.MadeLot(t, e)
	b.Want(3_100, ledgertest.LotAcct(left))
	b.Want(3_200, ledgertest.LotAcct(b.Pigs))
	if left.Form != ledger.Pig || left.Pieces != 1 || left.From[0].Mass != 3_100*ledger.Gram {
		t.Errorf("part %+v", left)
	}
	b.Do(b.TakeStock(ctx, none, ledger.TakeStock{Lines: []ledger.CountLine{{Lot: left.ID, Weighing: ledgertest.Net(3_110)}, {Lot: b.Pigs.ID, Weighing: ledger.WeighingIn{}}}}))
	b.Want(3_110, ledgertest.LotAcct(left))
	b.Want(0, ledgertest.LotAcct(b.Pigs))
	b.Want(3_200, ledger.Acct(ledger.Count, b.Pigs.ID))

	brass := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C83600", Weighing: ledgertest.Net(1_000)})))
	mix := ledger.CombineLots{Lots: []string{left.ID, brass.ID}}
	if _, err := b.Combine(ctx, none, mix); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("combining two alloys: %v", err)
	}
	both := ledgertest.MadeLot(t, b.Do(b.Combine(ctx, ledger.Meta{Reason: "they fell into one bin"}, mix)))
	if both.Alloy != ledger.UnknownAlloy || both.Condition != ledger.SetApart {
		t.Errorf("two alloys in one bin: %+v", both)
	}
	b.Want(4_110, ledgertest.LotAcct(both))
	b.Verify()
}

func TestBinReadByDifferenceAndSavedTare(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.Do(b.SetTare(ctx, none, ledger.Tare{ID: "blue", Name: "blue bin", Mass: ledger.Quantity{Typed: "2.5 kg"}}))
	heat := []ledger.HeatShare{{Heat: "41"}}
	bin := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Heats: heat, Weighing: ledger.WeighingIn{Scale: "floor", Gross: ledger.Quantity{Typed: "7.5 kg"}, TareID: "blue"}})))
	b.Want(5_000, ledgertest.LotAcct(bin))
	b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Heats: heat, Into: bin.ID, Weighing: ledger.WeighingIn{Scale: "floor", Gross: ledger.Quantity{Typed: "9.12 kg"}, Before: ledger.Quantity{Typed: "7.5 kg"}}}))
	b.Want(6_620, ledgertest.LotAcct(bin))
	b.Want(52_605-6_620, "molds/41")
}

func TestSetUp(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.SetAlloy(ctx, none, ledger.Alloy{ID: "HL-1", Names: []string{"house bronze"}, Family: "silicon bronze", DensityMgCm3: 8360}))
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "House Bronze", Weighing: ledgertest.Net(1_000), Price: "4.85 USD/lb"})))
	if lot.Alloy != "HL-1" || lot.Price.Minor != 1069 { // 1 kg is 2.2046226 lb (NIST SP 811), at 4.85 is 10.69
		t.Errorf("lot %+v, price %+v", lot, lot.Price)
	}
	if _, err := b.SetAlloy(ctx, none, ledger.Alloy{ID: "HL-2", Names: []string{"house bronze"}}); err == nil {
		t.Error("a name was given to two alloys")
	}
	place, err := ledger.Get[ledger.Place](ctx, b.Book, ledger.RecPlace, "rack")
	if err != nil {
		t.Fatal(err)
	}
	b.Do(b.SetPlace(ctx, ledger.Meta{Unchanged: place.Seq}, ledger.Place{ID: "rack", Name: "the long rack"}))
	if _, err := b.SetPlace(ctx, ledger.Meta{Unchanged: place.Seq}, ledger.Place{ID: "rack", Name: "the short rack"}); !errors.Is(err, ledger.ErrStale) {
		t.Errorf("two people changing one place: %v", err)
	}
	for _, c := range []struct {
		s                    ledger.Shop
		reason, field, value string
	}{
		{ledger.Shop{Name: "x", MassUnit: "stone"}, "UNKNOWN_UNIT", "mass_unit", "stone"},
		{ledger.Shop{Name: "x", TempUnit: "K"}, "UNKNOWN_UNIT", "temperature_unit", "K"},
		{ledger.Shop{Name: "x", Currency: "GOLD"}, "UNKNOWN_CURRENCY", "currency", "GOLD"},
		{ledger.Shop{Name: "x", TimeZone: "Middle/Earth"}, "BAD_TIME_ZONE", "time_zone", "Middle/Earth"},
		{ledger.Shop{Name: "x", TimeZone: "Local"}, "BAD_TIME_ZONE", "time_zone", "Local"},         // another on each machine
		{ledger.Shop{Name: "x", TimeZone: "localtime"}, "BAD_TIME_ZONE", "time_zone", "localtime"}, // the same, by a file of some systems
		{ledger.Shop{}, "REQUIRED", "display_name", ""},
	} {
		var e *ledger.Error
		if _, err := b.SetShop(ctx, none, c.s); !errors.As(err, &e) || e.Reason != c.reason || e.Field != c.field || e.Value != c.value {
			t.Errorf("%+v: %v, want %s of %s", c.s, err, c.reason, c.field)
		} else if strings.Contains(e.Error(), "default unit") || strings.Contains(e.Error(), `"1"`) {
			t.Errorf("%+v: %v", c.s, e)
		}
	}
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "HL-1"}))
	b.Do(b.OpenHeat(ctx, none, "1"))
	b.Do(b.Temperature(ctx, none, ledger.ReadTemperature{Heat: "1", Typed: "2050 F", What: "pour"}))
	read, err := ledger.List[ledger.Reading](ctx, b.Book, ledger.RecReading, ledger.OfHeat("1"), "", 0)
	if err != nil || len(read) != 1 || read[0].Value.MilliC != 1_121_111 { // (2050 − 32) × 5/9
		t.Errorf("readings %+v, %v", read, err)
	}
}

func TestSuppliesAreCountedApart(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.SetSupply(ctx, none, ledger.Supply{ID: "pcu", Name: "phosphor copper", Purpose: "deoxidiser", MetalPPM: ledger.Whole}))
	b.Do(b.SetSupply(ctx, none, ledger.Supply{ID: "pot60", Name: "no. 60 crucible", Purpose: "crucible", InPieces: true}))
	b.Do(b.ReceiveSupply(ctx, none, ledger.SupplyMove{Supply: "pot60", Pieces: 3, Price: "240 USD"}))
	b.Do(b.UseSupply(ctx, none, ledger.SupplyMove{Supply: "pot60", Pieces: 1, For: "cracked"}))
	if got := b.Held("supply/pot60"); got != 2 {
		t.Errorf("%d crucibles left", got)
	}
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C83600"}))
	b.Do(b.OpenHeat(ctx, none, "1"))
	e := b.Do(b.Add(ctx, none, ledger.AddToHeat{Heat: "1", Supply: "pcu", Amount: ledgertest.Grams(60)}))
	if !hasFlag(e, "supply-short") {
		t.Errorf("using what the book does not have: %v", e.Flags)
	}
	b.Want(60, "heat/1") // phosphor copper becomes part of the melt
	b.Want(-60, "additive/pcu")
	b.Verify()
}

func TestWholeListsPageByPage(t *testing.T) {
	b := ledgertest.Open(t)
	for range 300 {
		b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(1_000)}))
	}
	seen := map[string]bool{}
	for after := ""; ; {
		page, next, err := b.Lots(ctx, ledger.LotQuery{Alloy: "C87300", After: after, Limit: 70})
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range page {
			if seen[l.ID] {
				t.Fatalf("lot %s twice", l.ID)
			}
			seen[l.ID] = true
		}
		if after = next; after == "" {
			break
		}
	}
	if len(seen) != 300 {
		t.Errorf("%d lots seen", len(seen))
	}
	b.Now = b.Now.Add(time.Hour)
}

// Returns are asked about when they are weighed in as another alloy than that of the heat
// or the casting that they come from; not when they are set apart.
func TestReturnsOfAnotherAlloy(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	var k ledger.Casting
	if _, err := b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{Heat: "41", Mold: "41-1", Stage: ledger.AsCast, Weighing: ledgertest.Net(20_000)})).First(ledger.RecCasting, &k); err != nil {
		t.Fatal(err)
	}
	for what, c := range map[string]ledger.WeighIn{
		"of its heat":    {Heats: []ledger.HeatShare{{Heat: "41"}}},
		"of its casting": {Casting: k.ID},
	} {
		c.Weighing = ledgertest.Net(500)
		for alloy, asks := range map[string]bool{"C90300": true, "C87300": false, "": false, ledger.UnknownAlloy: false} {
			c.Alloy = alloy
			_, err := b.WeighIn(ctx, none, c)
			if errors.Is(err, ledger.ErrNeedsReason) != asks || !asks && err != nil {
				t.Errorf("%s as %q: %v", what, alloy, err)
			}
		}
		c.Alloy, c.Unsure = "C90300", true
		b.Do(b.WeighIn(ctx, none, c))
		c.Unsure = false
		if e := b.Do(b.WeighIn(ctx, why, c)); !slices.ContainsFunc(e.Flags, func(f ledger.Flag) bool { return f.Code == ledger.FlagWrongAlloy && strings.Contains(f.Text, "C87300") }) {
			t.Errorf("%s: flags %v", what, e.Flags)
		}
	}
	b.Verify()
}

// Pieces leave with a part of a lot, only with what they weigh, and more of them than
// there are ask for a reason; so when they are charged.
func TestPiecesOfALot(t *testing.T) {
	b := ledgertest.Open(t)
	w := ledgertest.Net(20_000)
	w.Pieces = 4
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Pig, Weighing: w})))
	left := func(want int64) {
		t.Helper()
		if l, err := ledger.Get[ledger.Lot](ctx, b.Book, ledger.RecLot, lot.ID); err != nil || l.Value.Pieces != want {
			t.Errorf("%d pieces left, want %d (%v)", l.Value.Pieces, want, err)
		}
	}
	part := ledger.RemoveLot{Lot: lot.ID, How: "sold", Mass: ledgertest.Grams(5_000), Pieces: 1}
	b.Do(b.Remove(ctx, none, part))
	left(3)
	var e *ledger.Error
	if _, err := b.Remove(ctx, none, ledger.RemoveLot{Lot: lot.ID, How: "sold", Pieces: 1}); !errors.As(err, &e) || e.Reason != "REQUIRED" || e.Field != "mass" {
		t.Errorf("pieces without a weight: %v", err)
	}
	part.Pieces = -1
	if _, err := b.Remove(ctx, none, part); !errors.As(err, &e) || e.Reason != "NEGATIVE" || e.Field != "pieces" {
		t.Errorf("less than no pieces: %v", err)
	}
	part.Pieces = 9
	if _, err := b.Remove(ctx, none, part); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("9 of 3 pieces: %v", err)
	}
	left(3)
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "9", Alloy: "C87300", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(5000)}}}))
	b.Do(b.OpenHeat(ctx, none, "9"))
	charge := ledger.ChargeHeat{Heat: "9", Items: []ledger.ChargeItem{{Lot: lot.ID, Mass: ledgertest.Grams(3_000), Pieces: 4}}}
	if _, err := b.Charge(ctx, none, charge); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("4 of 3 pieces charged: %v", err)
	}
	charge.Items[0].Pieces = 2
	b.Do(b.Charge(ctx, none, charge))
	left(1)
	split := ledger.SplitLot{Lot: lot.ID, Parts: []ledger.Part{{Weighing: ledger.WeighingIn{Net: ledgertest.Grams(100), Pieces: 2}}}}
	if _, err := b.Split(ctx, none, split); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("2 of 1 piece split off: %v", err)
	}
	b.Do(b.Remove(ctx, none, ledger.RemoveLot{Lot: lot.ID, How: "sold"}))
	left(0)
	b.Verify()
}

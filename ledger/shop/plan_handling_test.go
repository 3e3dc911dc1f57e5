package shop_test

import (
	"math"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// handle says how the crucible of newStocked, and a furnace, are handled.
func (b *stocked) handle(crucible, furnace ledger.Handling) {
	b.T.Helper()
	b.Do(b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze", VolumeMm3: 8_000_000, Handling: crucible}))
	b.Do(b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "east", Kind: ledger.PotFurnace, Name: "east furnace", Handling: furnace}))
	b.Do(b.ChangeHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "1", Alloy: "C87300", Crucible: "A60", Furnace: "east"}))
}

// TestPlanGoesByThePot: what the book says of the pots binds a plan as if it had
// been asked, and a plan made so is the same as one that was asked for it.
func TestPlanGoesByThePot(t *testing.T) {
	kg := ledger.Kilogram
	for what, c := range map[string]struct {
		crucible, furnace ledger.Handling
		asked             shop.PlanQuery
	}{
		"empty and lift":  {ledger.Handling{Empty: 15 * kg, Lift: 60 * kg}, ledger.Handling{}, shop.PlanQuery{PotMass: new(15 * kg), Lift: new(60 * kg)}},
		"fill":            {ledger.Handling{Fill: 700_000}, ledger.Handling{}, shop.PlanQuery{Fill: 700_000}},
		"skull":           {ledger.Handling{Skull: 2 * kg}, ledger.Handling{}, shop.PlanQuery{Skull: new(2 * kg)}},
		"pig molds":       {ledger.Handling{PigMold: 5 * kg, PigMolds: 8}, ledger.Handling{}, shop.PlanQuery{PigMold: new(5 * kg), PigMolds: 8}},
		"cooling and tap": {ledger.Handling{}, ledger.Handling{CoolingMC: 15_000, MaxTapMC: 1_150_000}, shop.PlanQuery{Cooling: 15, MaxTapC: 1_150}},
		"waiting room":    {ledger.Handling{}, ledger.Handling{Waiting: 3_000_000}, shop.PlanQuery{Waiting: new(int64(3_000_000))}},
		"the crucible is asked before the furnace": {ledger.Handling{CoolingMC: 15_000}, ledger.Handling{CoolingMC: 40_000}, shop.PlanQuery{Cooling: 15}},
	} {
		t.Run(what, func(t *testing.T) {
			c.asked.Heat = "1"
			plain := newStocked(t)
			plain.handle(ledger.Handling{}, ledger.Handling{})
			asked := plain.must(c.asked)
			kept := newStocked(t)
			kept.handle(c.crucible, c.furnace)
			got := kept.must(shop.PlanQuery{Heat: "1"})
			if a, b := asked.Plan, got.Plan; a.Charge != b.Charge || a.Melt != b.Melt || a.Lift != b.Lift || a.Fill != b.Fill || a.PigMolds != b.PigMolds || a.Pour.TapC != b.Pour.TapC ||
				asked.PotMass != got.PotMass || len(a.Takes) != len(b.Takes) || a.Waiting != b.Waiting {
				t.Errorf("asked %+v\nkept  %+v", a, b)
			}
			if !strings.Contains(strings.Join(got.Notes, "\n"), "the book says, where nothing else was asked: ") {
				t.Errorf("notes do not say where it is from: %q", got.Notes)
			}
		})
	}
}

// TestPotBindsAPlan: each fact of the pot is felt, so that one that is not read
// would be seen.
func TestPotBindsAPlan(t *testing.T) {
	b := newStocked(t)
	kg := ledger.Kilogram
	free := b.must(shop.PlanQuery{Heat: "1"})
	b.handle(ledger.Handling{Empty: 15 * kg, Lift: 40 * kg}, ledger.Handling{})
	b.refused(shop.PlanQuery{Heat: "1"}, "NO_SUCH_CHARGE", "crucible and metal to lift at most 40000 g")
	b.handle(ledger.Handling{Fill: 400_000}, ledger.Handling{})
	b.refused(shop.PlanQuery{Heat: "1"}, "NO_SUCH_CHARGE", "crucible filled to at most")
	b.handle(ledger.Handling{PigMold: 5 * kg, PigMolds: 2}, ledger.Handling{})
	b.refused(shop.PlanQuery{Heat: "1"}, "NO_SUCH_CHARGE", "pig molds")
	b.handle(ledger.Handling{Skull: 8 * kg}, ledger.Handling{})
	if got := b.must(shop.PlanQuery{Heat: "1"}); float64(got.Plan.Charge-free.Plan.Charge) < 7*float64(kg) {
		t.Errorf("with 8 kg of skull %d are charged, without %d", got.Plan.Charge, free.Plan.Charge)
	}
	b.handle(ledger.Handling{CoolingMC: 12_000}, ledger.Handling{})
	if got := b.must(shop.PlanQuery{Heat: "1"}); math.Abs(got.Pour[0].StartC-got.Pour[0].EndC-12*30/60.0) > 0.01 {
		t.Errorf("12 K a minute for 30 s: %+v", got.Pour[0])
	}
}

// TestAskedWinsOverThePot: what is asked is held to, whatever the book says; 0
// where it is asked turns off what the book says.
func TestAskedWinsOverThePot(t *testing.T) {
	b := newStocked(t)
	kg := ledger.Kilogram
	b.handle(ledger.Handling{Empty: 15 * kg, Lift: 40 * kg, Fill: 990_000, Skull: 2 * kg, PigMold: 5 * kg, PigMolds: 2, CoolingMC: 12_000}, ledger.Handling{MaxTapMC: 1_150_000, Waiting: 1})
	nothing := new(ledger.Mass)
	b.refused(shop.PlanQuery{Heat: "1", PigMold: nothing}, "NO_SUCH_CHARGE", "lift at most")
	b.refused(shop.PlanQuery{Heat: "1", Lift: new(200 * kg)}, "NO_SUCH_CHARGE", "pig molds")
	room := int64(50_000_000)
	off := shop.PlanQuery{Heat: "1", Lift: nothing, PotMass: nothing, Skull: nothing, PigMold: nothing, Fill: ledger.Whole, Waiting: &room}
	got := b.must(off)
	if got.PotMass != 0 || got.Plan.PigMolds != 0 {
		t.Errorf("pot of %d, %d pig molds though neither is to be reckoned", got.PotMass, got.Plan.PigMolds)
	}
	plain := newStocked(t)
	plain.handle(ledger.Handling{}, ledger.Handling{})
	if want := plain.must(shop.PlanQuery{Heat: "1", Cooling: 12, MaxTapC: 1_150}); got.Plan.Charge != want.Plan.Charge || got.Plan.Fill != want.Plan.Fill || got.Plan.Lift != want.Plan.Lift {
		t.Errorf("%+v, want %+v", got.Plan, want.Plan)
	}
	if own := b.must(shop.PlanQuery{Heat: "1", Lift: nothing, PigMold: new(4 * kg)}); own.Plan.PigMolds < 3 {
		t.Errorf("%d pig molds of 4 kg: their number is not that of the book's own", own.Plan.PigMolds)
	}
}

// TestLiftLooksAtThePotFirst: a lift that is asked is reckoned with the crucible's
// own mass, and refused only when nobody knows it.
func TestLiftLooksAtThePotFirst(t *testing.T) {
	b := newStocked(t)
	kg := ledger.Kilogram
	b.refused(shop.PlanQuery{Heat: "1", Lift: new(60 * kg)}, "BAD_PLAN", "crucible_mass")
	b.refused(shop.PlanQuery{Heat: "1", PigMolds: 3}, "BAD_PLAN", "pig_mold")
	b.handle(ledger.Handling{Empty: 15 * kg, PigMold: 9 * kg}, ledger.Handling{})
	got := b.must(shop.PlanQuery{Heat: "1", Lift: new(70 * kg), PigMolds: 5})
	if got.PotMass != 15*kg || got.Plan.Lift != int64(15*kg)+got.Plan.Charge {
		t.Errorf("%d to lift with a crucible of %d and a charge of %d", got.Plan.Lift, got.PotMass, got.Plan.Charge)
	}
	b.refused(shop.PlanQuery{Heat: "1", Lift: new(15 * kg)}, "BAD_PLAN", "lift")
	b.refused(shop.PlanQuery{Heat: "1", Lift: new(-1 * kg)}, "BAD_PLAN", "lift")
}

// TestArrangeGoesByThePots: molds that a crucible could hold and nobody can lift
// are not put into one heat.
func TestArrangeGoesByThePots(t *testing.T) {
	for what, c := range map[string]struct {
		h     ledger.Handling
		heats int
	}{
		"nothing is said": {ledger.Handling{}, 1},
		"lift":            {ledger.Handling{Empty: 15 * ledger.Kilogram, Lift: 45 * ledger.Kilogram}, 2},
		"fill":            {ledger.Handling{Fill: 500_000}, 2},
		"skull":           {ledger.Handling{Skull: 25 * ledger.Kilogram}, 2},
	} {
		b := newStocked(t)
		b.handle(c.h, ledger.Handling{})
		got, err := b.ArrangeHeats(ctx, shop.ArrangeQuery{})
		if err != nil || len(got.Heats) != c.heats {
			t.Errorf("%s: %d heats, %v; want %d", what, len(got.Heats), err, c.heats)
		}
		if said := strings.Contains(strings.Join(got.Notes, "\n"), "as the book says"); said != (c.heats > 1) {
			t.Errorf("%s: notes %q", what, got.Notes)
		}
	}
}

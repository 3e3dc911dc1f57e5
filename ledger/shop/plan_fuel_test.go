package shop_test

import (
	"math"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// melts makes heats of the furnace east, of 10 kg each, with the fuel they burned.
func (b *stocked) melts(fuel string, amounts ...string) {
	b.T.Helper()
	m := ledger.Meta{}
	for i, amount := range amounts {
		if amount == "" { // made already
			continue
		}
		id := fuel[:2] + string(rune('a'+i))
		lot := ledgertest.MadeLot(b.T, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10_000)})))
		b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: id, Alloy: "C87300", Furnace: "east", Molds: []ledger.MoldPlan{{Name: "plaque"}}}))
		b.Do(b.OpenHeat(ctx, m, id))
		b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: lot.ID}}}))
		b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: id}))
		b.Do(b.RecordFuel(ctx, m, ledger.RecordFuel{Heats: []string{id}, Fuel: fuel, Amount: amount}))
	}
}

// TestPlanNamesItsFuel: a plan reckons the fuel that its furnace burns, by the range
// of its kind until three heats have taught its own, and in the measure that is noted.
func TestPlanNamesItsFuel(t *testing.T) {
	b := newStocked(t)
	if got := b.must(shop.PlanQuery{Heat: "1"}); len(got.Fuels) > 0 || got.MeltHeat.Total() != 0 {
		t.Errorf("fuel %v of no furnace", got.Fuels)
	}
	b.handle(ledger.Handling{}, ledger.Handling{})
	if got := b.must(shop.PlanQuery{Heat: "1"}); len(got.Fuels) > 0 {
		t.Errorf("fuel %v of a furnace whose fuel nobody noted", got.Fuels)
	}
	b.melts("propane", "5 lb", "6 lb")
	early := b.must(shop.PlanQuery{Heat: "1"})
	if len(early.Fuels) != 1 || early.Fuels[0].Name != "propane" || early.Fuels[0].Unit != "lb" || early.Fuels[0].Efficiency.Furnace != "gas crucible" {
		t.Fatalf("by two heats: %+v", early.Fuels)
	}
	if notes := strings.Join(early.Notes, "\n"); !strings.Contains(notes, "too few heats of east have their propane noted") {
		t.Errorf("notes %s", notes)
	}
	b.melts("propane", "", "", "5.5 lb")
	got := b.must(shop.PlanQuery{Heat: "1"})
	if len(got.Fuels) != 1 || got.Fuels[0].Efficiency.Furnace != "east" {
		t.Fatalf("by three heats: %+v", got.Fuels)
	}
	if notes := strings.Join(got.Notes, "\n"); !strings.Contains(notes, "how east burns propane is learned from 3 heats of east") {
		t.Errorf("notes %s", notes)
	}
	// It is what the question of energy says of the same metal brought to the same heat.
	e, err := b.EstimateMeltEnergy(ctx, shop.Melt{Alloy: "C87300", Mass: ledger.Mass(got.Plan.Charge), FromC: 20, ToC: pointer(got.Plan.Pour.TapC), Own: "east"})
	if err != nil || e.Heat != got.MeltHeat {
		t.Fatalf("%+v, %v; planned %+v", e.Heat, err, got.MeltHeat)
	}
	for _, f := range e.Fuels {
		if f.Name == "propane" && f.Unit == "lb" && (f.Low != got.Fuels[0].Low || f.High != got.Fuels[0].High) {
			t.Errorf("%+v, planned %+v", f, got.Fuels[0])
		}
	}
	// By hand: 10 kg each took 16.5 lb together; this charge takes as much for a kg, but
	// for how hot it is made. A tenth apart at most.
	if perKg, want := (got.Fuels[0].Low+got.Fuels[0].High)/2/(float64(got.Plan.Charge)/1e6), 16.5/30; math.Abs(perKg/want-1) > 0.1 {
		t.Errorf("%.3f lb for a kg, the heats took %.3f", perKg, want)
	}
}

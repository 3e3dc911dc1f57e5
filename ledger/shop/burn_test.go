package shop_test

import (
	"errors"
	"math"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/unit"
)

// The heat in amounts of fuel: 21 560 Btu a pound, 91 333 Btu a gallon and 2500 Btu a
// cubic foot of propane, 1029 Btu a cubic foot of natural gas (sources in
// ledger/alloy/fuel.go and testdata/examples), the Btu being 1055.05585262 J and the
// kilowatt hour 3.6 MJ (NIST SP 811).
func TestFuelJoules(t *testing.T) {
	const btu = 1055.05585262
	for _, c := range []struct {
		kind, amount string
		want         float64
	}{
		{"propane", "10 lb", 215_600 * btu}, {"propane", "2 gal", 182_666 * btu}, {"propane", "100 ft3", 250_000 * btu},
		{"natural gas", "100 ft3", 102_900 * btu}, {"natural gas", "1 therm", 100_000 * btu}, {"electricity", "5 kWh", 18e6}, {"fuel oil no. 2", "1 gal", 138_690 * btu},
	} {
		amount, measure, err := unit.ParseFuel(c.amount)
		if err != nil {
			t.Fatal(err)
		}
		got, ok := shop.FuelJoules(ledger.Fuel{Kind: c.kind, Amount: amount, Measure: measure})
		if !ok || math.Abs(got/c.want-1) > 1e-6 {
			t.Errorf("%s of %s: %g J (%t), want %g", c.amount, c.kind, got, ok, c.want)
		}
	}
	if _, ok := shop.FuelJoules(ledger.Fuel{Kind: "natural gas", Amount: 1, Measure: unit.FuelMass}); ok {
		t.Error("natural gas by weight has no heating value listed")
	}
}

// Fuel of a day's heats is shared by their charges, to the last unit of fuel and money;
// it can be taken back; and three heats with their fuel teach the furnace's efficiency.
func TestFuelIsSharedAndTeaches(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.SetPot(ctx, m, ledger.Pot{ID: "east", Kind: ledger.PotFurnace, Name: "east furnace"}))
	heat := func(id string, grams int64) {
		lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(grams)})))
		b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: id, Alloy: "C87300", Furnace: "east", Molds: []ledger.MoldPlan{{Name: "plaque"}}}))
		b.Do(b.OpenHeat(ctx, m, id))
		b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: lot.ID}}}))
		b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: id}))
	}
	heat("1", 20_000)
	heat("2", 10_000)
	heat("3", 30_000)
	e := b.Do(b.RecordFuel(ctx, m, ledger.RecordFuel{Heats: []string{"1", "2"}, Fuel: "propane", Amount: "10 lb", Price: "10.00 USD"}))
	var amounts, costs []int64
	for _, r := range e.Records {
		var f ledger.Fuel
		if err := r.Into(&f); err != nil {
			t.Fatal(err)
		}
		amounts, costs = append(amounts, f.Amount), append(costs, f.Price.Minor)
	}
	if len(amounts) != 2 || amounts[0]+amounts[1] != 4_535_924 || costs[0] != 667 || costs[1] != 333 {
		t.Errorf("10 lb for 10.00 shared over 20 and 10 kg: %v mg, %v", amounts, costs)
	}
	if _, ok, err := b.BurnOf(ctx, "east", "propane"); ok || err != nil {
		t.Errorf("two heats teach already: %v", err)
	}
	wrong := b.Do(b.RecordFuel(ctx, m, ledger.RecordFuel{Heats: []string{"3"}, Fuel: "propane", Amount: "100 lb"}))
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "read the wrong bottle"}, ledger.ReverseEntry{Entry: wrong.Seq}))
	b.Do(b.RecordFuel(ctx, m, ledger.RecordFuel{Heats: []string{"3"}, Fuel: "propane", Before: "100 lb", After: "110 lb"}))
	burn, ok, err := b.BurnOf(ctx, "east", "propane")
	if err != nil || !ok || burn.N != 3 {
		t.Fatalf("%+v, %v, %v", burn, ok, err)
	}
	melt, err := b.EstimateMeltEnergy(ctx, shop.Melt{Alloy: "C87300", Mass: 60 * ledger.Kilogram, FromC: 20, ToC: pointer(meltTo(t, b)), Own: "east"})
	if err != nil {
		t.Fatal(err)
	}
	// 60 kg in all took what 20 lb of propane burned, by the ratio of the sums.
	for _, f := range melt.Fuels {
		if f.Name == "propane" && f.Unit == "lb" {
			if math.Abs(melt.Heat.Total()/burn.Efficiency/f.Joules-20) > 1e-4 || !(f.Low <= 20 && 20 <= f.High) || f.Efficiency.Furnace != "east" {
				t.Errorf("%+v, learned %+v", f, burn)
			}
		}
	}
	for name, c := range map[string]struct {
		use    ledger.RecordFuel
		reason string
	}{
		"no such fuel":       {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "coal", Amount: "1 lb"}, "UNKNOWN_FUEL"},
		"no unit":            {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "propane", Amount: "12"}, "MISSING_UNIT"},
		"meter went back":    {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "propane", Before: "12 lb", After: "11 lb"}, "METER_WENT_BACK"},
		"both":               {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "propane", Amount: "1 lb", After: "11 lb"}, "CONTRADICTION"},
		"gas by weight":      {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "natural gas", Amount: "1 lb"}, "WRONG_MEASURE"},
		"no heat":            {ledger.RecordFuel{Fuel: "propane", Amount: "1 lb"}, "REQUIRED"},
		"a heat twice":       {ledger.RecordFuel{Heats: []string{"1", "1"}, Fuel: "propane", Amount: "1 lb"}, "TWICE"},
		"nothing burned":     {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "propane", Amount: "0 lb"}, "ZERO"},
		"less than nothing":  {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "propane", Amount: "-3 lb"}, "NEGATIVE"},
		"price by the month": {ledger.RecordFuel{Heats: []string{"1"}, Fuel: "propane", Amount: "3 lb", Price: "3 USD/month"}, "UNKNOWN_UNIT"},
	} {
		_, err := b.RecordFuel(ctx, m, c.use)
		var bad *ledger.Error
		if !errors.As(err, &bad) || bad.Reason != c.reason {
			t.Errorf("%s: %v", name, err)
		}
	}
	b.Verify()
}

func pointer(x float64) *float64 { return &x }

// meltTo is how hot a heat is taken to be brought when nothing was read.
func meltTo(t *testing.T, b *ledgertest.Shop) float64 {
	t.Helper()
	m, err := b.EstimateMeltEnergy(ctx, shop.Melt{Alloy: "C87300", Mass: ledger.Kilogram, FromC: 20})
	if err != nil {
		t.Fatal(err)
	}
	return m.LiquidusC + 100
}

package shop_test

import (
	"errors"
	"math"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestFuelForAMelt: heating values as published (ASHRAE Fundamentals, propane
// 21 560 Btu/lb; the Federal Register of 21 March 2007, natural gas 102 900 Btu per
// 100 ft³; a kWh is 3.6 MJ), conversions of NIST SP 811.
func TestFuelForAMelt(t *testing.T) {
	b := ledgertest.Open(t)
	const btu, lb, ft3 = 1055.05585262, 0.45359237, 0.028316846592
	e, err := b.EstimateMeltEnergy(ctx, shop.Melt{Alloy: "C95200", Mass: 60 * ledger.Kilogram, FromC: 20, Efficiency: 200_000})
	if err != nil {
		t.Fatal(err)
	}
	if e.ToC <= e.LiquidusC || len(e.Used) < 3 || len(e.Notes) < 3 {
		t.Errorf("to %g °C over %g by %v, %v", e.ToC, e.LiquidusC, e.Used, e.Notes)
	}
	burned := e.Heat.Total() / 0.2 // J
	for fuel, c := range map[string]struct{ joules, metric float64 }{
		"propane lb": {21_560 * btu, lb}, "natural gas ft3": {1_029 * btu, ft3}, "electricity kWh": {3.6e6, 0},
	} {
		found := false
		for _, f := range e.Fuels {
			if f.Name+" "+f.Unit != fuel {
				continue
			}
			found = true
			want := burned / c.joules
			if math.Abs(f.Low-want) > 1e-9*want || f.High != f.Low || math.Abs(f.MetricLow-want*c.metric) > 1e-9*want {
				t.Errorf("%s: %g (%g %s), want %g", fuel, f.Low, f.MetricLow, f.Metric, want)
			}
		}
		if !found {
			t.Errorf("no %s", fuel)
		}
	}
}

// TestMeltsTheShopKnowsBetter: the shop's own pouring temperatures count first, and
// without an efficiency there is a range, of the furnace that was named.
func TestMeltsTheShopKnowsBetter(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.SetAlloy(ctx, ledger.Meta{}, ledger.Alloy{ID: "C87300", PourFromC: 1_100_000, PourToC: 1_140_000}))
	e, err := b.EstimateMeltEnergy(ctx, shop.Melt{Alloy: "C87300", Mass: ledger.Kilogram, FromC: 20, Furnace: "copper induction"})
	if err != nil || e.ToC != 1120 {
		t.Fatalf("to %g °C, %v", e.ToC, err)
	}
	for _, f := range e.Fuels {
		if f.Efficiency.Furnace != "copper induction" || math.Abs(f.High/f.Low-f.Efficiency.High/f.Efficiency.Low) > 1e-9 {
			t.Errorf("%+v", f)
		}
	}
	cold := 900.0
	if e, err = b.EstimateMeltEnergy(ctx, shop.Melt{Alloy: "C87300", Mass: ledger.Kilogram, FromC: 20, ToC: &cold}); err != nil || e.Heat.Latent != 0 || len(e.Notes) != 3 {
		t.Errorf("below the liquidus %+v, %v", e.Heat, err)
	}
	hot := 5.0
	for field, m := range map[string]shop.Melt{
		"mass":               {Alloy: "C87300"},
		"to":                 {Alloy: "C87300", Mass: 1, FromC: 20, ToC: &hot},
		"furnace_kind":       {Alloy: "C87300", Mass: 1, FromC: 20, Furnace: "campfire"},
		"efficiency_percent": {Alloy: "C87300", Mass: 1, FromC: 20, Efficiency: 2_000_000},
		"alloy":              {Alloy: "C87850", Mass: 1, FromC: 20}, // no melting range was found for it
	} {
		var bad *ledger.Error
		if _, err := b.EstimateMeltEnergy(ctx, m); !errors.As(err, &bad) || bad.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}

package alloy

import (
	"math"
	"testing"
)

// mifco.com's crucible page: No. 16 holds 16 lb of aluminium and 48 lb of brass
// or bronze. Other makers' numbers are conventions and no check.
func TestBilgeRule(t *testing.T) {
	for _, c := range Crucibles() {
		if c.Shape != "bilge" || c.Size != "16" {
			continue
		}
		al, bronze := Bilge(16)
		if al != c.AluminiumLb || bronze != c.BronzeLb || math.Abs(c.BronzeKg-bronze*0.45359237) > 0.005 {
			t.Errorf("rule gives %g and %g lb, the page %g and %g", al, bronze, c.AluminiumLb, c.BronzeLb)
		}
		return
	}
	t.Error("the crucible of the check is not in the table")
}

func TestCrucibleMass(t *testing.T) {
	// workshopshed.com: about 470 ml, full to the brim about 4 kg of brass. A
	// hobby figure: only the order is checked, at the density of liquid copper.
	if got, err := CrucibleMass(470, 1, 8); err != nil || math.Abs(got-4000) > 400 {
		t.Errorf("470 ml: %g g, %v", got, err)
	}
	for _, bad := range [][3]float64{{0, 1, 8}, {470, 0, 8}, {470, 1.01, 8}, {470, 1, 0}, {math.NaN(), 1, 8}} {
		if _, err := CrucibleMass(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("CrucibleMass(%v): no error", bad)
		}
	}
}

// A pure metal at its melting point has the CRC density it was given; an alloy
// lies between its metals; a melt thins with heat. The ratio of bronze to
// aluminium is above the trade's three.
func TestMeltDensity(t *testing.T) {
	cu, err := MeltDensity(map[string]float64{"Cu": 100}, 1084.62)
	if err != nil || math.Abs(cu.Value-7.997) > 1e-9 || cu.Verified != Derived {
		t.Errorf("copper: %+v, %v", cu, err)
	}
	bronze := map[string]float64{"Cu": 95, "Si": 4, "Mn": 1}
	cool, _ := MeltDensity(bronze, 1100)
	hot, _ := MeltDensity(bronze, 1200)
	if !(hot.Value < cool.Value && cool.Value < 7.997 && cool.Value > 2.57) {
		t.Errorf("silicon bronze %g at 1100 °C, %g at 1200 °C", cool.Value, hot.Value)
	}
	al, _ := MeltDensity(map[string]float64{"Al": 93, "Si": 7}, 720)
	if ratio := cool.Value / al.Value; ratio < TimesThree || ratio > 3.5 {
		t.Errorf("bronze to aluminium %g", ratio)
	}
	if _, err := MeltDensity(map[string]float64{"Cu": 95, "Be": 2}, 1100); err == nil {
		t.Error("2 % of an element without a density: no error")
	}
	if _, err := MeltDensity(map[string]float64{"Cu": 99.95, "P": 0.05}, 1100); err != nil {
		t.Errorf("a trace without a density: %v", err)
	}
	for _, bad := range []map[string]float64{nil, {"Cu": -1}} {
		if _, err := MeltDensity(bad, 1100); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
}

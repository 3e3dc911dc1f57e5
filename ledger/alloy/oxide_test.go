package alloy

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// Shares worked by hand from the abridged IUPAC weights of 2013 (Pure Appl. Chem.
// 88 (2016) 265): e.g. CuO 63.546 ÷ 79.545 = 0.798869, so 1.2518 of oxide for 1 of
// copper; ZnO 65.38 ÷ 81.379; Al2O3 53.964 ÷ 101.961; Fe3O4 167.535 ÷ 231.531.
func TestMetalShareByHand(t *testing.T) {
	for oxide, want := range map[string]float64{
		"CuO": 63.546 / 79.545, "Cu2O": 127.092 / 143.091, "ZnO": 65.38 / 81.379, "SnO2": 118.71 / 150.708,
		"Al2O3": 53.964 / 101.961, "SiO2": 28.085 / 60.083, "MgO": 24.305 / 40.304, "PbO": 207.2 / 223.199,
		"Fe2O3": 111.69 / 159.687, "Fe3O4": 167.535 / 231.531, "MnO": 54.938 / 70.937, "NiO": 58.693 / 74.692,
	} {
		s, err := MetalShareOf(oxide)
		if err != nil || int64(s) != int64(math.Round(want*1e6)) || s.Check() != nil {
			t.Errorf("%s: %d, %v; want %.6f", oxide, s, err, want)
		}
	}
	for _, o := range Oxides() {
		if s, err := MetalShareOf(o); err != nil || s.Check() != nil {
			t.Errorf("%s: %d, %v", o, s, err)
		}
		if m, err := OxideMetal(o); err != nil || m == "" {
			t.Errorf("%s: metal %q, %v", o, m, err)
		}
	}
	cu, _ := MetalInOxide("CuO", 475_000)
	if cu != 379_463 { // 475 g × 63546/79545 = 379 462.8… mg
		t.Errorf("475 g of CuO hold %d mg", cu)
	}
	if got := MetalShare(800_000).Of(475_000); got != 380_000 { // a shop's factor of 1.25
		t.Errorf("475 g of oxide at 1.25: %d mg, want 380000", got)
	}
	if got := MetalShare(800_000).OxideOf(380_000); got != 475_000 {
		t.Errorf("380 g of copper at 1.25: %d mg of oxide, want 475000", got)
	}
	for _, bad := range []string{"", "cuo", "H2O"} {
		if _, err := MetalInOxide(bad, 1); err == nil {
			t.Errorf("%q is no oxide of the table, yet no error", bad)
		}
	}
	if MetalShare(0).Check() == nil || MetalShare(1_000_000).Check() == nil {
		t.Error("a share of none or all passes")
	}
}

// The result is the integer nearest to the exact ratio, odd in its sign, and
// never more metal than oxide.
func TestMetalInOxideIsNearest(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		oxide := rapid.SampledFrom(Oxides()).Draw(r, "oxide")
		mg := rapid.Int64Range(0, math.MaxInt64).Draw(r, "mg")
		got, err := MetalInOxide(oxide, mg)
		if err != nil {
			r.Fatal(err)
		}
		num, den, _ := stoichiometry(oxide)
		exact := new(big.Rat).Mul(new(big.Rat).SetInt64(mg), big.NewRat(num, den))
		off := new(big.Rat).Sub(exact, new(big.Rat).SetInt64(got))
		if off.Abs(off).Cmp(big.NewRat(1, 2)) > 0 {
			r.Fatalf("%s: %d mg hold %d mg, exact %s", oxide, mg, got, exact.FloatString(3))
		}
		back, _ := MetalInOxide(oxide, -mg)
		if back != -got || got > mg {
			r.Fatalf("%s: %d mg give %d, %d mg give %d", oxide, mg, got, -mg, back)
		}
	})
}

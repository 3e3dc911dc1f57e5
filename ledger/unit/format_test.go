package unit

import (
	"math"
	"testing"
)

func TestFormatMass(t *testing.T) {
	for _, c := range []struct {
		mg       int64
		u        MassUnit
		division int64
		want     string
	}{
		{12400000, KG, 0, "12.400 kg"},
		{12400000, KG, 10000, "12.40 kg"},  // a scale of 10 g
		{12400000, KG, 20000, "12.40 kg"},  // of 20 g: still the second decimal
		{12400000, KG, 100000, "12.4 kg"},  // of 100 g
		{12400000, KG, 5000000, "12 kg"},   // of 5 kg: never coarser than the unit
		{12400000, KG, 1, "12.400000 kg"},  //
		{12400000, LB, 0, "27.34 lb"},      // 27.3373…
		{12400000, LB, 45359, "27.3 lb"},   // 0.1 lb is 45359.237 mg
		{12400000, LB, 90718, "27.3 lb"},   // 0.2 lb
		{12400000, LB, 453592, "27 lb"},    // 1 lb
		{453592, OZ, 0, "16.0 oz"},         //
		{453592, LBOZ, 0, "1 lb 0.0 oz"},   // 15.99999 oz carries
		{452742, LBOZ, 0, "1 lb 0.0 oz"},   // 15.97 oz carries
		{-453592, LBOZ, 0, "-1 lb 0.0 oz"}, //
		{-1, LBOZ, 0, "0 lb 0.0 oz"},       //
		{5613206, LBOZ, 28350, "12 lb 6 oz"},
		{-500, KG, 0, "0.000 kg"}, // half to even, and never -0
		{-501, KG, 0, "-0.001 kg"},
		{1500, KG, 0, "0.002 kg"},
		{2500, KG, 0, "0.002 kg"},
		{-350, G, 0, "0 g"},
		{1234567890, G, 0, "1234568 g"},
		{1500000000, Tonne, 0, "1.500 t"},
		{907184740, ShortTon, 0, "1.000 ton"},
		{31103, TroyOunce, 0, "1.00 ozt"},
		{7, MG, 0, "7 mg"},
		{math.MinInt64, MG, 0, "-9223372036854775808 mg"},
		{1000000, "stone", 0, "1.000 kg"},
	} {
		if got := FormatMass(c.mg, c.u, c.division); got != c.want {
			t.Errorf("FormatMass(%d, %s, %d) = %q, want %q", c.mg, c.u, c.division, got, c.want)
		}
	}
	if got := FormatMassNumber(12400000, KG, 0); got != "12.400" {
		t.Errorf("FormatMassNumber = %q", got)
	}
}

func TestMassInUnit(t *testing.T) {
	for u, want := range map[MassUnit]float64{KG: 0.45359237, LB: 1, LBOZ: 1, OZ: 16, G: 453.59237} {
		// 453592.37 mg is no integer; 100 lb is.
		if got := MassInUnit(45359237, u) / 100; math.Abs(got-want) > 1e-14*want {
			t.Errorf("1 lb = %v %s, want %v", got, u, want)
		}
	}
}

func TestFormatTemperature(t *testing.T) {
	for _, c := range []struct {
		milliC   int64
		u        TempUnit
		division int64
		want     string
	}{
		{1150000, C, 0, "1150 °C"}, {1150000, F, 0, "2102 °F"}, {1148889, F, 100, "2100.0 °F"},
		{1150500, C, 0, "1150 °C"}, {1151500, C, 0, "1152 °C"}, {-400, C, 0, "0 °C"}, {-17778, F, 0, "0 °F"},
		{1234, C, 1, "1.234 °C"}, {1234, C, 500, "1.2 °C"}, {-40000, F, 0, "-40 °F"}, {20000, "K", 0, "20 °C"},
	} {
		if got := FormatTemperature(c.milliC, c.u, c.division); got != c.want {
			t.Errorf("FormatTemperature(%d, %s, %d) = %q, want %q", c.milliC, c.u, c.division, got, c.want)
		}
	}
}

func TestFormatVolumeAndPercent(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{FormatVolume(1200000, Litre, 0), "1.200 l"},
		{FormatVolume(1892706, Gallon, 0), "0.50 gal"},
		{FormatVolume(196645, CubicInch, 0), "12.0 in3"},
		{FormatVolume(350499, Millilitre, 0), "350 ml"},
		{FormatVolume(350499, Millilitre, 100), "350.5 ml"},
		{FormatVolume(1200000, "cup", 0), "1.200 l"},
		{FormatPercent(20000), "2 %"},
		{FormatPercent(Whole), "100 %"},
		{FormatPercent(5000), "0.5 %"},
		{FormatPercent(1), "0.0001 %"},
		{FormatPercent(-15000), "-1.5 %"},
		{FormatPercent(0), "0 %"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

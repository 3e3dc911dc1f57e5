package unit_test

import (
	"errors"
	"testing"

	"example.org/remelt/ledger/unit"
)

// TestParseFuel: sizes of NIST SP 811, Appendix B (pound 453.592 37 g, gallon 231 in³,
// foot 0.3048 m, International Table Btu 1055.055 852 62 J).
func TestParseFuel(t *testing.T) {
	for text, want := range map[string]struct {
		amount  int64
		measure unit.FuelMeasure
	}{
		"14.2 lb": {6_441_012, unit.FuelMass}, "6 kg": {6_000_000, unit.FuelMass}, "14 lb 6 oz": {6_520_390, unit.FuelMass},
		"1 gal": {3_785_412, unit.FuelLiquid}, "20 l": {20_000_000, unit.FuelLiquid},
		"100 ft3": {2_831_685, unit.FuelGas}, "1 ccf": {2_831_685, unit.FuelGas}, "2.5 m³": {2_500_000, unit.FuelGas},
		"31 kWh": {111_600_000, unit.FuelEnergy}, "1 therm": {105_505_585, unit.FuelEnergy},
	} {
		amount, measure, err := unit.ParseFuel(text)
		if err != nil || amount != want.amount || measure != want.measure {
			t.Errorf("%q: %d %s, %v; want %v", text, amount, measure, err, want)
		}
	}
	for text, reason := range map[string]string{"14.2": unit.MissingUnit, "3 bottles": unit.UnknownUnit, "-2 kg": unit.Negative, "1,200 l": unit.AmbiguousComma, "": unit.Empty} {
		_, _, err := unit.ParseFuel(text)
		var e *unit.Error
		if !errors.As(err, &e) || e.Reason != reason {
			t.Errorf("%q: %v, want %s", text, err, reason)
		}
	}
}

func TestFuelCost(t *testing.T) {
	for _, c := range []struct {
		price   string
		amount  int64
		measure unit.FuelMeasure
		minor   int64
		reason  string
	}{
		{"12.40 USD", 1, unit.FuelMass, 1240, ""},
		{"0.1423 USD/kWh", 31 * 3_600_000, unit.FuelEnergy, 441, ""}, // 4.4113
		{"$0.95/lb", 4_535_924, unit.FuelMass, 950, ""},              // 10 lb
		{"3.10 USD per gal", 3_785_412, unit.FuelLiquid, 310, ""},
		{"3.10 USD/gal", 3_785_412, unit.FuelMass, 0, unit.UnknownUnit},
		{"-1 USD/lb", 1, unit.FuelMass, 0, unit.Negative},
	} {
		minor, code, err := unit.FuelCost(c.price, "USD", c.amount, c.measure)
		var e *unit.Error
		if c.reason != "" {
			if !errors.As(err, &e) || e.Reason != c.reason {
				t.Errorf("%q: %v, want %s", c.price, err, c.reason)
			}
		} else if err != nil || minor != c.minor || code != "USD" {
			t.Errorf("%q: %d %s, %v; want %d", c.price, minor, code, err, c.minor)
		}
	}
}

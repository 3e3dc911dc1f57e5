package unit

import (
	"fmt"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

var (
	anyMass     = rapid.Int64Range(0, MaxMass)
	anyMassUnit = rapid.SampledFrom(MassUnits())
)

// What is shown parses to within half a division of what was kept, and one rounding
// to the milligram; with a division of 1 mg it parses to exactly that.
func TestShownMassParsesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mg, u := anyMass.Draw(t, "mg"), anyMassUnit.Draw(t, "unit")
		division := rapid.Int64Range(1, 1_000_000).Draw(t, "division")
		got, err := ParseMass(FormatMass(mg, u, division), "")
		// A mass at the top may round past it; everything else must parse.
		if mg > MaxMass-division {
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		// Half a milligram for a division that is itself rounded, half for the parse.
		if off := 2 * max(got-mg, mg-got); off > division+2 || division == 1 && off != 0 {
			t.Fatalf("%d mg shows as %q and parses to %d, division %d", mg, FormatMass(mg, u, division), got, division)
		}
	})
}

func TestParseMassIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.SampledFrom([]MassUnit{KG, G, LB, OZ, TroyOunce}).Draw(t, "unit")
		a := rapid.Int64Range(0, 1e9).Draw(t, "a")
		b := a + rapid.Int64Range(0, 1000).Draw(t, "more")
		x, errX := ParseMass(fmt.Sprintf("%d.%05d", a/1e5, a%1e5), u)
		y, errY := ParseMass(fmt.Sprintf("%d,%05d", b/1e5, b%1e5), u)
		if errX != nil || errY != nil || x > y {
			t.Fatalf("%d → %d (%v), %d → %d (%v)", a, x, errX, b, y, errY)
		}
	})
}

// Pounds and ounces are the pounds they make: n sixteenths and hundredths of an
// ounce, written both ways.
func TestPoundsAndOuncesArePounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pounds := rapid.Int64Range(0, 100_000).Draw(t, "pounds")
		centiOunces := rapid.Int64Range(0, 1599).Draw(t, "hundredths of an ounce")
		both, err := ParseMass(fmt.Sprintf("%d lb %d.%02d oz", pounds, centiOunces/100, centiOunces%100), "")
		if err != nil {
			t.Fatal(err)
		}
		inPounds := new(big.Rat).Add(big.NewRat(pounds, 1), big.NewRat(centiOunces, 1600))
		one, err := ParseMass(inPounds.FloatString(6)+" lb", "") // 1/1600 has six decimals
		if err != nil || one != both {
			t.Fatalf("%d lb %d/100 oz = %d mg, in pounds %d mg, %v", pounds, centiOunces, both, one, err)
		}
	})
}

func TestShownTemperatureParsesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		milliC := rapid.Int64Range(AbsoluteZero, MaxTemperature).Draw(t, "milliC")
		u := rapid.SampledFrom([]TempUnit{C, F}).Draw(t, "unit")
		got, err := ParseTemperature(FormatTemperature(milliC, u, 1), "")
		if err != nil || got != milliC {
			t.Fatalf("%d shows as %q and parses to %d, %v", milliC, FormatTemperature(milliC, u, 1), got, err)
		}
	})
}

func TestShownVolumePercentAndMoneyParseBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm3 := rapid.Int64Range(0, MaxVolume-1).Draw(t, "mm3")
		u := rapid.SampledFrom([]VolumeUnit{Litre, Millilitre, CubicCentimetre, CubicInch, CubicFoot, Gallon, FluidOunce}).Draw(t, "unit")
		if got, err := ParseVolume(FormatVolume(mm3, u, 1), ""); err != nil || got != mm3 {
			t.Fatalf("%d mm3 shows as %q and parses to %d, %v", mm3, FormatVolume(mm3, u, 1), got, err)
		}
		ppm := rapid.Int64Range(0, Whole).Draw(t, "ppm")
		if got, err := ParsePercent(FormatPercent(ppm)); err != nil || got != ppm {
			t.Fatalf("%d ppm shows as %q and parses to %d, %v", ppm, FormatPercent(ppm), got, err)
		}
		minor := rapid.Int64Range(0, MaxMoney).Draw(t, "minor")
		code := rapid.SampledFrom(Currencies()).Draw(t, "currency")
		if got, c, err := ParseMoney(FormatMoney(minor, code), ""); err != nil || got != minor || c != code {
			t.Fatalf("%d %s shows as %q and parses to %d %s, %v", minor, code, FormatMoney(minor, code), got, c, err)
		}
	})
}

// A rate survives being shown, costs more for more, and the parts of a mass cost
// the whole to within the rounding of each.
func TestRateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Rate{
			Amount:   rapid.Int64Range(0, 1e12).Draw(t, "amount"),
			Currency: rapid.SampledFrom(Currencies()).Draw(t, "currency"),
			Per:      rapid.SampledFrom([]MassUnit{KG, G, LB, OZ, Tonne, ShortTon, TroyOunce}).Draw(t, "per"),
		}
		if r.Validate() != nil {
			t.Skip("too dear")
		}
		if got, err := ParseRate(r.String(), "", ""); err != nil || got != r {
			t.Fatalf("%+v shows as %q and parses to %+v, %v", r, r, got, err)
		}
		a, b := rapid.Int64Range(0, MaxMass/2).Draw(t, "a"), rapid.Int64Range(0, MaxMass/2).Draw(t, "b")
		if whole, parts := r.Cost(a+b), r.Cost(a)+r.Cost(b); max(whole-parts, parts-whole) > 1 {
			t.Fatalf("%s: %d mg cost %d, in parts %d", r, a+b, whole, parts)
		}
		if r.Cost(a) > r.Cost(a+b) {
			t.Fatalf("%s: %d mg cost more than %d mg", r, a, a+b)
		}
	})
}

// Machine words and long arithmetic write the same text, at the middle between two
// steps too.
func TestTextInWords(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := &masses.measures[rapid.IntRange(0, len(masses.measures)-1).Draw(t, "unit")]
		decimals := rapid.IntRange(0, 7).Draw(t, "decimals")
		amount := rapid.OneOf(rapid.Int64(), rapid.Int64Range(-MaxMass, MaxMass), rapid.Custom(func(t *rapid.T) int64 {
			return 5 * rapid.Int64Range(-1e6, 1e6).Draw(t, "fives") * power10(rapid.IntRange(0, 6).Draw(t, "zeros")).Num().Int64()
		})).Draw(t, "amount")
		if got, want := m.text(amount, decimals), fixed(m.in(amount), decimals); got != want {
			t.Fatalf("%d mg in %s: %s, want %s", amount, m.symbol, got, want)
		}
	})
}

// TestUsual: what is read the short way is what the long way reads.
func TestUsual(t *testing.T) {
	short := 0
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[0-9]{0,12}(\.[0-9]{0,7})?[ ]{0,2}(kg|g|lb|oz|ozt|mg|t|ton|KG|T|stone|)?[ .]?`).Draw(t, "text")
		got, ok := masses.usual(text)
		if !ok {
			return
		}
		short++
		if want, err := masses.parseAny(text, ""); err != nil || got != want {
			t.Fatalf("%q is %d mg the short way, %d the long way (%v)", text, got, want, err)
		}
	})
	if short == 0 {
		t.Error("no text was read the short way")
	}
	for text, want := range map[string]int64{"12.48 kg": 12_480_000, "1 lb": 453_592, "0.5lb": 226_796, "1000000000000000 kg": -1, "1. kg": -1, ".5 kg": -1, "1 T": -1} {
		if got, ok := masses.usual(text); ok != (want >= 0) || ok && got != want {
			t.Errorf("%q is %d mg, %v", text, got, ok)
		}
	}
}

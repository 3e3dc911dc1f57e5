package unit

import (
	"errors"
	"strings"
	"testing"
)

// pound is 1 lb in hundredths of a milligram (NIST SP 811, Appendix B): the
// expected values below are whole-number sums of it, rounded by hand.
const pound = 45359237

func TestParseMass(t *testing.T) {
	for _, c := range []struct {
		text string
		def  MassUnit
		want int64
	}{
		{"12.4 lb", KG, 5624545},  // 12.4 × 453592.37 = 5624545.388
		{"12,4 lb", KG, 5624545},  //
		{"12.4", LB, 5624545},     //
		{"12.4", LBOZ, 5624545},   // pounds and ounces: a bare number is pounds
		{"12.4", KG, 12400000},    //
		{"12.4kgs", LB, 12400000}, //
		{" 12.4 KG. ", LB, 12400000},
		{"+12.4 kg", LB, 12400000},
		{"12.4\u00a0kg", LB, 12400000},
		{"12.4\u202fkilos", LB, 12400000},
		{"\u200e12.4\u2009kg\ufeff", LB, 12400000},
		{"12 lb 6 oz", KG, 5613206}, // 12.375 × 453592.37 = 5613205.57875
		{"12lb6oz", KG, 5613206},
		{"12 Lbs, 6 Ounces", KG, 5613206},
		{"12# 6oz", KG, 5613206},
		{"12 lb 6 1/2 oz", KG, (12*16*2 + 13) * pound / 3200}, // 5627380.34…
		{"12 lb .5 oz", KG, 5457283},                          // 12.03125 lb = 5457283.20…
		{"12 #", KG, 5443108},                                 // 5443108.44
		{"1 1/2 lb", KG, 680389},                              // 680388.555
		{"1-1/2 lb", KG, 680389},
		{"1½ lb", KG, 680389},
		{"½lb", KG, 226796},    // 226796.185
		{"3/4 lb", KG, 340194}, // 340194.2775
		{"1/3 kg", KG, 333333},
		{"5,2 kg", LB, 5200000},
		{"0,125 kg", LB, 125000},
		{"1234,567 kg", LB, 1234567000},
		{"1.200 kg", LB, 1200000},
		{".5 kg", LB, 500000},
		{"250 g", LB, 250000},
		{"2 kg 300 g", LB, 2300000},
		{"1 ton 300 lb 4 oz", KG, 1043375849}, // 2300.25 lb = 1043375849.0925
		{"1,5 t", LB, 1500000000},
		{"3 troy oz", LB, 93310}, // 3 × 31103.4768 = 93310.4304
		{"7 mg", LB, 7},
		{"0", KG, 0},
		{"1000 t", KG, MaxMass},
	} {
		got, err := ParseMass(c.text, c.def)
		if err != nil || got != c.want {
			t.Errorf("ParseMass(%q, %s) = %d, %v; want %d", c.text, c.def, got, err, c.want)
		}
	}
}

func TestParseMassRefuses(t *testing.T) {
	for text, reason := range map[string]string{
		"":                       Empty,
		" \u00a0 ":               Empty,
		strings.Repeat("1", 81):  TooLong,
		strings.Repeat("9", 80):  TooLarge,
		"NaN":                    NotANumber,
		"Inf kg":                 NotANumber,
		"kg":                     NotANumber,
		"-":                      NotANumber,
		"#12":                    NotANumber,
		"1e9":                    NotANumber,
		"1E+3 kg":                NotANumber,
		"5.":                     NotANumber,
		"5, kg":                  NotANumber,
		",5 kg":                  NotANumber,
		"12 6":                   NotANumber,
		"12 - 6 lb":              NotANumber,
		"12+6 lb":                NotANumber,
		"1/0 lb":                 NotANumber,
		"1 3/2 lb":               NotANumber,
		"1 2/2 lb":               NotANumber,
		"1/2/3 lb":               NotANumber,
		"1/2.5 lb":               NotANumber,
		"1.5 1/2 lb":             NotANumber,
		"12 lb.5 oz":             NotANumber, // "lb. 5 oz" or "lb 0.5 oz"
		"١٢ kg":                  NotANumber, // Arabic-Indic digits
		"12 lb -6 oz":            UnknownUnit,
		"1,200 lb":               AmbiguousComma,
		"12,400":                 AmbiguousComma,
		"12 lb 1,250 oz":         AmbiguousComma,
		"1.200,5 kg":             GroupedDigits,
		"1,200.5 kg":             GroupedDigits,
		"1,200,000 g":            GroupedDigits,
		"1 200 kg":               GroupedDigits,
		"1\u202f200,5 kg":        GroupedDigits,
		"1'200 kg":               GroupedDigits,
		"1’200 kg":               GroupedDigits,
		"-5 kg":                  Negative,
		"−5 kg":                  Negative, // U+2212
		"-0":                     Negative,
		"1000.001 t":             TooLarge,
		"5 stone":                UnknownUnit,
		"5 fl oz":                UnknownUnit,
		"5 lb+oz":                UnknownUnit,
		"5 long tons":            UnknownUnit,
		"5 gr":                   AmbiguousUnit,
		"5 Mg":                   AmbiguousUnit,
		"5 T":                    AmbiguousUnit,
		"12 lb 6":                MissingUnit,
		"12 lb 18 oz":            BadCompound,
		"12.5 lb 6 oz":           BadCompound,
		"12.0 lb 6 oz":           BadCompound,
		"6 oz 12 lb":             BadCompound,
		"12 kg 6 oz":             BadCompound,
		"12 lb 6 oz 3 oz":        BadCompound,
		"12 lb 15.99 oz 1 oz":    BadCompound,
		"1 lb 16 oz":             BadCompound,
		"1 lb 2 lb":              BadCompound,
		"1 kg 1000 g":            BadCompound,
		"1 ton 2000 lb":          BadCompound,
		"1 t 999 kg 999 g 999mg": BadCompound,
	} {
		mg, err := ParseMass(text, LB)
		refused(t, text, err, "mass", reason)
		if mg != 0 {
			t.Errorf("%q is refused and yet %d mg", text, mg)
		}
	}
	_, err := ParseMass("5", "")
	refused(t, "5", err, "mass", MissingUnit)
	_, err = ParseMass("5", "cwt")
	refused(t, "5", err, "mass", UnknownUnit)
}

// refused checks that the error is the refusal expected and says what to do.
func refused(t *testing.T, text string, err error, quantity, reason string) {
	t.Helper()
	var e *Error
	if !errors.As(err, &e) {
		t.Errorf("%q: %v, want a refusal for %s", text, err, reason)
		return
	}
	if e.Reason != reason || e.Text != text || e.Quantity != quantity || e.Want == "" {
		t.Errorf("%q: %+v, want quantity %s and reason %s", text, *e, quantity, reason)
	}
	if sentences[e.Reason] == "" {
		t.Errorf("%s has no sentence", e.Reason)
	}
}

func TestRefusalsSayHowToWriteIt(t *testing.T) {
	for text, want := range map[string]string{
		"1,200 lb":   `mass "1,200 lb": the comma may group thousands or mark decimals; write 1200 lb or 1.2 lb`,
		"5,000":      `mass "5,000": the comma may group thousands or mark decimals; write 5000 or 5.0`,
		"5 stone":    `mass "5 stone": the unit is not known; write one of kg, g, mg, t, lb, oz, ozt, ton`,
		"1.200,5 kg": `mass "1.200,5 kg": the digits are grouped; write the digits together with one decimal mark, such as 1200.5`,
	} {
		if _, err := ParseMass(text, LB); err == nil || err.Error() != want {
			t.Errorf("ParseMass(%q): %v\nwant %s", text, err, want)
		}
	}
}

func TestParseMassUnit(t *testing.T) {
	for _, u := range MassUnits() {
		if got, err := ParseMassUnit(string(u)); err != nil || got != u {
			t.Errorf("ParseMassUnit(%q) = %q, %v", u, got, err)
		}
	}
	if got, err := ParseMassUnit(" Pounds "); err != nil || got != LB {
		t.Errorf("ParseMassUnit(Pounds) = %q, %v", got, err)
	}
	for text, reason := range map[string]string{"": Empty, "stone": UnknownUnit, "T": AmbiguousUnit} {
		_, err := ParseMassUnit(text)
		refused(t, text, err, "unit of mass", reason)
	}
}

func TestParseTemperature(t *testing.T) {
	for _, c := range []struct {
		text string
		def  TempUnit
		want int64
	}{
		{"1150 C", F, 1150000},
		{"1150", C, 1150000},
		{"1150°", C, 1150000},
		{"2100°F", C, 1148889}, // 2068 × 5/9 = 1148.888…
		{"2100 f", C, 1148889},
		{"2100", F, 1148889},
		{"2100 deg F", C, 1148889},
		{"2100 degrees Fahrenheit", C, 1148889},
		{"2100 ºF", C, 1148889},
		{"1150 ℃", F, 1150000},
		{"−40 °F", C, -40000}, // the scales meet at -40
		{"32 F", C, 0},
		{"31.9991 F", C, -0}, // -0.0005 °C rounds to the even zero
		{"31.9973 F", C, -2}, // -0.0015 °C rounds to the even -0.002
		{"20,5 °C", F, 20500},
		{"4000", C, 4000000},
		{"7232 F", C, 4000000},
	} {
		got, err := ParseTemperature(c.text, c.def)
		if err != nil || got != c.want {
			t.Errorf("ParseTemperature(%q, %s) = %d, %v; want %d", c.text, c.def, got, err, c.want)
		}
	}
	for text, reason := range map[string]string{
		"":         Empty,
		"hot":      NotANumber,
		"1150":     MissingUnit,
		"1150 °":   MissingUnit,
		"1150 K":   UnknownUnit,
		"-273.16C": BelowAbsoluteZero,
		"-460 F":   BelowAbsoluteZero,
		"4000.1 C": TooLarge,
		"1,150 C":  AmbiguousComma,
		"1e3 C":    NotANumber,
	} {
		_, err := ParseTemperature(text, "")
		refused(t, text, err, "temperature", reason)
	}
}

// A difference has no zero point to shift: 1 °F is 5/9 °C (NIST SP 811, Appendix B.8).
func TestParseTemperatureDifference(t *testing.T) {
	for _, c := range []struct {
		text string
		def  TempUnit
		want int64
	}{
		{"12.5", C, 12500}, {"12,5 °C", F, 12500}, {"18 F", C, 10000}, {"18", F, 10000}, {"20 °F", C, 11111}, {"0 F", C, 0}, {"7200 F", C, 4000000},
	} {
		if got, err := ParseTemperatureDifference(c.text, c.def); err != nil || got != c.want {
			t.Errorf("ParseTemperatureDifference(%q, %s) = %d, %v; want %d", c.text, c.def, got, err, c.want)
		}
	}
	for text, reason := range map[string]string{
		"": Empty, "fast": NotANumber, "12": MissingUnit, "12 K": UnknownUnit, "-5 C": Negative, "4000.1 C": TooLarge, "7201 F": TooLarge,
	} {
		_, err := ParseTemperatureDifference(text, "")
		refused(t, text, err, "difference of temperatures", reason)
	}
}

func TestParseVolume(t *testing.T) {
	for text, want := range map[string]int64{
		"1.2 l": 1200000, "1.2 L": 1200000, "1,2 liters": 1200000, "1.2": 1200000,
		"350 ml": 350000, "350 cc": 350000, "350 cm³": 350000,
		"12 in3": 196645, "12in³": 196645, "12 cu. in.": 196645, // 12 × 16387.064 = 196644.768
		"0.5 gal": 1892706, "1/2 gallon": 1892706, // 1892705.892
		"8 fl oz": 236588, // 236588.2365
	} {
		if got, err := ParseVolume(text, Litre); err != nil || got != want {
			t.Errorf("ParseVolume(%q) = %d, %v; want %d", text, got, err, want)
		}
	}
	for text, reason := range map[string]string{
		"2 cups": UnknownUnit, "-1 l": Negative, "1000001 l": TooLarge, "1,200 ml": AmbiguousComma, "1 l 200 ml": UnknownUnit,
	} {
		_, err := ParseVolume(text, Litre)
		refused(t, text, err, "volume", reason)
	}
}

func TestParsePercent(t *testing.T) {
	for text, want := range map[string]int64{
		"2": 20000, "2 %": 20000, "0,5%": 5000, "0.005 %": 50, "100": Whole, "0": 0, "1/2 %": 5000,
		"0.00005": 0, "0.00015": 2, "12.5 percent": 125000, "0,125": 1250,
	} {
		if got, err := ParsePercent(text); err != nil || got != want {
			t.Errorf("ParsePercent(%q) = %d, %v; want %d", text, got, err, want)
		}
	}
	for text, reason := range map[string]string{
		"": Empty, "100.1": TooLarge, "-1 %": Negative, "2 ‰": UnknownUnit, "%": NotANumber, "1,250 %": AmbiguousComma,
	} {
		_, err := ParsePercent(text)
		refused(t, text, err, "percentage", reason)
	}
}

// TestMassStep: what the last digit typed counts, in milligrams rounded up.
func TestMassStep(t *testing.T) {
	for text, want := range map[string]int64{
		"12.4 lb": 45_360, "12.40 lb": 4_536, "12 lb": 453_593, "12 lb 6 oz": 28_350, "12 lb 6.5 oz": 2_835, "12 3/8 lb": 56_700, "12½ lb": 226_797,
		"5,2 kg": 100_000, "5.20 kg": 10_000, "430 g": 1_000, "7": 1_000_000, "1 mg": 1, "0.1 mg": 1, "2 kg 300 g": 1_000,
	} {
		if got, err := MassStep(text, KG); err != nil || got != want {
			t.Errorf("%q: %d, %v; want %d", text, got, err, want)
		}
	}
	if _, err := MassStep("12.4 stone", KG); err == nil {
		t.Error("an unknown unit has no step")
	}
}

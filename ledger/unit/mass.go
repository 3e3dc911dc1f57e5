package unit

import (
	"math/big"
	"strings"
)

// MassUnit names a unit of mass; its text is the symbol that is shown.
type MassUnit string

// The units of mass. LBOZ is for showing and for settings: pounds and ounces
// together, as in "12 lb 6.0 oz".
const (
	KG        MassUnit = "kg"
	G         MassUnit = "g"
	MG        MassUnit = "mg"
	Tonne     MassUnit = "t"     // 1000 kg
	LB        MassUnit = "lb"    // avoirdupois pound
	OZ        MassUnit = "oz"    // avoirdupois ounce, 1/16 lb
	TroyOunce MassUnit = "ozt"   // 480 grains of 1/7000 lb
	ShortTon  MassUnit = "ton"   // 2000 lb
	LBOZ      MassUnit = "lb+oz" // display only
)

// MaxMass is the largest mass read, in milligrams: 1000 t.
const MaxMass int64 = 1e12

// masses holds the sizes in milligrams, all exact. The pound is that of the
// International Yard and Pound Agreement, July 1959 (NIST SP 811, Appendix B.8);
// the others are 1/16 lb, 480/7000 lb and 2000 lb.
var masses = kind{
	name: "mass", most: MaxMass, mostText: "1000 t",
	measures: []measure{
		{symbol: "kg", size: exact("1000000"), decimals: 3, smaller: "g",
			names: []string{"kgs", "kilo", "kilos", "kilogram", "kilograms", "kilogramme", "kilogrammes"}},
		{symbol: "g", size: exact("1000"), decimals: 0,
			names: []string{"gm", "gms", "gram", "grams", "gramme", "grammes"}},
		{symbol: "mg", size: exact("1"), decimals: 0, names: []string{"milligram", "milligrams"}},
		{symbol: "t", size: exact("1000000000"), decimals: 3, smaller: "kg",
			names: []string{"tonne", "tonnes", "metric ton", "metric tons"}},
		{symbol: "lb", size: exact("453592.37"), decimals: 2, smaller: "oz",
			names: []string{"lbs", "pound", "pounds", "#"}},
		{symbol: "oz", size: exact("28349.523125"), decimals: 1, names: []string{"ozs", "ounce", "ounces"}},
		{symbol: "ozt", size: exact("31103.4768"), decimals: 2,
			names: []string{"oz t", "t oz", "troy oz", "troy ounce", "troy ounces"}},
		{symbol: "ton", size: exact("907184740"), decimals: 3, smaller: "lb",
			names: []string{"tons", "short ton", "short tons"}},
	},
	twoSided: map[string]string{
		"gr": "write g for grams (a grain is 0.0648 g)",
		"Gr": "write g for grams (a grain is 0.0648 g)",
		"GR": "write g for grams (a grain is 0.0648 g)",
		"Mg": "write mg for milligrams or t for tonnes",
		"MG": "write mg for milligrams or t for tonnes",
		"T":  "write t for tonnes of 1000 kg or ton for 2000 lb",
	},
}

// MassUnits gives every unit of mass, in the order a form should offer them.
func MassUnits() []MassUnit {
	return []MassUnit{KG, G, LB, OZ, LBOZ, Tonne, ShortTon, TroyOunce, MG}
}

// ParseMass reads a mass as typed, such as "12.4 lb", "12 lb 6 oz", "5,2 kg" or
// "1 1/2 lb", and gives the nearest milligram, half to even. A number without a
// unit takes def; LBOZ stands for pounds there, and "" for no default. Besides
// pounds and ounces, "2 kg 300 g", "1 t 200 kg" and "1 ton 300 lb" are read.
// A refusal is an [*Error]; what is refused is listed with the package.
func ParseMass(text string, def MassUnit) (mg int64, err error) {
	if def == LBOZ {
		def = LB
	}
	return masses.parse(text, string(def))
}

// MassStep is what the last digit of a mass as typed counts, in milligrams rounded up:
// 45 360 of "12.4 lb", 28 350 of "12 lb 6 oz", 1000 of "430 g". It reads what ParseMass does.
func MassStep(text string, def MassUnit) (mg int64, err error) {
	if def == LBOZ {
		def = LB
	}
	_, step, err := masses.parseStep(text, string(def))
	if err != nil {
		return 0, err
	}
	up := new(big.Int).Add(step.Num(), new(big.Int).Sub(step.Denom(), big.NewInt(1)))
	return up.Quo(up, step.Denom()).Int64(), nil
}

// ParseMassUnit reads the name of a unit, in any of the spellings that ParseMass
// knows, and "lb+oz".
func ParseMassUnit(text string) (MassUnit, error) {
	r := reader{"unit of mass", text}
	name := clean(text)
	if name == "" {
		return "", r.refuse(Empty, "write one of "+masses.known()+", lb+oz")
	}
	if strings.EqualFold(name, string(LBOZ)) {
		return LBOZ, nil
	}
	m, err := masses.unit(r, strings.TrimRight(name, "."))
	if err != nil {
		return "", err
	}
	return MassUnit(m.symbol), nil
}

// FormatMass writes a mass in u with its symbol, such as "12.400 kg", "-0.35 lb"
// or "12 lb 6.0 oz". The last digit is no coarser than the division (in mg); with
// division 0 it is 1 g for kg, 0.01 lb, 0.1 oz, 1 g, 1 kg for t, 0.001 ton and
// 0.01 ozt. It is rounded half to even, thousands are not grouped, zeros at the
// end stay so that columns align, and there is no "-0". With division 1 the text
// parses to the same milligrams. A unit that does not exist is shown as kg.
func FormatMass(mg int64, u MassUnit, division int64) string {
	if u == LBOZ {
		return formatPoundsOunces(mg, division)
	}
	m := massMeasure(u)
	return m.text(mg, m.places(division)) + " " + m.symbol
}

// Trade is the unit in which metal is priced by those who weigh in this one.
func (u MassUnit) Trade() MassUnit {
	switch u {
	case LBOZ:
		return LB
	case G, MG: // nobody buys metal by the gram
		return KG
	}
	return u
}

// FormatMassNumber writes what FormatMass does without the symbol, for a column
// that has the unit at its head. LBOZ keeps its symbols.
func FormatMassNumber(mg int64, u MassUnit, division int64) string {
	if u == LBOZ {
		return formatPoundsOunces(mg, division)
	}
	m := massMeasure(u)
	return m.text(mg, m.places(division))
}

// formatPoundsOunces rounds the whole mass in ounces before it takes the pounds
// out, so that 15.97 oz becomes 1 lb 0.0 oz and never 0 lb 16.0 oz.
func formatPoundsOunces(mg, division int64) string {
	oz := masses.symbol("oz")
	places := oz.places(division)
	unit := power10(places)
	n := roundHalfEven(new(big.Rat).Mul(oz.in(mg), unit))
	pound := new(big.Int).Mul(big.NewInt(16), unit.Num())
	pounds, rest := new(big.Int).QuoRem(new(big.Int).Abs(n), pound, new(big.Int))
	s := pounds.String() + " lb " + fixed(new(big.Rat).SetFrac(rest, unit.Num()), places) + " oz"
	if n.Sign() < 0 {
		return "-" + s
	}
	return s
}

// MassInUnit gives a mass in u as the nearest float, for charts and exports only;
// LBOZ gives pounds.
func MassInUnit(mg int64, u MassUnit) float64 {
	if u == LBOZ {
		u = LB
	}
	f, _ := massMeasure(u).in(mg).Float64()
	return f
}

func massMeasure(u MassUnit) *measure {
	if m := masses.symbol(string(u)); m != nil {
		return m
	}
	return masses.symbol("kg")
}

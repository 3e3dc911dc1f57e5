package unit

import (
	"errors"
	"math/big"
	"strings"
)

// FuelMeasure says what an amount of fuel is counted in.
type FuelMeasure string

// The ways fuel is measured, and the integer each is kept in. A litre and a gallon
// are of the liquid, a cubic metre and a cubic foot of the gas: propane is sold as both.
const (
	FuelMass   FuelMeasure = "mass"   // mg
	FuelLiquid FuelMeasure = "liquid" // mm³
	FuelGas    FuelMeasure = "gas"    // cm³
	FuelEnergy FuelMeasure = "energy" // J
)

// fuels holds the sizes, exact but for the Btu: the foot, gallon and inch of NIST
// SP 811, Appendix B; the Btu is the International Table one, 1055.05585262 J.
var fuels = []struct {
	measure FuelMeasure
	kind    *kind
}{
	{FuelMass, &masses},
	{FuelLiquid, &kind{name: "fuel", most: MaxVolume, mostText: "1000000 l", measures: []measure{
		{symbol: "l", size: exact("1000000"), decimals: 2, names: []string{"liter", "liters", "litre", "litres"}},
		{symbol: "gal", size: exact("3785411.784"), decimals: 2, names: []string{"gals", "gallon", "gallons", "us gal", "us gallon", "us gallons"}},
	}}},
	{FuelGas, &kind{name: "fuel", most: MaxVolume, mostText: "1000000 m3", measures: []measure{
		{symbol: "m3", size: exact("1000000"), decimals: 3, names: []string{"cubic meters", "cubic metres", "cubic m", "cbm"}},
		{symbol: "ft3", size: exact("28316.846592"), decimals: 1, names: []string{"cu ft", "cu. ft", "cubic ft", "cubic foot", "cubic feet", "cf"}},
		{symbol: "ccf", size: exact("2831684.6592"), decimals: 2},
	}}},
	{FuelEnergy, &kind{name: "fuel", most: 1e15, mostText: "277000000 kWh", measures: []measure{
		{symbol: "kWh", size: exact("3600000"), decimals: 2, names: []string{"kw h", "kw-h", "kwhr"}},
		{symbol: "MJ", size: exact("1000000"), decimals: 2},
		{symbol: "therm", size: exact("105505585.262"), decimals: 3, names: []string{"therms"}},
		{symbol: "Btu", size: exact("1055.05585262"), decimals: 0},
	}}},
}

const fuelUnits = "write a unit: kg, lb, l, gal, m3, ft3, kWh, MJ or therm"

// ParseFuel reads an amount of fuel as typed, such as "14.2 lb", "31 kWh" or
// "6.4 m3", and says what it is measured in. Refusals are an [*Error].
func ParseFuel(text string) (amount int64, m FuelMeasure, err error) {
	for _, f := range fuels {
		amount, err = f.kind.parse(text, "")
		var e *Error
		if err == nil || !errors.As(err, &e) {
			return amount, f.measure, err
		}
		if e.Reason != UnknownUnit && e.Reason != MissingUnit && e.Reason != BadCompound {
			return 0, "", &Error{"fuel", text, e.Reason, e.Want}
		}
	}
	r := reader{"fuel", text}
	var e *Error
	if errors.As(err, &e) && e.Reason == MissingUnit {
		return 0, "", r.refuse(MissingUnit, fuelUnits)
	}
	return 0, "", r.refuse(UnknownUnit, fuelUnits)
}

// FormatFuel writes an amount in a measure's first unit: kg, l, m3 or kWh.
func FormatFuel(amount int64, m FuelMeasure) string {
	if m == FuelMass {
		return FormatMass(amount, KG, 0)
	}
	for _, f := range fuels {
		if f.measure == m {
			first := &f.kind.measures[0]
			return trimmed(first.in(amount), 0, first.decimals) + " " + first.symbol
		}
	}
	return ""
}

// FuelCost is what an amount of fuel cost, in minor units: the typed price is a
// total, "12.40 USD", or a rate of a unit of the same measure, "0.1423 USD/kWh",
// with up to four decimals more than the currency has. Refusals are an [*Error].
func FuelCost(text, defCurrency string, amountOf int64, m FuelMeasure) (minor int64, currency string, err error) {
	r := reader{"price", text}
	s, negative, err := r.begin()
	if err != nil {
		return 0, "", err
	}
	if !strings.Contains(s, "/") && !strings.Contains(strings.ToLower(s), " per ") {
		return ParseMoney(text, defCurrency)
	}
	left, name := cutPer(s)
	if left == "" {
		return 0, "", r.refuse(NotANumber, "write a number, such as 0.95 USD/lb")
	}
	n, code, err := amount(r, left, negative, defCurrency)
	if err != nil {
		return 0, "", err
	}
	rate, err := minorUnits(r, n, code, rateDigits)
	if err != nil {
		return 0, "", err
	}
	for _, f := range fuels {
		if f.measure != m {
			continue
		}
		u, err := f.kind.unit(r, name)
		if err != nil {
			return 0, "", r.refuse(UnknownUnit, "write the price of a unit that the amount is measured in: "+f.kind.known())
		}
		v := u.in(amountOf)
		cost := roundHalfEven(v.Mul(v, big.NewRat(rate, RateUnit)))
		if !cost.IsInt64() || cost.Int64() > MaxMoney {
			return 0, "", r.refuse(TooLarge, "write at most "+FormatMoney(MaxMoney, code))
		}
		return cost.Int64(), code, nil
	}
	return 0, "", r.refuse(UnknownUnit, fuelUnits)
}

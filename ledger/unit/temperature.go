package unit

import (
	"fmt"
	"math/big"
	"strings"
)

// TempUnit names a scale of temperature.
type TempUnit string

// The scales of temperature.
const (
	C TempUnit = "C" // degrees Celsius
	F TempUnit = "F" // degrees Fahrenheit
)

// MaxTemperature is the hottest temperature read, in thousandths of a degree
// Celsius; AbsoluteZero is the coldest there is (-273.15 °C, NIST SP 811, B.8).
const (
	MaxTemperature int64 = 4_000_000
	AbsoluteZero   int64 = -273_150
)

var (
	fahrenheitZero = big.NewRat(32, 1)   // of the Celsius scale, in °F
	perFahrenheit  = big.NewRat(5, 9)    // °C in 1 °F
	thousand       = big.NewRat(1000, 1) // m°C in 1 °C
)

// ParseTemperature reads a temperature as typed, such as "1150 C", "2100°F" or
// "2100 f", and gives the nearest thousandth of a degree Celsius, half to even,
// by t(°C) = (t(°F) - 32) × 5/9 (NIST SP 811, Appendix B.8). A number without a
// scale, also "1150°", takes def, "" for no default. Refusals are an [*Error].
func ParseTemperature(text string, def TempUnit) (milliC int64, err error) {
	r := reader{"temperature", text}
	s, negative, err := r.begin()
	if err != nil {
		return 0, err
	}
	n, rest, err := r.number(s)
	if err != nil {
		return 0, err
	}
	scale, err := tempUnit(r, rest, def)
	if err != nil {
		return 0, err
	}
	t := n.value
	if negative {
		t.Neg(t)
	}
	if scale == F {
		t.Sub(t, fahrenheitZero).Mul(t, perFahrenheit)
	}
	t.Mul(t, thousand)
	switch {
	case t.Cmp(new(big.Rat).SetInt64(AbsoluteZero)) < 0:
		return 0, r.refuse(BelowAbsoluteZero, "write at least -273.15 C or -459.67 F")
	case t.Cmp(new(big.Rat).SetInt64(MaxTemperature)) > 0:
		return 0, r.refuse(TooLarge, "write at most 4000 C or 7232 F")
	}
	return roundHalfEven(t).Int64(), nil
}

// ParseTemperatureDifference reads how far two temperatures are apart, such as
// "12.5 C" or "20 F", and gives the nearest thousandth of a degree Celsius, half to
// even, by 1 °F = 5/9 °C (NIST SP 811, Appendix B.8). A number without a scale takes
// def, "" for no default. Refusals are an [*Error].
func ParseTemperatureDifference(text string, def TempUnit) (milliC int64, err error) {
	r := reader{"difference of temperatures", text}
	s, negative, err := r.begin()
	if err != nil {
		return 0, err
	}
	n, rest, err := r.number(s)
	if err != nil {
		return 0, err
	}
	scale, err := tempUnit(r, rest, def)
	if err != nil {
		return 0, err
	}
	t := n.value
	if scale == F {
		t.Mul(t, perFahrenheit)
	}
	t.Mul(t, thousand)
	switch {
	case negative:
		return 0, r.refuse(Negative, "write how far they are apart, without a sign")
	case t.Cmp(new(big.Rat).SetInt64(MaxTemperature)) > 0:
		return 0, r.refuse(TooLarge, "write at most 4000 C or 7200 F")
	}
	return roundHalfEven(t).Int64(), nil
}

func tempUnit(r reader, name string, def TempUnit) (TempUnit, error) {
	name = strings.ToLower(strings.TrimRight(name, "."))
	for _, degree := range []string{"degrees", "degree", "degs", "deg.", "deg", "°"} {
		if rest, ok := strings.CutPrefix(name, degree); ok {
			name = strings.TrimSpace(rest)
			break
		}
	}
	const want = "write C or F after the number"
	switch name {
	case "c", "celsius", "centigrade":
		return C, nil
	case "f", "fahrenheit":
		return F, nil
	case "":
		if def == C || def == F {
			return def, nil
		}
		if def != "" {
			return "", r.refuse(UnknownUnit, fmt.Sprintf("the default unit %q should be C or F", string(def)))
		}
		return "", r.refuse(MissingUnit, want)
	}
	return "", r.refuse(UnknownUnit, want)
}

// FormatTemperature writes a temperature on the scale u with its symbol, such as
// "1150 °C" or "2102 °F". The division says how fine to show, in thousandths of a
// degree of u: 1000 (and 0) whole degrees, 100 one decimal, 1 three. It is rounded
// half to even; with division 1 the text parses to the same temperature. A scale
// that does not exist is shown as °C.
func FormatTemperature(milliC int64, u TempUnit, division int64) string {
	t := big.NewRat(milliC, 1000)
	symbol := " °C"
	if u == F {
		t.Quo(t, perFahrenheit).Add(t, fahrenheitZero)
		symbol = " °F"
	}
	places := 0
	for step := int64(1000); division > 0 && step > division && places < 3; step /= 10 {
		places++
	}
	return fixed(t, places) + symbol
}

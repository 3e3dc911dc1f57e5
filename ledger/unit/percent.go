package unit

import (
	"fmt"
	"math/big"
	"strings"
)

// Percent is one percent in parts per million; Whole is all of it.
const (
	Percent int64 = 10_000
	Whole   int64 = 100 * Percent
)

// ParsePercent reads a percentage from 0 to 100 as typed, such as "2", "2 %" or
// "0,5%", and gives the nearest part per million (0.0001 %), half to even.
// Refusals are an [*Error].
func ParsePercent(text string) (ppm int64, err error) { return parsePercent(text, 100) }

// ParseSurcharge reads a percentage that is added on, from 0 to 1000, otherwise like
// [ParsePercent].
func ParseSurcharge(text string) (ppm int64, err error) { return parsePercent(text, 1000) }

func parsePercent(text string, most int64) (ppm int64, err error) {
	r := reader{"percentage", text}
	s, negative, err := r.begin()
	if err != nil {
		return 0, err
	}
	n, rest, err := r.number(s)
	if err != nil {
		return 0, err
	}
	switch strings.ToLower(strings.TrimRight(rest, ".")) {
	case "", "%", "percent", "per cent", "pct":
	default:
		return 0, r.refuse(UnknownUnit, "write a percentage, such as 2.5 %")
	}
	v := n.value.Mul(n.value, new(big.Rat).SetInt64(Percent))
	switch {
	case negative:
		return 0, r.refuse(Negative, fmt.Sprintf("write a percentage from 0 to %d", most))
	case v.Cmp(new(big.Rat).SetInt64(most*Percent)) > 0:
		return 0, r.refuse(TooLarge, fmt.Sprintf("write a percentage from 0 to %d", most))
	}
	return roundHalfEven(v).Int64(), nil
}

// FormatPercent writes parts per million as a percentage with as many decimals as
// it has, at most four: "2 %", "0.5 %", "0.0001 %".
func FormatPercent(ppm int64) string {
	return trimmed(big.NewRat(ppm, Percent), 0, 4) + " %"
}

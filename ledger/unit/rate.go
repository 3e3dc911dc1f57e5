package unit

import (
	"fmt"
	"math/big"
	"strings"
)

// rateDigits is how many decimal digits a price has past the minor unit: metal is
// priced to a hundredth of a cent and finer.
const rateDigits = 4

// RateUnit is one minor unit of a currency in the units of [Rate.Amount].
const RateUnit int64 = 10_000

// maxPerMilligram bounds a price, in minor units: with it no mass within 10^15 mg,
// a thousand times MaxMass, costs more than an int64 holds. In dollars it is 90
// million a kilogram.
const maxPerMilligram = 9000

const tooDear = "write a price of at most 9000 minor units (cents) a milligram"

// Rate is a price per unit of mass, kept exactly as it was typed.
type Rate struct {
	Amount   int64    // minor units of Currency × 10^4 for one Per: 4.85 USD is 4850000
	Currency string   // ISO 4217 code
	Per      MassUnit // never LBOZ
}

// ParseRate reads a price as typed, such as "4.85 USD/lb", "$4.8525 per lb" or
// "10,40 EUR/kg". What is left out, currency or unit, is taken from the defaults
// ("" for none; LBOZ stands for pounds). Four decimals more than the currency has
// are kept exactly and more are refused. Refusals are an [*Error].
func ParseRate(text, defCurrency string, defPer MassUnit) (Rate, error) {
	r := reader{"price", text}
	s, negative, err := r.begin()
	if err != nil {
		return Rate{}, err
	}
	if defPer == LBOZ {
		defPer = LB
	}
	left, name := cutPer(s)
	per, err := masses.resolve(r, name, string(defPer), true)
	if err != nil {
		return Rate{}, err
	}
	if left == "" {
		return Rate{}, r.refuse(NotANumber, "write a number, such as 4.85 USD/lb")
	}
	n, code, err := amount(r, left, negative, defCurrency)
	if err != nil {
		return Rate{}, err
	}
	v, err := minorUnits(r, n, code, rateDigits)
	if err != nil {
		return Rate{}, err
	}
	rate := Rate{Amount: v, Currency: code, Per: MassUnit(per.symbol)}
	if err := rate.Validate(); err != nil {
		return Rate{}, r.refuse(TooLarge, tooDear)
	}
	return rate, nil
}

// cutPer parts a price into its amount and its unit of mass.
func cutPer(s string) (amount, unit string) {
	if left, right, ok := strings.Cut(s, "/"); ok {
		return strings.TrimSpace(left), strings.Trim(right, " .")
	}
	if at := strings.Index(strings.ToLower(s), " per "); at >= 0 {
		return strings.TrimSpace(s[:at]), strings.Trim(s[at+len(" per "):], " .")
	}
	return s, ""
}

// Validate reports what makes a rate unusable: an unknown currency or unit, an
// amount below zero, or one so large that a mass within 10^15 mg could cost more
// than an int64 holds. A rate from ParseRate is always valid.
func (r Rate) Validate() error {
	e := reader{"price", fmt.Sprintf("%d %s/%s", r.Amount, r.Currency, r.Per)}
	m := masses.symbol(string(r.Per))
	switch {
	case !minorDigitsKnown(r.Currency):
		return e.refuse(UnknownCurrency, currencyWant)
	case m == nil:
		return e.refuse(UnknownUnit, "write one of "+masses.known())
	case r.Amount < 0:
		return e.refuse(Negative, "write the price without the minus sign")
	}
	most := new(big.Rat).Mul(m.size, big.NewRat(maxPerMilligram*RateUnit, 1))
	if new(big.Rat).SetInt64(r.Amount).Cmp(most) > 0 {
		return e.refuse(TooLarge, tooDear)
	}
	return nil
}

// Cost gives what mg milligrams cost, in minor units, from the exact product
// rounded once, half to even. A negative mass gives a negative cost. It panics on
// an unknown unit and on a cost that no int64 holds, which a valid rate cannot reach
// within ±10^15 mg; the zero Rate costs nothing.
func (r Rate) Cost(mg int64) (minor int64) {
	cost := roundHalfEven(r.Exact(mg))
	if !cost.IsInt64() {
		panic(fmt.Sprintf("unit: %d mg at %s cost more than an int64 holds", mg, r))
	}
	return cost.Int64()
}

// Exact gives what mg milligrams cost, in minor units and not rounded, for a sum
// that has more factors than a mass. It panics on an unknown unit; the zero Rate
// costs nothing.
func (r Rate) Exact(mg int64) *big.Rat {
	if r == (Rate{}) {
		return new(big.Rat)
	}
	m := masses.symbol(string(r.Per))
	if m == nil {
		panic(fmt.Sprintf("unit: price per %q, which is no unit of mass", r.Per))
	}
	v := m.in(mg)
	return v.Mul(v, big.NewRat(r.Amount, RateUnit))
}

// String writes the price with the decimals of its currency, and more where it has
// them: "4.85 USD/lb", "4.8525 USD/lb".
func (r Rate) String() string {
	digits, known := minorDigits[r.Currency]
	if !known {
		return fmt.Sprintf("%d/%d minor %s/%s", r.Amount, RateUnit, r.Currency, r.Per)
	}
	v := new(big.Rat).SetInt64(r.Amount)
	v.Quo(v, power10(digits+rateDigits))
	return trimmed(v, digits, digits+rateDigits) + " " + r.Currency + "/" + string(r.Per)
}

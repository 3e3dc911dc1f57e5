package unit

import (
	"fmt"
	"math/big"
	"strings"
)

// exchangeDecimals is how finely a rate of exchange may be written, and
// maxExchange how large it may be: both far past any rate that is published.
const (
	exchangeDecimals = 10
	maxExchange      = 1_000_000_000
)

// Exchange is a rate of exchange, kept exactly: one whole unit of Per is worth
// so many of Of. "1.0832 USD/EUR" says that one euro is 1.0832 dollars.
type Exchange struct {
	Of, Per string   // ISO 4217 codes
	value   *big.Rat // above zero
}

// ParseExchange reads a rate of exchange as typed, such as "1.0832 USD/EUR" or
// "1.0832 USD per EUR". Both currencies must be named. Refusals are an [*Error].
func ParseExchange(text string) (Exchange, error) {
	const want = "write a rate of exchange with both currencies, such as 1.0832 USD/EUR for 1.0832 dollars to the euro"
	r := reader{"rate of exchange", text}
	s, negative, err := r.begin()
	if err != nil {
		return Exchange{}, err
	}
	left, per := cutPer(s)
	if left == "" || per == "" {
		return Exchange{}, r.refuse(MissingCurrency, want)
	}
	n, of, err := amount(r, left, negative, "")
	if err != nil {
		return Exchange{}, err
	}
	per, err = currencyNamed(r, per, "")
	if err != nil {
		return Exchange{}, err
	}
	switch {
	case of == per:
		return Exchange{}, r.refuse(AmbiguousCurrency, want)
	case n.decimals > exchangeDecimals:
		return Exchange{}, r.refuse(TooManyDecimals, fmt.Sprintf("write at most %d decimals", exchangeDecimals))
	case n.value.Sign() == 0:
		return Exchange{}, r.refuse(NotANumber, "write a rate above zero")
	case n.value.Cmp(big.NewRat(maxExchange, 1)) > 0:
		return Exchange{}, r.refuse(TooLarge, fmt.Sprintf("write at most %d", maxExchange))
	}
	return Exchange{Of: of, Per: per, value: n.value}, nil
}

// Joins reports whether the rate is between two currencies, in either order.
func (x Exchange) Joins(a, b string) bool {
	return x.value != nil && (x.Of == a && x.Per == b || x.Of == b && x.Per == a)
}

// Convert gives minor units of one currency in minor units of the other, exactly.
// It panics unless the rate joins the two.
func (x Exchange) Convert(minor *big.Rat, from, to string) *big.Rat {
	if !x.Joins(from, to) {
		panic(fmt.Sprintf("unit: %s is no rate from %s to %s", x, from, to))
	}
	v := new(big.Rat)
	if x.Of == to {
		v.Mul(minor, x.value)
	} else {
		v.Quo(minor, x.value)
	}
	v.Mul(v, power10(minorDigits[to]))
	return v.Quo(v, power10(minorDigits[from]))
}

// String writes the rate with no more decimals than it has: "1.0832 USD/EUR".
func (x Exchange) String() string {
	if x.value == nil {
		return ""
	}
	return strings.TrimSuffix(trimmed(x.value, 0, exchangeDecimals), ".") + " " + x.Of + "/" + x.Per
}

// Round gives the nearest whole number of minor units, half to even, and whether
// it is within MaxMoney.
func Round(minor *big.Rat) (int64, bool) {
	n := roundHalfEven(minor)
	if !n.IsInt64() || n.Int64() > MaxMoney || n.Int64() < -MaxMoney {
		return 0, false
	}
	return n.Int64(), true
}

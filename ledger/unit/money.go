package unit

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// MaxMoney is the largest amount read, in minor units of its currency.
const MaxMoney int64 = 1e15

// ParseMoney reads an amount as typed, such as "12.34 USD", "usd 12,34" or
// "$12.34", and gives it in the minor units of its currency (cents for USD, yen
// for JPY), with the ISO 4217 code. Without a currency it takes defCurrency, ""
// for no default; "$", "¥" and "kr" are read only where the default, or a code
// beside them, says whose. More decimals than the currency has are refused, never
// rounded. Refusals are an [*Error].
func ParseMoney(text, defCurrency string) (minor int64, currency string, err error) {
	r := reader{"money", text}
	s, negative, err := r.begin()
	if err != nil {
		return 0, "", err
	}
	n, currency, err := amount(r, s, negative, defCurrency)
	if err != nil {
		return 0, "", err
	}
	v, err := minorUnits(r, n, currency, 0)
	if err != nil {
		return 0, "", err
	}
	return v, currency, nil
}

// amount reads a number with a currency before or after it.
func amount(r reader, s string, negative bool, def string) (number, string, error) {
	at := strings.IndexAny(s, "0123456789.,+-")
	if at < 0 {
		return number{}, "", r.refuse(NotANumber, "write a number, such as 12.34")
	}
	before, s := s[:at], s[at:]
	last, _ := utf8.DecodeLastRuneInString(before)
	if s[0] == '.' && unicode.IsLetter(last) {
		// "Fr.5": the point may end the name or begin the decimals.
		return number{}, "", r.refuse(NotANumber, "write the currency as a code with a space, such as CHF 5")
	}
	if !negative {
		s, negative = sign(s)
	}
	if negative {
		return number{}, "", r.refuse(Negative, "write the amount without the minus sign")
	}
	n, after, err := r.number(s)
	if err != nil {
		return number{}, "", err
	}
	if n.fraction {
		return number{}, "", r.refuse(NotANumber, "write decimals instead of a fraction, such as 12.50")
	}
	code, err := currency(r, strings.TrimSpace(before), after, def)
	return n, code, err
}

// minorUnits gives the number in minor units × 10^finer, if it has no more digits
// than that holds.
func minorUnits(r reader, n number, currency string, finer int) (int64, error) {
	digits := minorDigits[currency] + finer
	if n.decimals > digits {
		return 0, r.refuse(TooManyDecimals, fmt.Sprintf("write %s with at most %d decimals", currency, digits))
	}
	v := n.value.Mul(n.value, power10(digits))
	if v.Cmp(new(big.Rat).Mul(new(big.Rat).SetInt64(MaxMoney), power10(finer))) > 0 {
		return 0, r.refuse(TooLarge, fmt.Sprintf("write at most %s", FormatMoney(MaxMoney, currency)))
	}
	return v.Num().Int64(), nil
}

// FormatMoney writes an amount in minor units with all the decimals of its
// currency and its code: "12.30 USD", "-0.05 EUR", "1200 JPY". A code that is not
// known here has no known decimals, so its amount is shown as "1234 minor XXX".
func FormatMoney(minor int64, currency string) string {
	digits, known := minorDigits[currency]
	if !known {
		return fmt.Sprintf("%d minor %s", minor, currency)
	}
	return point(strings.TrimPrefix(strconv.FormatInt(minor, 10), "-"), digits, minor < 0) + " " + currency
}

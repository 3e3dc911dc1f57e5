package unit

import (
	"sort"
	"strings"
)

// minorDigits holds, for each currency known here, how many decimal digits its
// minor unit has: ISO 4217, table A.1 (current currencies and funds).
var minorDigits = map[string]int{
	"AED": 2, "ARS": 2, "AUD": 2, "BRL": 2, "CAD": 2, "CHF": 2, "CLP": 0, "CNY": 2,
	"COP": 2, "CZK": 2, "DKK": 2, "EGP": 2, "EUR": 2, "GBP": 2, "HKD": 2, "HUF": 2,
	"IDR": 2, "ILS": 2, "INR": 2, "ISK": 0, "JPY": 0, "KRW": 0, "KWD": 3, "MAD": 2,
	"MXN": 2, "MYR": 2, "NOK": 2, "NZD": 2, "PHP": 2, "PLN": 2, "RON": 2, "SAR": 2,
	"SEK": 2, "SGD": 2, "THB": 2, "TND": 3, "TRY": 2, "TWD": 2, "UAH": 2, "USD": 2,
	"VND": 0, "ZAR": 2,
}

// currencySigns holds what people type instead of a code, in lower case, and the
// currencies it may stand for. A sign of several needs one of them as the default.
var currencySigns = map[string][]string{
	"€": {"EUR"}, "£": {"GBP"}, "₹": {"INR"}, "zł": {"PLN"}, "kč": {"CZK"},
	"us$": {"USD"}, "ca$": {"CAD"}, "c$": {"CAD"}, "au$": {"AUD"}, "a$": {"AUD"}, "nz$": {"NZD"},
	"$":  {"USD", "CAD", "AUD", "NZD", "SGD", "HKD", "TWD", "MXN", "ARS", "CLP", "COP"},
	"¥":  {"JPY", "CNY"},
	"kr": {"SEK", "NOK", "DKK", "ISK"},
}

// Currencies gives the ISO 4217 codes known here, sorted.
func Currencies() []string {
	codes := make([]string, 0, len(minorDigits))
	for code := range minorDigits {
		codes = append(codes, code)
	}
	sort.Strings(codes)
	return codes
}

// MinorDigits gives the decimal digits of a currency's minor unit (2 for USD, 0
// for JPY), and whether the ISO 4217 code is known here.
func MinorDigits(currency string) (digits int, known bool) {
	digits, known = minorDigits[currency]
	return digits, known
}

const currencyWant = "write an ISO 4217 code, such as USD, CAD, EUR or GBP"

// currency finds the one currency that the signs or codes before and after a
// number name, or the default.
func currency(r reader, before, after, def string) (string, error) {
	found := ""
	for _, name := range []string{before, after} {
		if name == "" {
			continue
		}
		hint := def
		if after != "" && minorDigitsKnown(after) {
			hint = strings.ToUpper(after) // "$12.34 CAD": the code explains the sign
		}
		code, err := currencyNamed(r, name, hint)
		if err != nil {
			return "", err
		}
		if found != "" && found != code {
			return "", r.refuse(AmbiguousCurrency, "write one currency")
		}
		found = code
	}
	switch {
	case found != "":
		return found, nil
	case def == "":
		return "", r.refuse(MissingCurrency, currencyWant)
	case !minorDigitsKnown(def):
		return "", r.refuse(UnknownCurrency, "the default currency "+def+" should be an ISO 4217 code known here")
	}
	return def, nil
}

func minorDigitsKnown(code string) bool {
	_, known := minorDigits[strings.ToUpper(code)]
	return known
}

func currencyNamed(r reader, name, def string) (string, error) {
	name = strings.TrimRight(name, ".")
	if minorDigitsKnown(name) {
		return strings.ToUpper(name), nil
	}
	codes := currencySigns[strings.ToLower(name)]
	switch len(codes) {
	case 0:
		return "", r.refuse(UnknownCurrency, currencyWant)
	case 1:
		return codes[0], nil
	}
	for _, code := range codes {
		if code == def {
			return code, nil
		}
	}
	return "", r.refuse(AmbiguousCurrency, "write one of "+strings.Join(codes, ", ")+" instead of the sign")
}

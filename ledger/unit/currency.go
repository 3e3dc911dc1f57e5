package unit

import (
	"sort"
	"strings"
)

// minorDigits holds, for each currency, how many decimal digits its minor unit has:
// ISO 4217, table A.1, as of February 2026, without what has no minor unit (metals,
// units of account) and without funds, in which nobody pays.
var minorDigits = map[string]int{
	"AED": 2, "AFN": 2, "ALL": 2, "AMD": 2, "AOA": 2, "ARS": 2, "AUD": 2, "AWG": 2,
	"AZN": 2, "BAM": 2, "BBD": 2, "BDT": 2, "BHD": 3, "BIF": 0, "BMD": 2, "BND": 2,
	"BOB": 2, "BRL": 2, "BSD": 2, "BTN": 2, "BWP": 2, "BYN": 2, "BZD": 2, "CAD": 2,
	"CDF": 2, "CHF": 2, "CLP": 0, "CNY": 2, "COP": 2, "CRC": 2, "CUP": 2, "CVE": 2,
	"CZK": 2, "DJF": 0, "DKK": 2, "DOP": 2, "DZD": 2, "EGP": 2, "ERN": 2, "ETB": 2,
	"EUR": 2, "FJD": 2, "FKP": 2, "GBP": 2, "GEL": 2, "GHS": 2, "GIP": 2, "GMD": 2,
	"GNF": 0, "GTQ": 2, "GYD": 2, "HKD": 2, "HNL": 2, "HTG": 2, "HUF": 2, "IDR": 2,
	"ILS": 2, "INR": 2, "IQD": 3, "IRR": 2, "ISK": 0, "JMD": 2, "JOD": 3, "JPY": 0,
	"KES": 2, "KGS": 2, "KHR": 2, "KMF": 0, "KPW": 2, "KRW": 0, "KWD": 3, "KYD": 2,
	"KZT": 2, "LAK": 2, "LBP": 2, "LKR": 2, "LRD": 2, "LSL": 2, "LYD": 3, "MAD": 2,
	"MDL": 2, "MGA": 2, "MKD": 2, "MMK": 2, "MNT": 2, "MOP": 2, "MRU": 2, "MUR": 2,
	"MVR": 2, "MWK": 2, "MXN": 2, "MYR": 2, "MZN": 2, "NAD": 2, "NGN": 2, "NIO": 2,
	"NOK": 2, "NPR": 2, "NZD": 2, "OMR": 3, "PAB": 2, "PEN": 2, "PGK": 2, "PHP": 2,
	"PKR": 2, "PLN": 2, "PYG": 0, "QAR": 2, "RON": 2, "RSD": 2, "RUB": 2, "RWF": 0,
	"SAR": 2, "SBD": 2, "SCR": 2, "SDG": 2, "SEK": 2, "SGD": 2, "SHP": 2, "SLE": 2,
	"SOS": 2, "SRD": 2, "SSP": 2, "STN": 2, "SVC": 2, "SYP": 2, "SZL": 2, "THB": 2,
	"TJS": 2, "TMT": 2, "TND": 3, "TOP": 2, "TRY": 2, "TTD": 2, "TWD": 2, "TZS": 2,
	"UAH": 2, "UGX": 0, "USD": 2, "UYU": 2, "UZS": 2, "VED": 2, "VES": 2, "VND": 0,
	"VUV": 0, "WST": 2, "XAD": 2, "XAF": 0, "XCD": 2, "XCG": 2, "XOF": 0, "XPF": 0,
	"YER": 2, "ZAR": 2, "ZMW": 2, "ZWG": 2,
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

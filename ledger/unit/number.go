package unit

import (
	"fmt"
	"math/big"
	"regexp"
	"strings"
	"unicode"
)

// maxText is the longest text read, in bytes: enough for any quantity, and a
// bound on the size of the numbers that arise.
const maxText = 80

// reader carries what every refusal has to name.
type reader struct{ quantity, text string }

func (r reader) refuse(reason, want string) error {
	return &Error{Quantity: r.quantity, Text: r.text, Reason: reason, Want: want}
}

// number is an unsigned exact number and how it was written.
type number struct {
	value    *big.Rat
	decimals int      // digits after the decimal mark
	fraction bool     // written with a slash
	step     *big.Rat // what its last digit counts: 1/10 in 12.4, 1/8 in 3/8
}

// plain maps characters that people and their keyboards use for the same thing to
// one of them. A vulgar fraction gets a space before it: "12½" is "12 1/2".
var plain = strings.NewReplacer(
	"−", "-", "‒", "-", "–", "-", "⁄", "/", "∕", "/", "’", "'", "‘", "'",
	"½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅓", " 1/3", "⅔", " 2/3",
	"⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8",
	"℃", "°C", "℉", "°F", "º", "°", "³", "3",
)

// clean gives one plain space for every run of spaces, whichever Unicode has, and
// of invisible marks that come with pasted text.
func clean(text string) string {
	text = strings.Map(func(c rune) rune {
		if unicode.IsSpace(c) || unicode.Is(unicode.Cf, c) {
			return ' '
		}
		return c
	}, text)
	return strings.Join(strings.Fields(plain.Replace(text)), " ")
}

// begin cleans the text and takes a sign off its head.
func (r reader) begin() (s string, negative bool, err error) {
	if len(r.text) > maxText {
		return "", false, r.refuse(TooLong, fmt.Sprintf("write at most %d characters", maxText))
	}
	s = clean(r.text)
	if s == "" {
		return "", false, r.refuse(Empty, "write a number")
	}
	s, negative = sign(s)
	return s, negative, nil
}

func sign(s string) (rest string, negative bool) {
	switch s[0] {
	case '-':
		return strings.TrimSpace(s[1:]), true
	case '+':
		return strings.TrimSpace(s[1:]), false
	}
	return s, false
}

var (
	fractionForm = regexp.MustCompile(`^(?:(\d+)[ -])?(\d+)/(\d+)`)
	decimalForm  = regexp.MustCompile(`^(\d*)(?:([.,])(\d*))?`)

	groupedTail  = regexp.MustCompile(`^(?:[.,']\d| \d{3}(?:\D|$))`)
	exponentTail = regexp.MustCompile(`^[eE][+-]?\d`)
	foreignTail  = regexp.MustCompile(`^(?: ?\d| ?[+-]|/\d)`)
)

// number reads the unsigned number at the head of s and gives the rest, without
// the spaces between. It refuses what could be read in two ways.
func (r reader) number(s string) (n number, rest string, err error) {
	if m := fractionForm.FindStringSubmatch(s); m != nil {
		n, err = r.fraction(m[1], m[2], m[3])
		rest = s[len(m[0]):]
		if err == nil && rest != "" && strings.ContainsRune(".,'", rune(rest[0])) {
			err = r.refuse(NotANumber, "write a fraction of whole numbers, such as 1 1/2")
		}
	} else {
		m := decimalForm.FindStringSubmatch(s)
		rest = s[len(m[0]):]
		n, err = r.decimal(m[1], m[2], m[3], rest)
	}
	if err != nil {
		return number{}, "", err
	}
	switch {
	case groupedTail.MatchString(rest):
		return number{}, "", r.refuse(GroupedDigits, "write the digits together with one decimal mark, such as 1200.5")
	case exponentTail.MatchString(rest):
		return number{}, "", r.refuse(NotANumber, "write all the digits instead of an exponent")
	case foreignTail.MatchString(rest):
		return number{}, "", r.refuse(NotANumber, "write one number, such as 12.4 or 12 1/2")
	}
	return n, strings.TrimSpace(rest), nil
}

func (r reader) decimal(whole, mark, part, rest string) (number, error) {
	switch {
	case whole == "" && part == "":
		return number{}, r.refuse(NotANumber, "begin with digits 0 to 9, such as 12.4")
	case mark != "" && part == "":
		return number{}, r.refuse(NotANumber, "write digits after the decimal mark or leave it out")
	case mark == "," && whole == "":
		return number{}, r.refuse(NotANumber, "write a digit before the comma, such as 0,5")
	case mark == "," && len(part) == 3 && len(whole) <= 3 && whole[0] != '0' && !groupedTail.MatchString(rest):
		return number{}, r.refuse(AmbiguousComma, bothReadings(whole, part, rest))
	}
	value, ok := new(big.Rat).SetString(whole + part)
	if !ok {
		return number{}, r.refuse(NotANumber, "write digits 0 to 9")
	}
	value.Quo(value, power10(len(part)))
	return number{value: value, decimals: len(part), step: new(big.Rat).Inv(power10(len(part)))}, nil
}

// bothReadings says how to write either meaning of "1,200 lb".
func bothReadings(whole, part, unit string) string {
	if strings.ContainsAny(unit, "0123456789") {
		unit = "" // there is more than a unit; show the number alone
	}
	decimals := strings.TrimRight(part, "0")
	if decimals == "" {
		decimals = "0"
	}
	return fmt.Sprintf("write %s%s%s or %s.%s%s", whole, part, unit, whole, decimals, unit)
}

func (r reader) fraction(whole, over, under string) (number, error) {
	value, ok := new(big.Rat).SetString(over + "/" + under)
	if !ok {
		return number{}, r.refuse(NotANumber, "write a fraction with a divisor above zero")
	}
	if whole != "" {
		if value.Cmp(big.NewRat(1, 1)) >= 0 {
			return number{}, r.refuse(NotANumber, "write a fraction below one after a whole number, such as 1 1/2")
		}
		head, _ := new(big.Rat).SetString(whole)
		value.Add(value, head)
	}
	parts, _ := new(big.Rat).SetString(under)
	return number{value: value, fraction: true, step: parts.Inv(parts)}, nil
}

// power10 gives 10^n for n from 0.
func power10(n int) *big.Rat {
	return new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n)), nil))
}

// roundHalfEven gives the nearest integer, and of two equally near the even one.
func roundHalfEven(v *big.Rat) *big.Int {
	twice := new(big.Int).Lsh(new(big.Int).Abs(v.Num()), 1)
	q, rest := new(big.Int).QuoRem(twice, v.Denom(), new(big.Int))
	// q counts halves: an odd q lies at or past the middle between two integers.
	middle := q.Bit(0) == 1
	q.Rsh(q, 1)
	if middle && (rest.Sign() != 0 || q.Bit(0) == 1) {
		q.Add(q, big.NewInt(1))
	}
	if v.Sign() < 0 {
		q.Neg(q)
	}
	return q
}

// fixed writes v with exactly so many decimals, rounded half to even, with a
// minus for what is still below zero after rounding.
func fixed(v *big.Rat, decimals int) string {
	n := roundHalfEven(new(big.Rat).Mul(v, power10(decimals)))
	return point(new(big.Int).Abs(n).String(), decimals, n.Sign() < 0)
}

// point sets the decimal point in the digits of a number.
func point(digits string, decimals int, negative bool) string {
	if short := decimals + 1 - len(digits); short > 0 {
		digits = strings.Repeat("0", short) + digits
	}
	if decimals > 0 {
		at := len(digits) - decimals
		digits = digits[:at] + "." + digits[at:]
	}
	if negative {
		return "-" + digits
	}
	return digits
}

// trimmed writes v as fixed does, without the zeros at its end past least decimals.
func trimmed(v *big.Rat, least, most int) string {
	s := fixed(v, most)
	for ; most > least && s[len(s)-1] == '0'; most-- {
		s = s[:len(s)-1]
	}
	return strings.TrimSuffix(s, ".")
}

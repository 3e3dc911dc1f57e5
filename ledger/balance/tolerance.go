package balance

import (
	"fmt"
	"math/big"
	"math/bits"
)

// Class is the accuracy class on a scale's plate. The zero value means none is known.
type Class int

// Accuracy classes of OIML R 76-1; III L is of NIST Handbook 44 only.
const (
	NoClass Class = iota
	ClassI
	ClassII
	ClassIII
	ClassIIII
	ClassIIIL
)

var classNames = []string{"", "I", "II", "III", "IIII", "III L"}

// String returns the class as it stands on the plate, empty for none.
func (c Class) String() string {
	if c < 0 || int(c) >= len(classNames) {
		return fmt.Sprintf("Class(%d)", int(c))
	}
	return classNames[c]
}

// ParseClass reads a class as it stands on the plate ("III", "III L", "IIIL"; ""
// is NoClass).
func ParseClass(s string) (Class, error) {
	if s == "IIIL" {
		return ClassIIIL, nil
	}
	for i, n := range classNames {
		if s == n {
			return Class(i), nil
		}
	}
	return NoClass, &InputError{Field: "class", Value: s, Want: "I, II, III, IIII or III L"}
}

// Rule is the regulation, and the occasion, that a limit is read for.
type Rule int

// Rules. The second of each pair allows twice the first.
const (
	OIMLInService   Rule = iota // OIML R 76-1 3.5.2: twice the limits of initial verification
	OIMLInitial                 // OIML R 76-1 3.5.1, table 6
	HB44Maintenance             // NIST Handbook 44 section 2.20 T.N.3, table 6
	HB44Acceptance              // NIST Handbook 44 section 2.20: half of maintenance
)

// Step is the size of a division in milligrams as an exact fraction, because a
// division in pounds or ounces is no whole number of milligrams: 0.1 lb is
// Step{45359237, 1000}. The zero value means not given.
type Step struct{ Num, Den int64 }

// Milligrams returns a step of n whole milligrams.
func Milligrams(n int64) Step { return Step{n, 1} }

// Float returns the step in milligrams, 0 when not given.
func (s Step) Float() float64 {
	if s.Den == 0 {
		return 0
	}
	return float64(s.Num) / float64(s.Den)
}

// given reports whether a step was set and makes sense.
func (s Step) given() bool { return s.Num > 0 && s.Den > 0 }

// band is a row of a table: loads up to and including n intervals are allowed
// halves half intervals; n < 0 has no upper end.
type band struct{ n, halves int64 }

// OIML R 76-1 table 6, initial verification.
var oimlBands = map[Class][]band{
	ClassI:    {{50_000, 1}, {200_000, 2}, {-1, 3}},
	ClassII:   {{5_000, 1}, {20_000, 2}, {100_000, 3}},
	ClassIII:  {{500, 1}, {2_000, 2}, {10_000, 3}},
	ClassIIII: {{50, 1}, {200, 2}, {1_000, 3}},
}

// NIST Handbook 44 section 2.20 table 6, acceptance (half of maintenance). Class III
// was read in part in print, the other classes are from memory. Class III L has one
// more for every 500 intervals or fraction.
var hb44Bands = map[Class][]band{
	ClassI:    {{50_000, 1}, {200_000, 2}, {-1, 3}},
	ClassII:   {{5_000, 1}, {20_000, 2}, {-1, 3}},
	ClassIII:  {{500, 1}, {2_000, 2}, {4_000, 3}, {-1, 5}},
	ClassIIII: {{50, 1}, {200, 2}, {400, 3}, {-1, 5}},
}

// Limit returns the largest error the rule allows at a load in whole milligrams, in
// half intervals e: 3 means 1.5 e. Edges belong to the lower band. The comparison is
// in whole numbers; a load that lies within half a milligram of an edge is at the
// edge, because a load in pounds was itself rounded to a milligram. Refused: a load
// below zero or beyond the table, an unknown class, III L under OIML, no interval.
func (r Rule) Limit(class Class, e Step, load int64) (halves int64, err error) {
	if !e.given() {
		return 0, &InputError{Field: "interval", Value: e, Want: "a positive step in milligrams"}
	}
	if load < 0 {
		return 0, &InputError{Field: "load", Value: load, Want: "not negative"}
	}
	table, factor := oimlBands, int64(1)
	switch r {
	case OIMLInitial:
	case OIMLInService:
		factor = 2
	case HB44Acceptance:
		table = hb44Bands
	case HB44Maintenance:
		table, factor = hb44Bands, 2
	default:
		return 0, &InputError{Field: "rule", Value: int(r), Want: "one of the rules of this package"}
	}
	if class == ClassIIIL && (r == HB44Acceptance || r == HB44Maintenance) {
		return factor * started(load, 500, e), nil
	}
	bands, ok := table[class]
	if !ok {
		return 0, &InputError{Field: "class", Value: class.String(), Want: "a class of the rule"}
	}
	for _, b := range bands {
		if b.n < 0 || within(load, b.n, e) {
			return factor * b.halves, nil
		}
	}
	return 0, &InputError{Field: "load", Value: load,
		Want: fmt.Sprintf("at most %d intervals, the largest of class %s", bands[len(bands)-1].n, class)}
}

// MPE returns the limit in milligrams; see Limit for what is refused.
func (r Rule) MPE(class Class, e Step, load int64) (float64, error) {
	h, err := r.Limit(class, e, load)
	return float64(h) * e.Float() / 2, err
}

// within reports load ≤ n·e + ½ mg, exactly: 2·load·den ≤ 2·n·num + den.
func within(load, n int64, e Step) bool {
	lh, ll := bits.Mul64(uint64(2*load), uint64(e.Den))
	rh, rl := bits.Mul64(uint64(2*n), uint64(e.Num))
	rl, carry := bits.Add64(rl, uint64(e.Den), 0)
	rh += carry
	return lh < rh || lh == rh && ll <= rl
}

// started returns how many blocks of n·e a load has begun, at least 1, with the
// same half milligram at the edges: ceil((2·load·den - den) / (2·n·num)).
func started(load, n int64, e Step) int64 {
	if load == 0 {
		return 1
	}
	den := big.NewInt(e.Den)
	top := new(big.Int).Mul(big.NewInt(2*load), den)
	top.Sub(top, den)
	block := new(big.Int).Mul(big.NewInt(2*n), big.NewInt(e.Num))
	top.Add(top, block).Sub(top, big.NewInt(1)) // ceiling
	return top.Quo(top, block).Int64()
}

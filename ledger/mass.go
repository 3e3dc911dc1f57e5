package ledger

import (
	"math"
	"math/bits"
	"sort"
)

// Mass is an amount of metal in milligrams. In postings it is signed: positive
// into an account, negative out of it.
type Mass int64

// MaxMass is the largest mass one weighing or posting may have: 1000 tonnes,
// far above any art foundry and far below where sums of int64 overflow.
const MaxMass Mass = 1_000_000_000_000

// Masses in grams and kilograms, for code and tests that read better in them.
const (
	Gram     Mass = 1_000
	Kilogram Mass = 1_000_000
)

// Add returns m+n, or an error when the sum does not fit.
func (m Mass) Add(n Mass) (Mass, error) {
	s := m + n
	if (n > 0 && s < m) || (n < 0 && s > m) {
		return 0, &Error{Class: ErrInvalid, Reason: "MASS_OVERFLOW", Field: "mass",
			Want: "masses whose sum fits in 64 bits of milligrams"}
	}
	return s, nil
}

// Kg returns the mass in kilograms, for the sciences and for display only.
func (m Mass) Kg() float64 { return float64(m) / 1e6 }

// PPM is a share in parts per million: 20 000 is 2 %.
type PPM int64

// Whole is the share of everything.
const Whole PPM = 1_000_000

// Of returns the share p of m, rounded half away from zero to a milligram.
func (p PPM) Of(m Mass) Mass { return Mass(mulDiv(int64(m), int64(p), int64(Whole))) }

// ShareOf returns m as a share of whole, which must not be 0.
func ShareOf(m, whole Mass) PPM { return PPM(mulDiv(int64(m), int64(Whole), int64(whole))) }

// mulDiv returns a*b/c rounded half away from zero, through 128 bits. It panics
// when c is zero; the result must fit in int64, which shares of a Mass do.
func mulDiv(a, b, c int64) int64 {
	neg := (a < 0) != (b < 0) != (c < 0)
	hi, lo := bits.Mul64(absU(a), absU(b))
	lo, carry := bits.Add64(lo, absU(c)/2, 0)
	q, _ := bits.Div64(hi+carry, lo, absU(c))
	if neg {
		return -int64(q)
	}
	return int64(q)
}

func absU(x int64) uint64 {
	if x < 0 {
		return uint64(-(x + 1)) + 1
	}
	return uint64(x)
}

// Apportion divides total over weights by the method of largest remainders:
// the parts sum to total exactly, and a part differs from its exact share by
// less than one unit. Weights must not be negative; when all are zero the whole
// goes to the first. Equal remainders go to the earlier part.
func Apportion(total int64, weights []int64) []int64 {
	parts := make([]int64, len(weights))
	if len(weights) == 0 {
		return parts
	}
	var sumHi, sum uint64
	for _, w := range weights {
		var c uint64
		sum, c = bits.Add64(sum, uint64(max(w, 0)), 0)
		sumHi += c
	}
	if sumHi != 0 || sum > math.MaxInt64 { // scale down: shares keep 2^-40 accuracy
		scaled := make([]int64, len(weights))
		for i, w := range weights {
			scaled[i] = w >> 20
		}
		return Apportion(total, scaled)
	}
	if sum == 0 {
		parts[0] = total
		return parts
	}
	neg := total < 0
	abs := absU(total)
	rest := abs
	order := make([]int, len(weights))
	rem := make([]uint64, len(weights))
	for i, w := range weights {
		hi, lo := bits.Mul64(abs, uint64(max(w, 0)))
		q, r := bits.Div64(hi, lo, sum)
		parts[i], rem[i], order[i] = int64(q), r, i
		rest -= q
	}
	sort.SliceStable(order, func(a, b int) bool { return rem[order[a]] > rem[order[b]] })
	for i := 0; rest > 0; i++ {
		parts[order[i]]++
		rest--
	}
	if neg {
		for i := range parts {
			parts[i] = -parts[i]
		}
	}
	return parts
}

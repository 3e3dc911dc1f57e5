package quote

import (
	"fmt"
	"math"
)

// Most is the greatest figure that is reckoned with, in any unit.
const Most = 1_000_000_000_000

// Spread is what a figure may be: the lowest, the likeliest and the highest.
type Spread struct{ Low, Likely, High int64 }

// Sure is a figure that is known.
func Sure(v int64) Spread { return Spread{v, v, v} }

// check refuses a spread out of order or out of range.
func (s Spread) check(field string) error {
	return need(0 <= s.Low && s.Low <= s.Likely && s.Likely <= s.High && s.High <= Most, field,
		fmt.Sprintf("%d..%d..%d", s.Low, s.Likely, s.High), "0 ≤ lowest ≤ likeliest ≤ highest ≤ 1e12")
}

// Mean is (a + b + c) ÷ 3.
func (s Spread) Mean() float64 {
	return (float64(s.Low) + float64(s.Likely) + float64(s.High)) / 3
}

// Variance is (a² + b² + c² − ab − ac − bc) ÷ 18.
func (s Spread) Variance() float64 {
	a, b, c := float64(s.Low), float64(s.Likely), float64(s.High)
	return (a*a + b*b + c*c - a*b - a*c - b*c) / 18
}

// Quantile is the figure that a part u of the outcomes is below. It never falls when u
// or one of the three figures grows.
func (s Spread) Quantile(u float64) float64 {
	a, m, b := float64(s.Low), float64(s.Likely), float64(s.High)
	if a == b {
		return a
	}
	if u*(b-a) < m-a {
		return a + math.Sqrt(u*(b-a)*(m-a))
	}
	return b - math.Sqrt((1-u)*(b-a)*(b-m))
}

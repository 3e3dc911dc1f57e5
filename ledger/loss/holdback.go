package loss

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Coverage tells how well forecast intervals held heats that the forecasts had not seen.
type Coverage struct {
	Level         float64 // what the intervals promised
	Heats         int     // forecast
	Inside        int
	Below, Above  int     // outside, on which side
	Rate          float64 // Inside / Heats
	Lower, Upper  float64 // 95 % interval of the true coverage (Clopper & Pearson 1934, Biometrika 26(4))
	Width         float64 // mean width of the intervals, a fraction of the charge
	Error         float64 // mean absolute error of the forecasts
	BeliefError   float64 // the same of the starting beliefs alone: what learning gained
	PIT           [10]int // heats by tenth of their forecast's distribution: flat when the forecasts are right
	RefittedTimes int
}

// HoldBack checks a configuration on the shop's own past: in time order, heats after the first (a number of them that
// is at least 1) are forecast from the heats before them, the model being learned anew every refit heats (0: a tenth of
// those held back), and the intervals of this level are compared with what was weighed.
func HoldBack(heats []Heat, cfg Config, first, refit int, level float64) (Coverage, error) {
	if !(level > 0 && level < 1) {
		return Coverage{}, &FieldError{Field: "level", Value: format(level), Want: "between 0 and 1"}
	}
	all, err := Learn(heats, cfg)
	if err != nil {
		return Coverage{}, err
	}
	if first < 1 || first >= all.Heats || refit < 0 {
		return Coverage{}, &FieldError{Field: "first", Value: fmt.Sprint(first), Want: fmt.Sprintf("1 to %d, so that heats are left to forecast", all.Heats-1)}
	}
	if refit == 0 {
		refit = max(1, (all.Heats-first+9)/10)
	}
	believed, err := Learn(nil, cfg)
	if err != nil {
		return Coverage{}, err
	}
	c := Coverage{Level: level}
	var m *Model
	for i := first; i < all.Heats; i++ {
		if m == nil || (i-first)%refit == 0 {
			if m, err = Learn(all.heats[:i], cfg); err != nil {
				return Coverage{}, err
			}
			c.RefittedTimes++
		}
		h := &all.heats[i]
		rate, _ := h.Rate(all.Causes)
		f, err := m.ForecastWeighed(h.charge(), rate.SD)
		if err != nil {
			return Coverage{}, err
		}
		b, err := believed.ForecastWeighed(h.charge(), rate.SD)
		if err != nil {
			return Coverage{}, err
		}
		c.add(f, b, rate.Mean)
	}
	c.Rate = float64(c.Inside) / float64(c.Heats)
	n, k := float64(c.Heats), float64(c.Inside)
	c.Upper = 1
	if k > 0 {
		c.Lower = distuv.Beta{Alpha: k, Beta: n - k + 1}.Quantile(0.025)
	}
	if k < n {
		c.Upper = distuv.Beta{Alpha: k + 1, Beta: n - k}.Quantile(0.975)
	}
	c.Width /= n
	c.Error /= n
	c.BeliefError /= n
	return c, nil
}

func (c *Coverage) add(f, belief Forecast, weighed float64) {
	lower, upper := f.Interval(c.Level)
	c.Heats++
	switch {
	case weighed < lower:
		c.Below++
	case weighed > upper:
		c.Above++
	default:
		c.Inside++
	}
	c.Width += upper - lower
	c.Error += math.Abs(weighed - f.Mean)
	c.BeliefError += math.Abs(weighed - belief.Mean)
	c.PIT[min(9, int(10*f.Chance(weighed)))]++
}

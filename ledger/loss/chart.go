package loss

import (
	"fmt"
	"math"
)

// Direction is the side on which a chart signals.
type Direction int

// Directions.
const (
	Down Direction = -1
	None Direction = 0
	Up   Direction = 1
)

func (d Direction) String() string { return name([]string{"down", "none", "up"}, int(d)+1) }

// Signal is a point at which a chart leaves its limits.
type Signal struct {
	At        int // place in the series, from 0
	Direction Direction
	// Start is the first point that the signal speaks of: for a CUSUM the one after the sum last was nought, which
	// estimates when the change happened; otherwise the point itself.
	Start int
}

// d2 is the mean range of two independent standard normal values, and d4 the factor from a mean moving range to its
// upper limit, 1 + 3 d3/d2 (ASTM Manual on Presentation of Data, chapter 3; exact for two).
var (
	d2 = 2 / math.Sqrt(math.Pi)
	d4 = 1 + 3*math.Sqrt(2-4/math.Pi)/d2
)

// Individuals is a chart of single values with limits from their moving range.
type Individuals struct {
	Mean, MeanRange float64
	Sigma           float64 // MeanRange / d2
	Lower, Upper    float64 // Mean ∓ 3 Sigma
	RangeUpper      float64
	Signals         []Signal // values outside
	Ranges          []int    // places whose range from the value before is above its limit
}

// NewIndividuals charts at least two values. Factors d2 and D4 of 0 are the exact ones (1.128379…, 3.2665…); a
// tabled pair reproduces a printed chart.
func NewIndividuals(x []float64, tabledD2, tabledD4 float64) (*Individuals, error) {
	if len(x) < 2 {
		return nil, &FieldError{Field: "values", Value: fmt.Sprint(len(x)), Want: "at least 2"}
	}
	if err := checkSeries(x); err != nil {
		return nil, err
	}
	if tabledD2 == 0 {
		tabledD2 = d2
	}
	if tabledD4 == 0 {
		tabledD4 = d4
	}
	c := &Individuals{Mean: Describe(x).Mean}
	for i := 1; i < len(x); i++ {
		c.MeanRange += math.Abs(x[i]-x[i-1]) / float64(len(x)-1)
	}
	c.Sigma = c.MeanRange / tabledD2
	c.Lower, c.Upper = c.Mean-3*c.Sigma, c.Mean+3*c.Sigma
	c.RangeUpper = tabledD4 * c.MeanRange
	for i, v := range x {
		if d := outside(v, c.Lower, c.Upper); d != None {
			c.Signals = append(c.Signals, Signal{At: i, Direction: d, Start: i})
		}
		if i > 0 && math.Abs(v-x[i-1]) > c.RangeUpper { //nolint:gosec // i-1 is at least 0 here
			c.Ranges = append(c.Ranges, i)
		}
	}
	return c, nil
}

// EWMA is a chart of the exponentially weighted moving average (Roberts 1959, Technometrics 1(3)).
type EWMA struct {
	Lambda, Target, Sigma, Width float64
	Values                       []float64 // of the average, Values[0] the target, before the first value
	Lower, Upper                 []float64 // limits at each value; Lower[i] goes with Values[i+1]
	Signals                      []Signal
}

// NewEWMA charts values against a target with known standard deviation sigma: average = λ x + (1−λ) average, limits
// target ± width·sigma·√(λ/(2−λ)·(1−(1−λ)^2t)); with asymptotic set, the limits of t → ∞ throughout.
func NewEWMA(x []float64, lambda, target, sigma, width float64, asymptotic bool) (*EWMA, error) {
	if err := checkSeries(append([]float64{target}, x...)); err != nil {
		return nil, err
	}
	if !(lambda > 0 && lambda <= 1) || !(sigma > 0) || !(width > 0) {
		return nil, &FieldError{Field: "lambda, sigma, width", Value: fmt.Sprint(lambda, ", ", sigma, ", ", width), Want: "lambda above 0 and at most 1, the others above 0"}
	}
	c := &EWMA{Lambda: lambda, Target: target, Sigma: sigma, Width: width, Values: []float64{target}}
	average, fade := target, 1.0
	for i, v := range x {
		average = lambda*v + (1-lambda)*average
		fade *= (1 - lambda) * (1 - lambda)
		reach := width * sigma * math.Sqrt(lambda/(2-lambda)*(1-fade))
		if asymptotic {
			reach = width * sigma * math.Sqrt(lambda/(2-lambda))
		}
		c.Values = append(c.Values, average)
		c.Lower, c.Upper = append(c.Lower, target-reach), append(c.Upper, target+reach)
		if d := outside(average, target-reach, target+reach); d != None {
			c.Signals = append(c.Signals, Signal{At: i, Direction: d, Start: i})
		}
	}
	return c, nil
}

// CUSUM is a tabular cumulative-sum chart (Page 1954, Biometrika 41).
type CUSUM struct {
	Target, K, H float64
	High, Low    []float64 // the two sums at each value, both counted upwards from 0
	Signals      []Signal  // every value at which a sum is above H
}

// NewCUSUM charts values against a target with reference value k and decision interval h, in the unit of the values:
// High = max(0, High + x − target − k), Low = max(0, Low + target − k − x). The sums go on after a signal.
func NewCUSUM(x []float64, target, k, h float64) (*CUSUM, error) {
	if err := checkSeries(append([]float64{target}, x...)); err != nil {
		return nil, err
	}
	if !(k >= 0) || !(h > 0) {
		return nil, &FieldError{Field: "k, h", Value: fmt.Sprint(k, ", ", h), Want: "k not negative, h above 0"}
	}
	c := &CUSUM{Target: target, K: k, H: h}
	high, low := 0.0, 0.0
	highStart, lowStart := 0, 0
	for i, v := range x {
		if high = math.Max(0, high+(v-target)-k); high == 0 {
			highStart = i + 1
		}
		if low = math.Max(0, low+(target-v)-k); low == 0 {
			lowStart = i + 1
		}
		c.High, c.Low = append(c.High, high), append(c.Low, low)
		if high > h {
			c.Signals = append(c.Signals, Signal{At: i, Direction: Up, Start: highStart})
		}
		if low > h {
			c.Signals = append(c.Signals, Signal{At: i, Direction: Down, Start: lowStart})
		}
	}
	return c, nil
}

func outside(v, lower, upper float64) Direction {
	switch {
	case v < lower:
		return Down
	case v > upper:
		return Up
	}
	return None
}

func checkSeries(x []float64) error {
	for i, v := range x {
		if !finite(v) {
			return &FieldError{Field: fmt.Sprintf("value %d", i), Value: fmt.Sprint(v), Want: "finite"}
		}
	}
	return nil
}

package loss

import "math"

// Description is a sample in three numbers.
type Description struct {
	N    int
	Mean float64
	SD   float64 // sample standard deviation (n − 1); NaN for fewer than two values
	Lag1 float64 // autocorrelation at lag 1; NaN where the values do not vary
}

// Describe computes them by two passes with compensated sums: the mean is corrected by the mean of its own residuals, so
// that a large common part costs no digits. An empty sample has a NaN mean.
func Describe(x []float64) Description {
	n := float64(len(x))
	d := Description{N: len(x)}
	mean := neumaier(len(x), func(i int) float64 { return x[i] }) / n
	mean += neumaier(len(x), func(i int) float64 { return x[i] - mean }) / n
	d.Mean = mean
	// The residuals' own mean, from rounding the mean to a double, is taken off too.
	rest := neumaier(len(x), func(i int) float64 { return x[i] - mean }) / n
	at := func(i int) float64 { return x[i] - mean - rest }
	ss := neumaier(len(x), func(i int) float64 { return at(i) * at(i) })
	d.SD = math.Sqrt(ss / (n - 1))
	if n < 2 {
		d.SD = math.NaN()
	}
	d.Lag1 = neumaier(max(0, len(x)-1), func(i int) float64 { return at(i) * at(i+1) }) / ss
	return d
}

// neumaier sums n terms and keeps what each addition rounds off (Neumaier 1974, ZAMM 54).
func neumaier(n int, term func(int) float64) float64 {
	sum, lost := 0.0, 0.0
	for i := range n {
		t := term(i)
		next := sum + t
		if math.Abs(sum) >= math.Abs(t) {
			lost += (sum - next) + t
		} else {
			lost += (t - next) + sum
		}
		sum = next
	}
	return sum + lost
}

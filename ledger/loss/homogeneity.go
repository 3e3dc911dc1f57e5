package loss

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Heterogeneity tells whether values with known variances agree with one common value.
type Heterogeneity struct {
	Mean     Normal  // the common value, weights 1/v
	Q        float64 // Σ (y − mean)²/v, chi-squared with DF degrees of freedom if they agree
	DF       int
	P        float64 // the chance of so large a Q if they agree
	Variance float64 // between them, by moments (DerSimonian & Laird 1986, Controlled Clinical Trials 7); 0 when Q < DF
}

// Homogeneity compares at least two values y with variances v, all above 0.
func Homogeneity(y, v []float64) (Heterogeneity, error) {
	if len(y) < 2 || len(v) != len(y) {
		return Heterogeneity{}, &FieldError{Field: "values", Value: fmt.Sprintf("%d with %d variances", len(y), len(v)), Want: "at least 2, each with its variance"}
	}
	var w, wy, w2 float64
	for i := range y {
		if !finite(y[i]) || !(v[i] > 0) {
			return Heterogeneity{}, &FieldError{Field: fmt.Sprintf("value %d", i), Value: fmt.Sprintf("%g, variance %g", y[i], v[i]), Want: "a finite value, a variance above 0"}
		}
		w += 1 / v[i]
		wy += y[i] / v[i]
		w2 += 1 / (v[i] * v[i])
	}
	h := Heterogeneity{Mean: Normal{Mean: wy / w, SD: 1 / math.Sqrt(w)}, DF: len(y) - 1}
	for i := range y {
		d := y[i] - h.Mean.Mean
		h.Q += d * d / v[i]
	}
	h.P = distuv.ChiSquared{K: float64(h.DF)}.Survival(h.Q)
	h.Variance = math.Max(0, (h.Q-float64(h.DF))/(w-w2/w))
	return h, nil
}

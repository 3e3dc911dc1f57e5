package loss

import (
	"math"
	"testing"
)

// Certified values of the NIST Statistical Reference Datasets through the general engines. The digits asked for are
// what double precision gives here less one; -v prints the digits reached.

func TestStRDUnivariate(t *testing.T) {
	type certified struct{ Mean, SD, Lag1 float64 }
	check := func(name string, x []float64, want certified, mean, sd, lag float64) {
		d := Describe(x)
		t.Logf("%s: mean %.1f, sd %.1f, lag-1 %.1f digits", name, atLeast(t, name+" mean", d.Mean, want.Mean, mean),
			atLeast(t, name+" sd", d.SD, want.SD, sd), atLeast(t, name+" lag-1", d.Lag1, want.Lag1, lag))
	}
	for _, name := range []string{"lew", "mavro"} {
		in, want := load[struct{ Data []float64 }, certified](t, "e-strd-"+name)
		check(name, in.Data, want, 14, 12, 12)
	}
	in, want := load[struct{ NumAcc1 []float64 }, map[string]certified](t, "e-strd-numacc")
	check("NumAcc1", in.NumAcc1, want["NumAcc1"], 14, 14, 14)
	// The file says the other three in words. Their certified values for NumAcc3 and NumAcc4 are from memory. The
	// decimal fractions are not doubles: beside 10⁷ that alone leaves the spread 9 digits.
	for name, c := range map[string]struct{ base, mean, sd, lag float64 }{"NumAcc2": {1, 14, 13, 13}, "NumAcc3": {1000000, 14, 9, 9}, "NumAcc4": {10000000, 14, 8, 8}} {
		x := []float64{c.base + 0.2}
		for range 500 {
			x = append(x, c.base+0.1, c.base+0.3)
		}
		check(name, x, want[name], c.mean, c.sd, c.lag)
	}
}

func TestStRDNorris(t *testing.T) {
	in, want := load[struct{ X, Y []float64 }, struct {
		Slope, Intercept, R2, SSE float64
		SESlope                   float64 `json:"se_slope"`
		SEIntercept               float64 `json:"se_intercept"`
		Residual                  float64 `json:"residual_sd"`
	}](t, "e-strd-norris")
	x := make([][]float64, len(in.X))
	for i, v := range in.X {
		x[i] = []float64{1, v}
	}
	fit, err := LeastSquares(x, in.Y, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("least squares: slope %.1f, intercept %.1f, se %.1f and %.1f, residual sd %.1f, SSE %.1f, R² %.1f digits",
		atLeast(t, "slope", fit.Coef[1], want.Slope, 12), atLeast(t, "intercept", fit.Coef[0], want.Intercept, 11),
		atLeast(t, "se slope", fit.SE[1], want.SESlope, 12), atLeast(t, "se intercept", fit.SE[0], want.SEIntercept, 12),
		atLeast(t, "residual", fit.Residual, want.Residual, 12), atLeast(t, "SSE", fit.SSE, want.SSE, 12), atLeast(t, "R²", fit.RSquared, want.R2, 13))
	// A regression is a mixed model without factors: the engine of the loss model must give the same, its residual
	// spread estimated by REML.
	e, err := (&Mixed{Y: in.Y, X: x}).REML()
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("mixed model: slope %.1f, intercept %.1f, se %.1f and %.1f, residual sd %.1f digits",
		atLeast(t, "slope", e.Coef(1).Mean, want.Slope, 12), atLeast(t, "intercept", e.Coef(0).Mean, want.Intercept, 10),
		atLeast(t, "se slope", e.Coef(1).SD, want.SESlope, 8), atLeast(t, "se intercept", e.Coef(0).SD, want.SEIntercept, 8),
		atLeast(t, "residual", e.SD[0], want.Residual, 8))
}

// The harder linear sets: Longley's near-collinear columns, polynomials of degree 2, 5 and 10, a line through the origin.
func TestStRDLinear(t *testing.T) {
	for _, c := range []struct {
		name     string
		coef, se float64
	}{
		{"noint1", 13, 13}, {"pontius", 12, 12}, {"longley", 10, 11},
		{"wampler1", 9, 0}, {"wampler2", 12, 0}, {"wampler3", 9, 12}, {"wampler4", 7, 12}, {"wampler5", 5, 12},
		{"filip", 6.5, 6.5},
	} {
		t.Run(c.name, func(t *testing.T) {
			in, want := load[struct {
				X, Y     []float64
				Degree   int
				Columns  [][]float64
				Constant bool
			}, struct {
				Coef, SE []float64
				SSE, R2  float64
				Residual float64 `json:"residual_sd"`
			}](t, "e-strd-"+c.name)
			var x [][]float64
			for i := range in.Y {
				var row []float64
				if in.X != nil {
					for d := range in.Degree + 1 {
						row = append(row, math.Pow(in.X[i], float64(d)))
					}
				} else {
					if in.Constant {
						row = append(row, 1)
					}
					row = append(row, in.Columns[i]...)
				}
				x = append(x, row)
			}
			fit, err := LeastSquares(x, in.Y, nil)
			if err != nil {
				t.Fatal(err)
			}
			coef, se := 15.0, 15.0
			for j := range want.Coef {
				coef = math.Min(coef, atLeast(t, "coefficient", fit.Coef[j], want.Coef[j], c.coef))
				if want.SE[j] != 0 {
					se = math.Min(se, atLeast(t, "standard deviation", fit.SE[j], want.SE[j], c.se))
				} else if fit.SE[j] > 1e-4 {
					t.Errorf("the fit is exact, yet its standard deviation is %g", fit.SE[j])
				}
			}
			if want.SSE != 0 {
				atLeast(t, "SSE", fit.SSE, want.SSE, c.se)
			}
			if want.R2 != 0 {
				atLeast(t, "R²", fit.RSquared, want.R2, 13)
				atLeast(t, "residual", fit.Residual, want.Residual, 13)
			}
			t.Logf("%s: coefficients %.1f digits, standard deviations %.1f", c.name, coef, se)
		})
	}
}

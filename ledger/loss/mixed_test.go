package loss

import (
	"math"
	"testing"
)

func ones(n int) [][]float64 {
	x := make([][]float64, n)
	for i := range x {
		x[i] = []float64{1}
	}
	return x
}

func count(n int) []int {
	l := make([]int, n)
	for i := range l {
		l[i] = i
	}
	return l
}

// Source: posteriordb, eight_schools-eight_schools_noncentered, reference draws.
func TestEightSchools(t *testing.T) {
	in, want := load[struct{ Y, Sigma []float64 }, struct {
		Mean, MCSE    []float64
		MeanSquare    []float64 `json:"mean_square"`
		MeanSquareErr []float64 `json:"mean_square_mcse"`
	}](t, "j01-eight-schools")
	n := len(in.Y)
	v := make([]float64, n)
	for i, s := range in.Sigma {
		v[i] = s * s
	}
	m := &Mixed{Y: in.Y, V: v, X: ones(n), Prior: []Normal{{0, 5}},
		Residual: Scale{Kind: Known},
		Factors:  []Factor{{Name: "school", Level: count(n), Levels: n, Scale: Scale{HalfCauchy, 5}}}}
	e, err := m.Integrate()
	if err != nil {
		t.Fatal(err)
	}
	check := func(k int, what string, mean, square float64) {
		near(t, what, mean, want.Mean[k], 4*want.MCSE[k])
		near(t, what+"²", square, want.MeanSquare[k], 4*want.MeanSquareErr[k])
	}
	for i := range n {
		mean, variance := e.Predict(Row{X: []float64{1}, Level: []int{i}})
		check(i, "theta", mean, variance+mean*mean)
	}
	mu := e.Coef(0)
	check(8, "mu", mu.Mean, mu.SD*mu.SD+mu.Mean*mu.Mean)
	check(9, "tau", e.SD[1], e.Var[1])
	t.Log(e.Points, "points; mu", mu, "tau", e.SD[1], "E tau²", e.Var[1])
}

// Source: Raudenbush & Bryk (1985), figures of metafor's tests.
func TestNineteenStudies(t *testing.T) {
	in, want := load[struct{ Y, V []float64 }, struct {
		Tau2, Mu, Q float64
		ZMu         float64 `json:"z_mu"`
		Blup        []float64
		BlupLo      []float64 `json:"blup_lo"`
		BlupHi      []float64 `json:"blup_hi"`
	}](t, "j02-raudenbush-bryk-19")
	n := len(in.Y)
	// The spread between studies as the residual and as a factor with one level a study: one model, two ways.
	for name, m := range map[string]*Mixed{
		"residual": {Y: in.Y, V: in.V, X: ones(n)},
		"factor": {Y: in.Y, V: in.V, X: ones(n), Residual: Scale{Kind: Known},
			Factors: []Factor{{Name: "study", Level: count(n), Levels: n}}},
	} {
		t.Run(name, func(t *testing.T) {
			e, err := m.REML()
			if err != nil {
				t.Fatal(err)
			}
			tau2 := e.Var[0] + e.Var[len(e.Var)-1]
			if name == "residual" {
				tau2 = e.Var[0]
			}
			mu := e.Coef(0)
			near(t, "tau²", tau2, want.Tau2, 1e-4)
			near(t, "mu", mu.Mean, want.Mu, 1e-4)
			near(t, "z", mu.Mean/mu.SD, want.ZMu, 1e-3)
			for i := range n {
				theta := e.Shrunken(i)
				if name == "factor" {
					mean, variance := e.Predict(Row{X: []float64{1}, Level: []int{i}})
					theta = Normal{mean, math.Sqrt(variance)}
				}
				near(t, "blup", theta.Mean, want.Blup[i], 2e-4)
				near(t, "lower", theta.Mean-1.959964*theta.SD, want.BlupLo[i], 3e-4)
				near(t, "upper", theta.Mean+1.959964*theta.SD, want.BlupHi[i], 3e-4)
			}
		})
	}
	h, err := Homogeneity(in.Y, in.V)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Q", h.Q, want.Q, 1e-3)
}

// Source: Normand (1999), figures of metafor's tests. Three estimators differ a lot here.
func TestStroke(t *testing.T) {
	in, want := load[struct {
		Rows [][6]float64 `json:"rows_n1_m1_sd1_n2_m2_sd2"`
	}, struct {
		Y, V  []float64
		Equal struct {
			Mu float64
			CI [2]float64
		} `json:"equal_effects"`
		DL, REML struct {
			Tau2, Mu float64
			CI       [2]float64
		}
	}](t, "j04-normand-stroke")
	var y, v []float64
	for i, r := range in.Rows {
		n1, m1, s1, n2, m2, s2 := r[0], r[1], r[2], r[3], r[4], r[5]
		pooled := ((n1-1)*s1*s1 + (n2-1)*s2*s2) / (n1 + n2 - 2)
		y = append(y, m1-m2)
		v = append(v, pooled*(1/n1+1/n2))
		near(t, "y", y[i], want.Y[i], 1e-9)
		near(t, "v", v[i], want.V[i], 1e-4)
	}
	ci := func(what string, got Normal, mu float64, want [2]float64) {
		near(t, what, got.Mean, mu, 1e-4)
		near(t, what+" lower", got.Mean-1.959964*got.SD, want[0], 1e-3)
		near(t, what+" upper", got.Mean+1.959964*got.SD, want[1], 1e-3)
	}
	m := &Mixed{Y: y, V: v, X: ones(len(y))}
	equal, err := m.At([]float64{0})
	if err != nil {
		t.Fatal(err)
	}
	ci("equal effects", equal.Coef(0), want.Equal.Mu, want.Equal.CI)
	h, err := Homogeneity(y, v)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "DL tau²", h.Variance, want.DL.Tau2, 1e-2)
	moment, err := m.At([]float64{math.Sqrt(h.Variance)})
	if err != nil {
		t.Fatal(err)
	}
	ci("DL", moment.Coef(0), want.DL.Mu, want.DL.CI)
	reml, err := m.REML()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "REML tau²", reml.Var[0], want.REML.Tau2, 1e-2)
	ci("REML", reml.Coef(0), want.REML.Mu, want.REML.CI)
}

// Source: Davies & Goldsmith (1972); REML output of lme4. Two crossed factors beside a residual.
func TestPenicillin(t *testing.T) {
	in, want := load[struct {
		Rows [][]float64 `json:"rows_plates_columns_samples"`
	}, struct {
		Plate     float64 `json:"sd_plate"`
		Sample    float64 `json:"sd_sample"`
		Residual  float64 `json:"sd_residual"`
		Criterion float64 `json:"reml_criterion"`
		Mu        float64
	}](t, "j05-penicillin-crossed")
	m := &Mixed{Factors: []Factor{{Name: "sample", Levels: 6}, {Name: "plate", Levels: 24}}}
	for p, row := range in.Rows {
		for s, y := range row {
			m.Y = append(m.Y, y)
			m.Factors[0].Level = append(m.Factors[0].Level, s)
			m.Factors[1].Level = append(m.Factors[1].Level, p)
		}
	}
	m.X = ones(len(m.Y))
	e, err := m.REML()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sample", e.SD[1], want.Sample, 5e-5)
	near(t, "plate", e.SD[2], want.Plate, 5e-5)
	near(t, "residual", e.SD[0], want.Residual, 5e-5)
	near(t, "criterion", -2*e.LogLik, want.Criterion, 5e-5)
	near(t, "mu", e.Coef(0).Mean, want.Mu, 5e-6)
}

// One observation just where it was expected is no scale for the search; the sampling errors and beliefs are.
func TestObservationWhereExpected(t *testing.T) {
	at := func(y, v float64) *Estimate {
		m := &Mixed{Residual: Scale{HalfNormal, 0.1}, Y: []float64{y}, V: []float64{v}, R: []float64{1}}
		for k, name := range []string{"a", "b"} {
			m.Factors = append(m.Factors, Factor{Name: name, Levels: 1, Level: []int{0}, Scale: Scale{ScaleKind(k + int(HalfNormal)), 0.1}})
		}
		e, err := m.Integrate()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	for _, v := range []float64{1e-8, 0.01} {
		exact := at(0, v)
		for _, y := range []float64{1e-320, 1.2e-154, 1e-20, -1e-12} {
			got := at(y, v)
			for k, want := range exact.SD {
				if !(math.Abs(got.SD[k]-want) <= 1e-3*want) {
					t.Errorf("y %g, v %g: spread %d is %g, at y 0 it is %g", y, v, k, got.SD[k], want)
				}
			}
		}
	}
}

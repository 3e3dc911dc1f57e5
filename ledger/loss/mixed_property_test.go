package loss

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// drawMixed makes a random model with proper priors, two factors (one of them perhaps a walk) and known variances.
func drawMixed(t *rapid.T) *Mixed {
	n := rapid.IntRange(0, 25).Draw(t, "n")
	p := rapid.IntRange(0, 3).Draw(t, "p")
	number := rapid.Float64Range(-3, 3)
	m := &Mixed{Residual: Scale{HalfNormal, 1}}
	for range p {
		m.Prior = append(m.Prior, Normal{number.Draw(t, "mean"), rapid.Float64Range(0.3, 3).Draw(t, "sd")})
	}
	for k, name := range []string{"a", "b"} {
		f := Factor{Name: name, Levels: rapid.IntRange(1, 5).Draw(t, "levels"), Scale: Scale{ScaleKind(k + int(HalfNormal)), 1},
			Walk: name == "a" && rapid.Bool().Draw(t, "walk")}
		for range n {
			f.Level = append(f.Level, rapid.IntRange(-1, f.Levels-1).Draw(t, "level"))
		}
		m.Factors = append(m.Factors, f)
	}
	for range n {
		m.Y = append(m.Y, number.Draw(t, "y"))
		m.V = append(m.V, rapid.Float64Range(0.01, 2).Draw(t, "v"))
		m.R = append(m.R, rapid.Float64Range(0.3, 3).Draw(t, "r"))
		row := make([]float64, p)
		for j := range row {
			row[j] = number.Draw(t, "x")
		}
		m.X = append(m.X, row)
	}
	if p == 0 {
		m.X = nil
	}
	return m
}

func drawSpreads(t *rapid.T, m *Mixed) []float64 {
	var sd []float64
	for range len(m.Factors) + 1 {
		sd = append(sd, rapid.Float64Range(0.2, 2).Draw(t, "spread"))
	}
	return sd
}

// brute solves the same model from its definition, with the dense covariance of everything that is random: unknowns
// b ~ N(b0, S), y = M b + e. It shares nothing with the normal equations.
func brute(m *Mixed, sd []float64) (mean *mat.VecDense, cov *mat.Dense, logLik float64) {
	n, p := len(m.Y), len(m.Prior)
	q := p
	for _, f := range m.Factors {
		q += f.Levels
	}
	s := mat.NewDense(q, q, nil)
	b0 := mat.NewVecDense(q, nil)
	for j, b := range m.Prior {
		s.Set(j, j, b.SD*b.SD)
		b0.SetVec(j, b.Mean)
	}
	design := mat.NewDense(max(n, 1), q, nil)
	at := p
	for k, f := range m.Factors {
		for i := range f.Levels {
			for j := range f.Levels {
				switch {
				case f.Walk:
					s.Set(at+i, at+j, sd[k+1]*sd[k+1]*float64(min(i, j)+1))
				case i == j:
					s.Set(at+i, at+j, sd[k+1]*sd[k+1])
				}
			}
		}
		for i, l := range f.Level {
			if l >= 0 {
				design.Set(i, at+l, 1)
			}
		}
		at += f.Levels
	}
	if n == 0 {
		return b0, s, 0
	}
	for i, row := range m.X {
		for j, x := range row {
			design.Set(i, j, x)
		}
	}
	var v, sm, inv mat.Dense
	sm.Mul(s, design.T()) // S M'
	v.Mul(design, &sm)
	e := mat.NewVecDense(n, nil)
	e.MulVec(design, b0)
	for i := range n {
		v.Set(i, i, v.At(i, i)+m.R[i]*sd[0]*sd[0]+m.V[i])
		e.SetVec(i, m.Y[i]-e.AtVec(i))
	}
	if err := inv.Inverse(&v); err != nil {
		panic(err)
	}
	var gain mat.Dense
	gain.Mul(&sm, &inv)
	mean, cov = mat.NewVecDense(q, nil), mat.NewDense(q, q, nil)
	mean.MulVec(&gain, e)
	mean.AddVec(mean, b0)
	cov.Mul(&gain, sm.T())
	cov.Sub(s, cov)
	logdet, _ := mat.LogDet(&v)
	return mean, cov, -0.5 * (float64(n)*math.Log(2*math.Pi) + logdet + mat.Inner(e, &inv, e))
}

func closeTo(t *rapid.T, what string, got, want, tolerance float64) {
	if !(math.Abs(got-want) <= tolerance*(1+math.Abs(want))) {
		t.Fatalf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// The blocked normal equations agree with the definition: coefficients, levels, predictions and likelihood.
func TestMixedAgainstItsDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMixed(t)
		sd := drawSpreads(t, m)
		e, err := m.At(sd)
		if err != nil {
			t.Fatal(err)
		}
		mean, cov, logLik := brute(m, sd)
		closeTo(t, "log likelihood", e.LogLik, logLik, 1e-8)
		p := len(m.Prior)
		for j := range p {
			closeTo(t, "coefficient", e.Coef(j).Mean, mean.AtVec(j), 1e-8)
			closeTo(t, "its sd", e.Coef(j).SD, math.Sqrt(cov.At(j, j)), 1e-7)
		}
		at := p
		for k, f := range m.Factors {
			for l := range f.Levels {
				closeTo(t, "level", e.Effect(k, l).Mean, mean.AtVec(at+l), 1e-8)
				closeTo(t, "its sd", e.Effect(k, l).SD, math.Sqrt(cov.At(at+l, at+l)), 1e-7)
			}
			at += f.Levels
		}
		for i := range m.Y {
			fit, variance := e.fit(i)
			want, wantVar := 0.0, 0.0
			idx := []int{}
			val := []float64{}
			row := Row{Level: make([]int, len(m.Factors))}
			if p > 0 {
				row.X = m.X[i]
			}
			for j := range p {
				idx, val = append(idx, j), append(val, m.X[i][j])
			}
			at := p
			for k, f := range m.Factors {
				if f.Level[i] >= 0 {
					idx, val = append(idx, at+f.Level[i]), append(val, 1)
				}
				row.Level[k] = f.Level[i]
				at += f.Levels
			}
			for a, j := range idx {
				want += val[a] * mean.AtVec(j)
				for b, l := range idx {
					wantVar += val[a] * val[b] * cov.At(j, l)
				}
			}
			closeTo(t, "fit", fit, want, 1e-8)
			closeTo(t, "fit variance", variance, wantVar, 1e-7)
			for k, l := range row.Level { // of a row with a level never seen, that level's τ² is not known away
				if l < 0 {
					wantVar += sd[k+1] * sd[k+1]
				}
			}
			ahead, aheadVar := e.Predict(row)
			closeTo(t, "prediction", ahead, want, 1e-8)
			closeTo(t, "prediction variance", aheadVar, wantVar, 1e-7)
			// A shrunken value lies between the measured and the fitted one and is known no worse than measured.
			s := e.Shrunken(i)
			if low, high := min(fit, m.Y[i]), max(fit, m.Y[i]); s.Mean < low-1e-9 || s.Mean > high+1e-9 || s.SD*s.SD > m.V[i]*(1+1e-9) {
				t.Fatalf("shrunken %v of %g ± √%g, fitted %g", s, m.Y[i], m.V[i], fit)
			}
		}
	})
}

// The scores are the derivatives of the log likelihood by the logarithms of the spreads.
func TestScoresAreDerivatives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMixed(t)
		sd := drawSpreads(t, m)
		s, err := m.compile()
		if err != nil {
			t.Fatal(err)
		}
		at := func(sd []float64) *solved {
			o, err := s.solve(s.cross(sd[0]*sd[0]), sd)
			if err != nil {
				t.Fatal(err)
			}
			return o
		}
		o := at(sd)
		o.invert()
		grad, info := o.score()
		const h = 1e-5
		for k := range sd {
			up, down := append([]float64(nil), sd...), append([]float64(nil), sd...)
			up[k] *= math.Exp(h)
			down[k] *= math.Exp(-h)
			closeTo(t, "score", grad[k], (at(up).logLik-at(down).logLik)/(2*h), 1e-4)
			if info.At(k, k) < 0 {
				t.Fatalf("information %g", info.At(k, k))
			}
		}
	})
}

// Forecasting one by one and updating ends where fitting all at once does: the chain rule of the likelihood, and the
// last forecast equals the batch fit of those before it.
func TestSequenceAgainstBatch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMixed(t)
		n := len(m.Y)
		if n == 0 {
			t.Skip("nothing to forecast")
		}
		sd := drawSpreads(t, m)
		variances := make([]float64, len(sd))
		for k, x := range sd {
			variances[k] = x * x
		}
		s, err := m.compile()
		if err != nil {
			t.Fatal(err)
		}
		seq, err := s.sequence(variances, 0)
		if err != nil {
			t.Fatal(err)
		}
		_, _, logLik := brute(m, sd)
		sum := 0.0
		for _, a := range seq {
			sum -= 0.5*(math.Log(2*math.Pi)+a.z*a.z) + math.Log(a.sd)
		}
		closeTo(t, "log likelihood as a sum of forecasts", sum, logLik, 1e-7)
		from := rapid.IntRange(0, n-1).Draw(t, "from")
		later, err := s.sequence(variances, from)
		if err != nil {
			t.Fatal(err)
		}
		for i, a := range later {
			closeTo(t, "forecast", a.mean, seq[from+i].mean, 1e-7)
			closeTo(t, "forecast sd", a.sd, seq[from+i].sd, 1e-7)
		}
	})
}

// Another unit for y (and the priors with it) only changes the unit of the answer; another order of the observations
// changes nothing.
func TestMixedUnitsAndOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMixed(t)
		m.Factors[0].Walk = false
		n := len(m.Y)
		if n == 0 {
			t.Skip("nothing to compare")
		}
		unit := math.Pow(10, rapid.Float64Range(-3, 3).Draw(t, "unit"))
		order := rapid.Permutation(count(n)).Draw(t, "order")
		o := &Mixed{Residual: m.Residual, Factors: append([]Factor(nil), m.Factors...)}
		o.Residual.At *= unit
		for _, b := range m.Prior {
			o.Prior = append(o.Prior, Normal{b.Mean * unit, b.SD * unit})
		}
		for k := range o.Factors {
			o.Factors[k].Scale.At *= unit
			o.Factors[k].Level = nil
		}
		for _, i := range order {
			o.Y, o.V, o.R = append(o.Y, m.Y[i]*unit), append(o.V, m.V[i]*unit*unit), append(o.R, m.R[i])
			if m.X != nil {
				o.X = append(o.X, m.X[i])
			}
			for k := range o.Factors {
				o.Factors[k].Level = append(o.Factors[k].Level, m.Factors[k].Level[i])
			}
		}
		a, err := m.Integrate()
		if err != nil {
			t.Fatal(err)
		}
		b, err := o.Integrate()
		if err != nil {
			t.Fatal(err)
		}
		for k := range a.SD {
			closeTo(t, "spread", b.SD[k]/unit, a.SD[k], 0.02) // the lattice is placed anew
		}
		for to, i := range order {
			fit, variance := a.fit(i)
			fit2, variance2 := b.fit(to)
			closeTo(t, "fit", fit2/unit, fit, 0.01)
			closeTo(t, "variance", variance2/unit/unit, variance, 0.02)
		}
	})
}

// In a balanced one-way layout REML is the analysis of variance: σ² the mean square within, τ² the difference of the
// mean squares over the size (Searle, Casella & McCulloch 1992, Variance Components, section 3.8), or 0 and the total.
func TestREMLIsAnalysisOfVariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		groups, size := rapid.IntRange(2, 6).Draw(t, "groups"), rapid.IntRange(2, 6).Draw(t, "size")
		m := &Mixed{Factors: []Factor{{Name: "group", Levels: groups}}}
		means := make([]float64, groups)
		grand, within, between := 0.0, 0.0, 0.0
		for g := range groups {
			shift := rapid.Float64Range(-3, 3).Draw(t, "shift")
			for range size {
				y := shift + rapid.Float64Range(-1, 1).Draw(t, "y")
				m.Y = append(m.Y, y)
				m.Factors[0].Level = append(m.Factors[0].Level, g)
				means[g] += y / float64(size)
				grand += y / float64(size*groups)
			}
		}
		for i, y := range m.Y {
			d := y - means[i/size]
			within += d * d
		}
		for _, mean := range means {
			between += float64(size) * (mean - grand) * (mean - grand)
		}
		msw, msb := within/float64(groups*(size-1)), between/float64(groups-1)
		if msw < 1e-4 {
			t.Skip("no scatter within the groups")
		}
		m.X = ones(len(m.Y))
		e, err := m.REML()
		if err != nil {
			t.Fatal(err)
		}
		wantTau := (msb - msw) / float64(size)
		wantSigma := msw
		if wantTau <= 0 {
			wantTau, wantSigma = 0, (within+between)/float64(groups*size-1)
		}
		closeTo(t, "σ²", e.Var[0], wantSigma, 1e-5)
		closeTo(t, "τ²", e.Var[1], wantTau, 1e-5)
	})
}

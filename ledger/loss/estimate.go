package loss

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Estimate is what is known of a Mixed once the data are in.
type Estimate struct {
	Method string    // the estimator, in words
	SD     []float64 // spreads: σ, then τ of each factor; posterior means when they were integrated over
	Var    []float64 // the same as variances; not the squares of SD when they were integrated over
	VarVar []float64 // how well the variances are known: their posterior variance, 0 when they are taken as known
	LogLik float64   // restricted (marginal) log likelihood at the spreads; with Integrate at their posterior mode
	Points int       // how many sets of spreads were averaged over

	s        *system
	ca, cb   []float64
	vaa, vab *mat.Dense
	vbb      []float64
}

// At solves the model at given spreads, σ first.
func (m *Mixed) At(sd []float64) (*Estimate, error) {
	s, err := m.compile()
	if err != nil {
		return nil, err
	}
	if err := s.checkSpreads(sd); err != nil {
		return nil, err
	}
	o, err := s.solve(s.cross(sd[0]*sd[0]), sd)
	if err != nil {
		return nil, err
	}
	return o.estimate("best linear unbiased prediction at given spreads"), nil
}

func (s *system) checkSpreads(sd []float64) error {
	want := len(s.m.Factors) + 1
	if len(sd) != want {
		return &FieldError{Field: "spreads", Value: fmt.Sprint(len(sd)), Want: fmt.Sprint(want, ", the residual one first")}
	}
	for k, x := range sd {
		if !finite(x) || x < 0 || (k > 0 && x == 0) {
			return &FieldError{Field: fmt.Sprintf("spread %d", k), Value: fmt.Sprint(x), Want: "finite and above 0 (0 allowed for the residual one; leave out a factor without effect)"}
		}
	}
	if sd[0] == 0 {
		for i, v := range s.v {
			if v == 0 {
				return &FieldError{Field: fmt.Sprintf("V[%d]", i), Value: "0", Want: "above 0 where the residual spread is 0"}
			}
		}
	}
	return nil
}

func (o *solved) estimate(method string) *Estimate {
	o.invert()
	e := &Estimate{Method: method, SD: o.sd, LogLik: o.logLik, Points: 1,
		s: o.s, ca: o.ca, cb: o.cb, vaa: o.vaa, vab: o.vab, vbb: o.vbb,
		Var: make([]float64, len(o.sd)), VarVar: make([]float64, len(o.sd))}
	for k, x := range o.sd {
		e.Var[k] = x * x
	}
	return e
}

// Coef returns the mean and standard deviation of coefficient j.
func (e *Estimate) Coef(j int) Normal {
	return Normal{Mean: e.s.shift[j] + e.ca[j], SD: math.Sqrt(e.vaa.At(j, j))}
}

// Effect returns the mean and standard deviation of a factor's level.
func (e *Estimate) Effect(factor, level int) Normal {
	if factor == e.s.elim {
		return Normal{Mean: e.cb[level], SD: math.Sqrt(e.vbb[level])}
	}
	j := e.s.at[factor] + level
	return Normal{Mean: e.ca[j], SD: math.Sqrt(e.vaa.At(j, j))}
}

// Predict returns what is expected of an observation in this row and how well that is known: the uncertainty of the
// coefficients and levels, with τ² for each level never seen, and without the residual variance.
func (e *Estimate) Predict(r Row) (mean, variance float64) {
	idx, val, lev := e.s.place(r, nil, nil)
	mean, variance = quadratic(idx, val, lev, e.ca, e.cb, e.vaa, e.vab, e.vbb)
	for j, x := range r.X {
		mean += x * e.s.shift[j]
	}
	for k, l := range r.Level {
		if l < 0 {
			variance += e.Var[k+1]
		}
	}
	return mean, variance
}

// Shrunken returns observation i's own true value (its sampling error taken off, its own residual kept): the measured
// value pulled towards what the model expects, by as much as it is worse known. The spreads are taken as known.
//
//	σ²/(σ²+v) y + v/(σ²+v) ŷ,  variance σ²v/(σ²+v) + (v/(σ²+v))² var(ŷ)
//
// Raudenbush & Bryk (1985), J. Educ. Stat. 10(2), with the uncertainty of ŷ kept.
func (e *Estimate) Shrunken(i int) Normal {
	fit, variance := e.fit(i)
	own := e.Var[0] * e.s.r[i]
	total := own + e.s.v[i]
	if total == 0 {
		return Normal{Mean: e.s.m.Y[i]}
	}
	pull := e.s.v[i] / total
	return Normal{Mean: (1-pull)*e.s.m.Y[i] + pull*fit, SD: math.Sqrt(own*pull + pull*pull*variance)}
}

// fit returns what the model gives for observation i and how well that is known.
func (e *Estimate) fit(i int) (mean, variance float64) {
	s := e.s
	mean, variance = quadratic(s.idx[s.ptr[i]:s.ptr[i+1]], s.val[s.ptr[i]:s.ptr[i+1]], s.lev[i], e.ca, e.cb, e.vaa, e.vab, e.vbb)
	return mean + s.m.Y[i] - s.y[i], variance
}

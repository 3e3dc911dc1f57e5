package loss

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Mixed is a linear mixed model with a known sampling variance for each observation:
//
//	y = X β + Σ_k Z_k u_k + e,  e_i ~ N(0, r_i σ² + v_i),  u_k ~ N(0, τ_k² G_k)
//
// β has normal priors, flat ones included. G_k is the identity, or the covariance of a random walk for a
// factor whose levels follow each other in time. With no factor it is the normal-normal model of a
// meta-analysis (σ is then the spread between studies); with flat priors its likelihood is the restricted one (REML).
//
// The unknown spreads are listed as one vector everywhere: σ first, then τ_k in the order of Factors.
type Mixed struct {
	Y []float64   // n observations
	V []float64   // n known variances of them, not negative; nil stands for zeros
	R []float64   // n relative residual variances, above 0; nil stands for ones
	X [][]float64 // n rows of p columns; p may be 0

	Prior    []Normal // p beliefs about β; nil stands for flat ones
	Factors  []Factor
	Residual Scale // belief about σ
}

// Normal is a belief about a number. An infinite SD says nothing is believed (a flat prior).
type Normal struct{ Mean, SD float64 }

// Flat is the belief that says nothing.
var Flat = Normal{SD: math.Inf(1)}

// Factor groups the observations by what they share.
type Factor struct {
	Name   string
	Level  []int // n numbers in [0, Levels), or -1 for an observation that belongs to none
	Levels int
	Walk   bool // level j differs from level j-1 by N(0, τ²), the first from 0; otherwise all are independent
	Scale  Scale
}

// A ScaleKind says what is believed about a spread.
type ScaleKind int

// Kinds of belief about a spread.
const (
	Unknown    ScaleKind = iota // nothing: for REML only
	Known                       // it is At
	HalfNormal                  // |N(0, At²)|
	HalfCauchy                  // |Cauchy(0, At)|, Gelman (2006), Bayesian Analysis 1(3)
)

// Scale is a belief about a spread (a standard deviation).
type Scale struct {
	Kind ScaleKind
	At   float64
}

// logDensity returns the log density of the spread s up to a constant, and its first and second derivative by log s.
// Unknown and Known say nothing.
func (c Scale) logDensity(s float64) (f, d, d2 float64) {
	r := s * s / (c.At * c.At)
	switch c.Kind {
	case HalfNormal:
		return -r / 2, -r, -2 * r
	case HalfCauchy:
		return -math.Log1p(r), -2 * r / (1 + r), -4 * r / ((1 + r) * (1 + r))
	}
	return 0, 0, 0
}

// A Row is one observation's place in the model: what Predict is asked about.
type Row struct {
	X     []float64
	Level []int // one per factor; -1 is a level never seen: its effect is 0 ± τ
}

// system is a Mixed made ready for the normal equations. Its unknowns are the p coefficients and the levels of
// all factors but one (the dense block, na of them) and the levels of the largest factor (nb of them), whose
// own block is diagonal and is eliminated first.
type system struct {
	m         *Mixed
	n, na, nb int
	elim      int   // the eliminated factor, -1 for none
	at        []int // per factor, the place of its first level in the block it is in

	y     []float64 // less what shift explains
	v, r  []float64
	shift []float64 // p: prior means, or a first least-squares fit where the prior is flat
	prec  []float64 // p prior precisions

	ptr []int // rows of the dense block, compressed: entries ptr[i]:ptr[i+1]
	idx []int
	val []float64
	lev []int // the eliminated factor's level, -1 for none
	dim []int // places in the spread vector that are to be estimated
}

func (m *Mixed) compile() (*system, error) {
	n := len(m.Y)
	p := 0
	if n > 0 && len(m.X) > 0 {
		p = len(m.X[0])
	} else {
		p = len(m.Prior)
	}
	if len(m.X) != n && !(len(m.X) == 0 && p == 0) {
		return nil, &FieldError{Field: "X", Value: fmt.Sprint(len(m.X), " rows"), Want: fmt.Sprint(n, " rows, one per observation")}
	}
	if m.V != nil && len(m.V) != n {
		return nil, &FieldError{Field: "V", Value: fmt.Sprint(len(m.V)), Want: fmt.Sprint(n, " variances, one per observation")}
	}
	if m.R != nil && len(m.R) != n {
		return nil, &FieldError{Field: "R", Value: fmt.Sprint(len(m.R)), Want: fmt.Sprint(n, " relative variances, one per observation")}
	}
	if m.Prior != nil && len(m.Prior) != p {
		return nil, &FieldError{Field: "Prior", Value: fmt.Sprint(len(m.Prior)), Want: fmt.Sprint(p, " beliefs, one per column")}
	}
	s := &system{m: m, n: n, elim: -1, v: m.V, r: m.R, shift: make([]float64, p), prec: make([]float64, p)}
	if s.v == nil {
		s.v = make([]float64, n)
	}
	if s.r == nil {
		s.r = make([]float64, n)
		for i := range s.r {
			s.r[i] = 1
		}
	}
	if err := s.checkScale("residual", m.Residual, 0); err != nil {
		return nil, err
	}
	for k, f := range m.Factors {
		if len(f.Level) != n {
			return nil, &FieldError{Field: "factor " + f.Name, Value: fmt.Sprint(len(f.Level), " levels"), Want: fmt.Sprint(n, " levels, one per observation")}
		}
		for _, l := range f.Level {
			if l < -1 || l >= f.Levels {
				return nil, &FieldError{Field: "factor " + f.Name, Value: fmt.Sprint("level ", l), Want: fmt.Sprintf("-1 to %d", f.Levels-1)}
			}
		}
		if err := s.checkScale(f.Name, f.Scale, k+1); err != nil {
			return nil, err
		}
		if !f.Walk && (s.elim < 0 || f.Levels > m.Factors[s.elim].Levels) {
			s.elim = k
		}
	}
	for i := range n {
		fixed := m.Residual.Kind == Known && m.Residual.At == 0
		if !finite(m.Y[i]) || !finite(s.v[i]) || s.v[i] < 0 || (fixed && s.v[i] == 0) || !(s.r[i] > 0) || !finite(s.r[i]) {
			return nil, &FieldError{Field: fmt.Sprintf("observation %d", i), Value: fmt.Sprintf("%g with variance %g and relative variance %g", m.Y[i], s.v[i], s.r[i]),
				Want: "finite, the variance not negative (above 0 where the residual spread is known to be 0), the relative one above 0"}
		}
		if p > 0 && len(m.X[i]) != p {
			return nil, &FieldError{Field: fmt.Sprintf("X[%d]", i), Value: fmt.Sprint(len(m.X[i]), " columns"), Want: fmt.Sprint(p, " columns")}
		}
	}
	s.na = p
	s.at = make([]int, len(m.Factors))
	for k, f := range m.Factors {
		if k == s.elim {
			s.nb = f.Levels
			continue
		}
		s.at[k] = s.na
		s.na += f.Levels
	}
	if err := s.setPrior(p); err != nil {
		return nil, err
	}
	s.setRows(p)
	return s, nil
}

func (s *system) checkScale(name string, c Scale, place int) error {
	switch {
	case c.Kind == Known && (c.At < 0 || !finite(c.At)):
	case (c.Kind == HalfNormal || c.Kind == HalfCauchy) && !(c.At > 0 && finite(c.At)):
	default:
		if c.Kind != Known {
			s.dim = append(s.dim, place)
		}
		return nil
	}
	return &FieldError{Field: "scale of " + name, Value: fmt.Sprint(c.At), Want: "above 0 (0 allowed where it is known) and finite"}
}

// setPrior moves the origin of β to its prior mean, or to a first least-squares fit where all priors are flat, so
// that the normal equations only solve for a small correction: this keeps the digits that they would lose.
func (s *system) setPrior(p int) error {
	flat := 0
	for j := range p {
		if s.m.Prior == nil || math.IsInf(s.m.Prior[j].SD, 1) {
			flat++
			continue
		}
		b := s.m.Prior[j]
		if !finite(b.Mean) || !(b.SD > 0) {
			return &FieldError{Field: fmt.Sprintf("prior %d", j), Value: fmt.Sprintf("%g ± %g", b.Mean, b.SD), Want: "a finite mean and a spread above 0"}
		}
		s.shift[j], s.prec[j] = b.Mean, 1/(b.SD*b.SD)
	}
	if p > 0 && flat == p {
		fit, err := LeastSquares(s.m.X, s.m.Y, nil)
		if err != nil {
			return err
		}
		copy(s.shift, fit.Coef)
	}
	s.y = make([]float64, s.n)
	for i, y := range s.m.Y {
		for j, b := range s.shift {
			y -= s.m.X[i][j] * b
		}
		s.y[i] = y
	}
	return nil
}

func (s *system) setRows(p int) {
	s.ptr = make([]int, 1, s.n+1)
	s.lev = make([]int, s.n)
	row := Row{Level: make([]int, len(s.m.Factors))}
	for i := range s.n {
		if p > 0 {
			row.X = s.m.X[i]
		}
		for k, f := range s.m.Factors {
			row.Level[k] = f.Level[i]
		}
		s.idx, s.val, s.lev[i] = s.place(row, s.idx, s.val)
		s.ptr = append(s.ptr, len(s.idx))
	}
}

// place appends the non-zero entries of a row in the dense block and returns its level in the eliminated factor.
func (s *system) place(r Row, idx []int, val []float64) ([]int, []float64, int) {
	for j, x := range r.X {
		if x != 0 {
			idx, val = append(idx, j), append(val, x)
		}
	}
	lev := -1
	for k, l := range r.Level {
		switch {
		case l < 0:
		case k == s.elim:
			lev = l
		default:
			idx, val = append(idx, s.at[k]+l), append(val, 1)
		}
	}
	return idx, val, lev
}

// cross holds the weighted cross-products at one σ²; they do not change with the spreads of the factors.
type cross struct {
	a, b *mat.Dense // na×na (both triangles), na×nb; nil where a side is empty
	d    []float64  // nb
	ra   []float64  // na right-hand sides
	rb   []float64  // nb
	yy   float64
	logw float64 // Σ log(r σ² + v)
}

func (s *system) cross(variance float64) *cross { return s.crossUpTo(variance, s.n) }

// crossUpTo takes the first n observations only.
func (s *system) crossUpTo(variance float64, n int) *cross {
	c := &cross{ra: make([]float64, s.na), d: make([]float64, s.nb), rb: make([]float64, s.nb)}
	var a, b []float64
	if s.na > 0 {
		c.a = mat.NewDense(s.na, s.na, nil)
		a = c.a.RawMatrix().Data
		if s.nb > 0 {
			c.b = mat.NewDense(s.na, s.nb, nil)
			b = c.b.RawMatrix().Data
		}
	}
	for i, y := range s.y[:n] {
		t := variance*s.r[i] + s.v[i]
		w := 1 / t
		c.logw += math.Log(t)
		c.yy += w * y * y
		l := s.lev[i]
		if l >= 0 {
			c.d[l] += w
			c.rb[l] += w * y
		}
		idx, val := s.idx[s.ptr[i]:s.ptr[i+1]], s.val[s.ptr[i]:s.ptr[i+1]]
		for e, j := range idx {
			wx := w * val[e]
			c.ra[j] += wx * y
			if l >= 0 {
				b[j*s.nb+l] += wx
			}
			// Entries of a row stand in ascending order, so this fills the upper triangle.
			ar := a[j*s.na : (j+1)*s.na]
			for f := e; f < len(idx); f++ {
				ar[idx[f]] += wx * val[f]
			}
		}
	}
	for j := range s.prec {
		a[j*s.na+j] += s.prec[j]
	}
	for j := range s.na {
		for k := range j {
			a[j*s.na+k] = a[k*s.na+j]
		}
	}
	return c
}

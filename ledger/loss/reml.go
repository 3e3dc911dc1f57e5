package loss

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// REML estimates the spreads by the highest restricted likelihood and solves the model there. Beliefs about the
// spreads, where there are any, multiply the likelihood; with none and flat priors of β this is plain REML (Patterson &
// Thompson 1971, Biometrika 58(3)). A spread whose best value is nought comes out as 0.
func (m *Mixed) REML() (*Estimate, error) {
	s, err := m.compile()
	if err != nil {
		return nil, err
	}
	o, err := s.climb()
	if err != nil {
		return nil, err
	}
	e := o.estimate("restricted maximum likelihood (REML) by average information")
	floor := s.floor()
	for _, k := range s.dim {
		if e.SD[k] <= 2*floor {
			e.SD[k], e.Var[k] = 0, 0
		}
	}
	return e, nil
}

// guess returns where the search for the spreads starts, and floor the least spread it can give: so far below the
// scatter of the data that nothing depends on it.
func (s *system) guess() []float64 {
	sd := make([]float64, len(s.m.Factors)+1)
	start := s.scatter() / math.Sqrt(float64(len(sd)))
	set := func(k int, c Scale) {
		switch c.Kind {
		case Known:
			sd[k] = c.At
		case Unknown:
			sd[k] = start
		default:
			sd[k] = math.Min(start, c.At)
		}
	}
	set(0, s.m.Residual)
	for k, f := range s.m.Factors {
		set(k+1, f.Scale)
	}
	return sd
}

func (s *system) floor() float64 { return 1e-8 * s.scatter() }

// scatter is the scale of the numbers at hand: the data's and their sampling errors', or, where those are as good as
// nought (one observation just where it was expected), a millionth of the widest belief, so that squares keep their digits.
func (s *system) scatter() float64 {
	t, widest := 0.0, 0.0
	for i, y := range s.y {
		t += y*y + s.v[i]
	}
	for _, c := range append([]Scale{s.m.Residual}, scales(s.m.Factors)...) {
		widest = math.Max(widest, c.At)
	}
	switch t = math.Max(math.Sqrt(t/float64(max(1, len(s.y)))), 1e-6*widest); t {
	case 0:
		return 1
	default:
		return t
	}
}

func scales(fs []Factor) []Scale {
	out := make([]Scale, len(fs))
	for k, f := range fs {
		out[k] = f.Scale
	}
	return out
}

func (s *system) scale(k int) Scale {
	if k == 0 {
		return s.m.Residual
	}
	return s.m.Factors[k-1].Scale
}

// climb finds the spreads of highest restricted likelihood times belief, by damped steps on their logarithms with the
// average information as the curvature.
func (s *system) climb() (*solved, error) {
	d := len(s.dim)
	sd := s.guess()
	floor := s.floor()
	eval := func(sd []float64) (*solved, float64, error) {
		o, err := s.solve(s.cross(sd[0]*sd[0]), sd)
		if err != nil {
			return nil, 0, err
		}
		return o, o.logLik + s.belief(sd), nil
	}
	o, best, err := eval(sd)
	if err != nil || d == 0 {
		return o, err
	}
	curve := mat.NewSymDense(d, nil)
	grad := mat.NewVecDense(d, nil)
	damp := 1e-3
	for range 100 {
		o.invert()
		g, info := o.score()
		for a, k := range s.dim {
			_, g1, g2 := s.scale(k).logDensity(sd[k])
			grad.SetVec(a, g[k]+g1)
			for b := a; b < d; b++ {
				l := s.dim[b]
				curve.SetSym(a, b, 4*sd[k]*sd[k]*sd[l]*sd[l]*info.At(k, l))
			}
			// The likelihood falls with the logarithm as with the variance near nought; the information misses that.
			curve.SetSym(a, a, curve.At(a, a)-2*math.Min(g[k], 0)-g2)
		}
		for tries := 0; ; tries++ {
			step := damped(curve, grad, damp)
			next := append([]float64(nil), sd...)
			size := 0.0
			for a, k := range s.dim {
				next[k] = math.Max(floor, sd[k]*math.Exp(step.AtVec(a)))
				size = math.Max(size, math.Abs(math.Log(next[k]/sd[k])))
			}
			moved, value, err := eval(next)
			if err == nil && value >= best-1e-13*math.Abs(best) {
				done := size < 1e-9 || (size < 1e-5 && value-best < 1e-13*math.Abs(best))
				sd, o, best = next, moved, value
				damp = math.Max(damp/10, 1e-12)
				if done {
					return o, nil
				}
				break
			}
			if damp *= 10; tries == 40 || size < 1e-12 {
				return o, nil // no better place within reach of the arithmetic
			}
		}
	}
	return o, nil
}

// damped solves (H + damp·scale) step = grad and keeps each part of the step within 2 (a factor of 7 in a spread).
func damped(h *mat.SymDense, grad *mat.VecDense, damp float64) *mat.VecDense {
	d := grad.Len()
	step := mat.NewVecDense(d, nil)
	for {
		lifted := mat.NewSymDense(d, nil)
		lifted.CopySym(h)
		for a := range d {
			lifted.SetSym(a, a, h.At(a, a)*(1+damp)+1e-12*damp)
		}
		var chol mat.Cholesky
		if chol.Factorize(lifted) {
			if err := chol.SolveVecTo(step, grad); err == nil || finite(mat.Norm(step, 2)) {
				break
			}
		}
		if damp *= 10; damp > 1e12 {
			step.ScaleVec(1/math.Max(mat.Norm(grad, 2), 1), grad)
			break
		}
	}
	for a := range d {
		x := math.Max(-2, math.Min(2, step.AtVec(a)))
		if math.IsNaN(x) {
			x = 0
		}
		step.SetVec(a, x)
	}
	return step
}

// belief is the log density of the spreads before the data, up to a constant.
func (s *system) belief(sd []float64) float64 {
	t := 0.0
	for _, k := range s.dim {
		f, _, _ := s.scale(k).logDensity(sd[k])
		t += f
	}
	return t
}

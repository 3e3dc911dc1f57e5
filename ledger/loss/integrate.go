package loss

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// fineness says how the lattice of Integrate is laid, by the number of spreads to sum over: its step in conditional
// standard deviations, how far below the summit (in log density) it still goes, and into how many steps at most it
// divides the way down there, so that a long tail does not make it endless. On a smooth density the trapezoid
// rule errs by about exp(−2π²/step²), so more spreads can do with a coarser lattice; a test holds it against a finer one.
var fineness = []struct{ step, drop, most float64 }{
	0: {}, 1: {0.1, 25, 1000}, 2: {0.5, 14, 100}, 3: {1, 9, 30}, 4: {1.4, 7.5, 16}, 5: {1.4, 7.5, 12},
}

// wellKnown is the relative uncertainty within which a spread is taken as known: a twentieth changes no interval by
// more than a hundredth, and in a big shop it saves the longest of the sums.
const wellKnown = 0.05

// Integrate averages the model over its spreads instead of taking one value of each: empirical Bayes made full Bayes.
// Given the spreads everything is normal and solved exactly, so only the spreads are summed over, on a regular
// lattice that grows outwards from the summit of their density (the way of Rue, Martino & Chopin 2009, J. R. Statist.
// Soc. B 71(2), section 3.1). Every spread needs a belief (Known, HalfNormal or HalfCauchy), and at most five may be
// unknown.
func (m *Mixed) Integrate() (*Estimate, error) {
	s, err := m.compile()
	if err != nil {
		return nil, err
	}
	for _, k := range s.dim {
		if s.scale(k).Kind == Unknown {
			return nil, &FieldError{Field: fmt.Sprintf("scale of spread %d", k), Value: "unknown", Want: "a belief: without one the sum may not exist"}
		}
	}
	if len(s.dim) >= len(fineness) {
		return nil, &FieldError{Field: "spreads", Value: fmt.Sprint(len(s.dim), " unknown"), Want: fmt.Sprint("at most ", len(fineness)-1)}
	}
	top, err := s.climb()
	if err != nil {
		return nil, err
	}
	if len(s.dim) == 0 {
		return top.estimate("posterior at known spreads"), nil
	}
	e, err := s.lattice(top)
	if err != nil {
		return nil, err
	}
	e.Method = "empirical Bayes: normal given the spreads, the spreads integrated over the restricted likelihood and their half-normal or half-Cauchy beliefs"
	return e, nil
}

// spreadDensity evaluates the density that lattice sums; it keeps the cross-products, which only σ changes.
type spreadDensity struct {
	s       *system
	peak    float64
	crosses map[float64]*cross
}

func (p *spreadDensity) at(sd []float64) (*solved, float64, error) {
	c, ok := p.crosses[sd[0]]
	if !ok {
		c = p.s.cross(sd[0] * sd[0])
		p.crosses[sd[0]] = c
	}
	o, err := p.s.solve(c, sd)
	if err != nil {
		return nil, 0, err
	}
	return o, o.logLik + p.s.belief(sd) - p.peak, nil
}

// lattice sums over the points that are joined to the summit by points above the drop. The density only depends on the
// squares of the spreads, so it continues smoothly to negative ones; a lattice with a point half a step to each side of
// nought is a trapezoid rule over the whole line, of which the positive half says all. There is no edge to lose digits at.
func (s *system) lattice(top *solved) (*Estimate, error) {
	density := &spreadDensity{s: s, peak: top.logLik + s.belief(top.sd), crosses: map[float64]*cross{top.sd[0]: top.c}}
	var free []int
	width := make([]float64, len(top.sd))
	for _, k := range s.dim {
		w, err := density.width(top.sd, k)
		if err != nil {
			return nil, err
		}
		if width[k] = w; w > wellKnown*top.sd[k] {
			free = append(free, k)
		}
	}
	d := len(free)
	fine := fineness[d]
	type place [5]int
	var start place
	step := make([]float64, d)
	for a, k := range free {
		reach := width[k]
		for log := 0.0; log > -fine.drop && !math.IsInf(reach, 1); reach *= 1.5 {
			sd := append([]float64(nil), top.sd...)
			sd[k] += reach
			var err error
			if _, log, err = density.at(sd); err != nil {
				return nil, err
			}
		}
		step[a] = math.Max(fine.step*width[k], reach/fine.most)
		start[a] = max(0, int(math.Round(top.sd[k]/step[a]-0.5)))
	}
	avg := newAverage(s)
	seen := map[place]bool{start: true}
	queue := []place{start}
	for len(queue) > 0 {
		at := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		sd := append([]float64(nil), top.sd...)
		for a, k := range free {
			sd[k] = (float64(at[a]) + 0.5) * step[a]
		}
		o, log, err := density.at(sd)
		if err != nil {
			return nil, err
		}
		if log < -fine.drop && at != start {
			continue
		}
		o.invert()
		avg.add(o, math.Exp(log))
		for a := range d {
			for _, by := range []int{-1, 1} {
				next := at
				next[a] += by
				if next[a] >= 0 && !seen[next] {
					seen[next] = true
					queue = append(queue, next)
				}
			}
		}
	}
	e := avg.estimate()
	e.LogLik = top.logLik
	for _, k := range s.dim {
		e.VarVar[k] += 4 * e.Var[k] * sharp(width[k], wellKnown*top.sd[k])
	}
	return e, nil
}

// sharp is the variance of a spread that was taken as known because its width is within the limit.
func sharp(width, limit float64) float64 {
	if width > limit {
		return 0
	}
	return width * width
}

// width is the conditional standard deviation of spread k above the summit: how far up the log density falls by ½.
func (p *spreadDensity) width(top []float64, k int) (float64, error) {
	low, high := 0.0, math.Inf(1)
	w := p.s.scale(k).At / 2
	for range 60 {
		sd := append([]float64(nil), top...)
		sd[k] += w
		_, log, err := p.at(sd)
		if err != nil {
			return 0, err
		}
		switch {
		case log < -0.7:
			high = w
		case log > -0.3:
			low = w
		default:
			return w / math.Sqrt(-2*log), nil
		}
		if math.IsInf(high, 1) {
			w *= 2
		} else {
			w = (low + high) / 2
		}
	}
	return w, nil
}

// average gathers the moments of a mixture of solutions.
type average struct {
	s        *system
	w        float64
	points   int
	ca, cb   []float64
	vaa, vab *mat.Dense
	vbb      []float64
	sd, m2   []float64
	m4       []float64
}

func newAverage(s *system) *average {
	k := len(s.m.Factors) + 1
	a := &average{s: s, ca: make([]float64, s.na), cb: make([]float64, s.nb), vbb: make([]float64, s.nb),
		sd: make([]float64, k), m2: make([]float64, k), m4: make([]float64, k)}
	if s.na > 0 {
		a.vaa = mat.NewDense(s.na, s.na, nil)
		if s.nb > 0 {
			a.vab = mat.NewDense(s.na, s.nb, nil)
		}
	}
	return a
}

// add takes in the second moments (not yet the covariances) of one solution.
func (a *average) add(o *solved, w float64) {
	a.w += w
	a.points++
	for k, x := range o.sd {
		a.sd[k] += w * x
		a.m2[k] += w * x * x
		a.m4[k] += w * x * x * x * x
	}
	for l, u := range o.cb {
		a.cb[l] += w * u
		a.vbb[l] += w * (o.vbb[l] + u*u)
	}
	if a.vaa != nil {
		sum, one := a.vaa.RawMatrix().Data, o.vaa.RawMatrix().Data
		for i, x := range o.ca {
			a.ca[i] += w * x
			row, from := sum[i*a.s.na:(i+1)*a.s.na], one[i*a.s.na:(i+1)*a.s.na]
			for j, y := range o.ca {
				row[j] += w * (from[j] + x*y)
			}
		}
	}
	if a.vab != nil {
		sum, one := a.vab.RawMatrix().Data, o.vab.RawMatrix().Data
		for i, x := range o.ca {
			row, from := sum[i*a.s.nb:(i+1)*a.s.nb], one[i*a.s.nb:(i+1)*a.s.nb]
			for l, u := range o.cb {
				row[l] += w * (from[l] + x*u)
			}
		}
	}
}

func (a *average) estimate() *Estimate {
	scale := 1 / a.w
	for _, v := range [][]float64{a.ca, a.cb, a.vbb, a.sd, a.m2, a.m4} {
		for i := range v {
			v[i] *= scale
		}
	}
	e := &Estimate{SD: a.sd, Var: a.m2, VarVar: a.m4, Points: a.points, s: a.s, ca: a.ca, cb: a.cb, vaa: a.vaa, vab: a.vab, vbb: a.vbb}
	for k, v := range e.Var {
		e.VarVar[k] = math.Max(0, e.VarVar[k]-v*v)
	}
	for l, u := range e.cb {
		e.vbb[l] -= u * u
	}
	if e.vaa != nil {
		e.vaa.Apply(func(i, j int, v float64) float64 { return v*scale - e.ca[i]*e.ca[j] }, e.vaa)
	}
	if e.vab != nil {
		e.vab.Apply(func(i, l int, v float64) float64 { return v*scale - e.ca[i]*e.cb[l] }, e.vab)
	}
	return e
}

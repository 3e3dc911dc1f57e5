package balance

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Adjustment is one least-squares solution. Values and SD are in the order of the
// network's streams and in its unit: measured streams adjusted, observable ones
// computed, exact ones as given with SD 0, unobservable ones NaN with SD +Inf.
type Adjustment struct {
	Values []float64
	SD     []float64
	Global GlobalTest

	m      *model
	b      *border
	joint  []float64 // shared effects, then errors of the suspects
	lambda []float64 // S⁻¹ r
}

// GlobalTest is the chi-square test of all balances together.
type GlobalTest struct {
	Statistic float64
	Dof       int     // independent balances less suspects
	P         float64 // chance of a statistic at least as large when nothing is wrong; 1 without balances
}

// suspectColumn returns the column of the k-th suspect, which come after the effects.
func (a *Adjustment) suspectColumn(k int) int { return len(a.m.effect) + k }

// adjust solves with a list of weighings set aside. What it costs most, the standard
// deviations, and the unmeasured streams are left to complete, since the search for
// suspects needs them only at its end.
func (m *model) adjust(b *border) (*Adjustment, error) {
	n := len(m.net.Streams)
	a := &Adjustment{m: m, b: b, Values: make([]float64, n), SD: make([]float64, n)}
	a.joint = make([]float64, len(b.w))
	a.lambda = make([]float64, len(m.row))
	for i, s := range m.net.Streams {
		if s.Given != Unmeasured {
			a.Values[i] = s.Value
		}
	}
	r := a.misclosures()
	a.correct(r)
	a.correct(a.misclosures()) // once more for what rounding left
	if err := a.closes(); err != nil {
		return nil, err
	}
	a.Global.Statistic = floats.Dot(r, a.lambda)
	a.Global.Dof = len(m.row) - len(b.suspects)
	a.Global.P = chiSquareTail(a.Global.Statistic, a.Global.Dof)
	return a, nil
}

// complete computes the standard deviations and the unmeasured streams.
func (a *Adjustment) complete() {
	for i, s := range a.m.status {
		if s == Redundant || s == NonRedundant {
			f, t := a.m.single(i, a.b)
			a.SD[i] = deviation(a.variance(f, t, a.b.only(i)), f.v)
		}
	}
	a.fillGaps()
}

// misclosures returns R x - rhs at the present values.
func (a *Adjustment) misclosures() []float64 {
	r := make([]float64, len(a.m.row))
	for k, row := range a.m.row {
		r[k] = row.dot(a.Values) - a.m.rhs[k]
	}
	return r
}

// correct moves the measured streams so that misclosures r vanish.
func (a *Adjustment) correct(r []float64) {
	m, b := a.m, a.b
	hits := make([]float64, len(b.w)) // W'r
	for k, w := range b.w {
		hits[k] = floats.Dot(w, r)
	}
	joint := b.times(hits)
	lambda := slices.Clone(r)
	m.fac.solve(lambda)
	for k, w := range b.w {
		floats.AddScaled(lambda, -joint[k], w)
	}
	for i := range a.Values {
		a.Values[i] -= m.d[i] * m.col[i].dot(lambda)
		for _, l := range m.shared[i] {
			a.Values[i] -= l.size * joint[l.effect]
		}
	}
	for k, i := range b.suspects {
		a.Values[i] -= joint[a.suspectColumn(k)]
	}
	floats.Add(a.joint, joint)
	floats.Add(a.lambda, lambda)
}

// fillGaps computes the unmeasured streams.
func (a *Adjustment) fillGaps() {
	m := a.m
	m.complete(a.Values, true)
	turn := make([][]float64, len(a.b.suspects)) // what a unit of each suspect changes
	for k, i := range a.b.suspects {
		turn[k] = make([]float64, len(a.Values))
		turn[k][i] = 1
		m.complete(turn[k], false)
	}
	at := make([]float64, len(a.b.suspects))
	for _, g := range m.gaps {
		for k := range at {
			at[k] = turn[k][g.stream]
		}
		a.SD[g.stream] = deviation(a.variance(g.f, a.b.across(g.f.w), at), g.f.v)
	}
	for i, s := range m.status {
		if s == Unobservable {
			a.Values[i], a.SD[i] = math.NaN(), math.Inf(1)
		}
	}
}

// closes checks the promise that adjusted values close their balances.
func (a *Adjustment) closes() error {
	m := a.m
	for k, row := range m.row {
		off, size, round := -m.rhs[k], math.Abs(m.rhs[k]), 0.0
		for _, e := range row {
			s := &m.net.Streams[e.at]
			off += e.v * a.Values[e.at]
			size += math.Abs(e.v) * (math.Abs(a.Values[e.at]) + math.Abs(s.Value))
			round += math.Abs(e.v) * (m.sys.most + s.U)
		}
		if !(math.Abs(off) <= 1e-6*size+1e-12*round) {
			return fmt.Errorf("%w: %v miss by a share of %.1g of their masses",
				ErrConditioning, m.sys.together(m.kept[k]), math.Abs(off)/size)
		}
	}
	return nil
}

// single returns the functional of one measured stream, without its w, and W'w: the
// selected inverse and the border already hold all that its variance needs.
func (m *model) single(i int, b *border) (f functional, t []float64) {
	f = functional{g: vec{{int32(i), 1}}, v: m.d[i], sq: m.d[i] * m.d[i] * m.q0[i]}
	if len(b.w) == 0 {
		return f, nil
	}
	t = b.across(m.col[i])
	loads := m.shared[i]
	for _, l := range loads {
		f.v += l.size * l.size
		f.sq += 2 * l.size * m.d[i] * t[l.effect]
		for _, o := range loads {
			f.sq += l.size * o.size * b.g[l.effect][o.effect]
		}
	}
	floats.Scale(m.d[i], t)
	for _, l := range loads {
		floats.AddScaled(t, l.size, b.g[l.effect])
	}
	return f, t
}

// variance returns the variance of a linear form of the adjusted streams: g'Vg - w'S⁻¹w,
// and for suspects what their unknown errors take and give. t is W'w and at the form's
// coefficients of the suspects.
func (a *Adjustment) variance(f functional, t, at []float64) float64 {
	v := f.v - f.sq
	if len(a.b.w) == 0 {
		return v
	}
	v += a.b.quad(t)
	for k, g := range at {
		if g == 0 {
			continue
		}
		c := a.suspectColumn(k)
		v -= 2 * g * floats.Dot(a.b.m[c], t)
		for l, h := range at {
			v += g * h * a.b.m[c][a.suspectColumn(l)]
		}
	}
	return v
}

// deviation is the square root of a variance; what is so small against the variance
// before adjustment that it is made of rounding is 0.
func deviation(v, prior float64) float64 {
	if v <= 1e-10*prior {
		return 0
	}
	return math.Sqrt(v)
}

// Combine returns Σ coefficient × stream of the adjusted streams and its standard
// deviation, with all covariances: the loss of a year, for example. It refuses unknown
// streams and sums that the balances do not fix.
func (a *Adjustment) Combine(terms ...Term) (value, sd float64, err error) {
	f, base, err := a.form(terms)
	if err != nil {
		return 0, 0, err
	}
	v := a.variance(f, a.b.across(f.w), a.b.at(f.g))
	return base + f.g.dot(a.Values), deviation(v, f.v), nil
}

func (a *Adjustment) form(terms []Term) (functional, float64, error) {
	var form vec
	for _, t := range terms {
		i, ok := a.m.at[t.Stream]
		if !ok {
			return functional{}, 0, &InputError{Field: "stream", Value: t.Stream, Want: "a stream of the network"}
		}
		if !finite(t.Coef) {
			return functional{}, 0, &InputError{Field: "coef", Value: t.Coef, Want: "a finite number"}
		}
		form = append(form, entry{int32(i), t.Coef})
	}
	base, g, fixed := newExpansion(a.m).of(tidy(form))
	if !fixed {
		return functional{}, 0, &InputError{Field: "terms", Value: terms, Want: "a sum that the balances fix"}
	}
	return a.m.functional(tidy(slices.Clone(g)), make([]float64, len(a.m.row))), base, nil
}

// Covariance returns the covariance matrix of the named adjusted streams, in their
// order and the squared unit of the network. It refuses unknown and unobservable
// streams.
func (a *Adjustment) Covariance(streams ...string) (*mat.SymDense, error) {
	if len(streams) == 0 {
		return &mat.SymDense{}, nil
	}
	fs := make([]functional, len(streams))
	for i, id := range streams {
		f, _, err := a.form([]Term{{id, 1}})
		if err != nil {
			return nil, err
		}
		fs[i] = f
	}
	out := mat.NewSymDense(len(streams), nil)
	for i, f := range fs {
		x := make([]float64, len(a.m.row)) // S'⁻¹ w, then its products with the others
		for _, e := range f.w {
			x[e.at] += e.v
		}
		a.m.fac.solve(x)
		mt := a.b.times(a.b.across(f.w))
		for k, w := range a.b.w {
			floats.AddScaled(x, -mt[k], w)
		}
		for j, h := range fs[:i+1] {
			v := a.prior(f, h) - h.w.dot(x)
			if len(a.b.suspects) > 0 {
				mh := a.b.times(a.b.across(h.w))
				af, ah := a.b.at(f.g), a.b.at(h.g)
				for k := range af {
					c := a.suspectColumn(k)
					v -= ah[k]*mt[c] + af[k]*mh[c]
					for l := range ah {
						v += af[k] * ah[l] * a.b.m[c][a.suspectColumn(l)]
					}
				}
			}
			if i == j {
				v = math.Max(0, v)
			}
			out.SetSym(i, j, v)
		}
	}
	return out, nil
}

// prior returns the covariance of two forms of the measured values, g'Vh.
func (a *Adjustment) prior(f, h functional) float64 {
	var v float64
	for _, e := range f.g {
		v += e.v * h.g.find(e.at) * a.m.d[e.at]
	}
	for k, s := range f.size {
		v += s * h.size[k]
	}
	return v
}

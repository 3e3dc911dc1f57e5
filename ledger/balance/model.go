package balance

import (
	"math"
	"slices"
)

// model is a network made ready: unmeasured streams eliminated, dependent rows
// dropped, each row brought to unit variance, the normal matrix S0 = R D R' of the
// streams' own errors factored. Shared effects and suspected errors come in through
// a border.
type model struct {
	net    *Network
	status []Status
	sys    *rows   // all rows after elimination, unscaled
	pivots []pivot // rows of sys that give unmeasured streams
	kept   []int   // rows of sys that are held against each other
	row    []vec   // those rows, scaled, over streams
	col    []vec   // transposed: per stream
	rhs    []float64
	d      []float64 // own variances
	shared [][]load  // per stream, each effect once
	effect []vec     // per shared effect, its column over rows
	fac    *factor
	q0     []float64 // per stream: column' S0⁻¹ column
	gaps   []gap     // the observable unmeasured streams
	at     map[string]int
}

// load is the size of a shared effect on a stream.
type load struct {
	effect int
	size   float64
}

// gap is an observable unmeasured stream, a sum over measured ones.
type gap struct {
	stream int
	f      functional // without g, which may be long
}

// functional is a linear form over the measured streams, with what its variance needs.
type functional struct {
	g    vec       // coefficients by stream
	size []float64 // per shared effect, nil when there are none
	w    vec       // R V g over rows
	v    float64   // g' V g
	sq   float64   // w' S0⁻¹ w
}

// prepare turns a network into a model.
func prepare(n *Network) (*model, error) {
	at, err := n.index()
	if err != nil {
		return nil, err
	}
	m := &model{net: n, at: at}
	if m.sys, err = n.assemble(at); err != nil {
		return nil, err
	}
	count := len(n.Streams)
	unmeasured := make([]bool, count)
	for i, s := range n.Streams {
		unmeasured[i] = s.Given == Unmeasured
	}
	m.pivots = m.sys.eliminate(func(c int32) bool { return unmeasured[c] }, count)
	if err := m.reduce(count); err != nil {
		return nil, err
	}
	m.classify(unmeasured)
	if err := m.normal(); err != nil {
		return nil, err
	}
	m.fillGaps()
	return m, nil
}

// reduce keeps the independent rows without unmeasured streams and scales them.
func (m *model) reduce(count int) error {
	taken := make([]bool, len(m.sys.row))
	for _, p := range m.pivots {
		taken[p.row] = true
	}
	rest := &rows{names: m.sys.names, most: m.sys.most}
	var from []int
	for r := range m.sys.row {
		if taken[r] {
			continue
		}
		if err := m.sys.contradiction(r); err != nil {
			return err
		}
		if len(m.sys.row[r]) == 0 {
			continue
		}
		from = append(from, r)
		rest.row = append(rest.row, m.sys.row[r])
		rest.rhs = append(rest.rhs, m.sys.rhs[r])
		rest.size = append(rest.size, m.sys.size[r])
		rest.origin = append(rest.origin, m.sys.origin[r])
	}
	kept, err := rest.independent(count)
	if err != nil {
		return err
	}
	m.d = make([]float64, count)
	for i, s := range m.net.Streams {
		if s.Given == Measured {
			m.d[i] = s.U * s.U
		}
	}
	for _, k := range kept {
		m.kept = append(m.kept, from[k])
		var v float64
		for _, e := range rest.row[k] {
			v += e.v * e.v * m.d[e.at]
		}
		scale := 1 / math.Sqrt(v)
		row := slices.Clone(rest.row[k])
		for i := range row {
			row[i].v *= scale
		}
		m.row = append(m.row, row)
		m.rhs = append(m.rhs, rest.rhs[k]*scale)
	}
	m.col = transpose(m.row, count)
	return nil
}

// classify gives every stream its status.
func (m *model) classify(unmeasured []bool) {
	loose := m.sys.undetermined(m.pivots, unmeasured)
	m.status = make([]Status, len(m.net.Streams))
	for i, s := range m.net.Streams {
		switch {
		case s.Given == Exact:
			m.status[i] = Known
		case s.Given == Measured && len(m.col[i]) > 0:
			m.status[i] = Redundant
		case s.Given == Measured:
			m.status[i] = NonRedundant
		case loose[i]:
			m.status[i] = Unobservable
		default:
			m.status[i] = Observable
		}
	}
}

// normal builds and factors S0, and collects the shared effects.
func (m *model) normal() error {
	n := len(m.row)
	off := make([]vec, n)
	dia := make([]float64, n)
	for i := range n {
		var list vec
		for _, e := range m.row[i] {
			for _, o := range m.col[e.at] {
				if v := e.v * o.v * m.d[e.at]; int(o.at) == i {
					dia[i] += v
				} else {
					list = append(list, entry{o.at, v})
				}
			}
		}
		off[i] = merge(list)
	}
	var err error
	if m.fac, err = decompose(off, dia); err != nil {
		return err
	}
	m.q0 = make([]float64, len(m.col))
	for i, c := range m.col {
		for k, a := range c {
			m.q0[i] += a.v * a.v * m.fac.inverse(a.at, a.at)
			for _, b := range c[:k] {
				m.q0[i] += 2 * a.v * b.v * m.fac.inverse(a.at, b.at)
			}
		}
	}
	m.collectShared()
	return nil
}

// merge adds up entries of one index, and keeps sums that are zero: they mark rows
// that share a stream, for which the inverse is wanted.
func merge(v vec) vec {
	slices.SortStableFunc(v, func(a, b entry) int { return int(a.at) - int(b.at) })
	out := v[:0]
	for _, e := range v {
		if k := len(out) - 1; k >= 0 && out[k].at == e.at {
			out[k].v += e.v
		} else {
			out = append(out, e)
		}
	}
	return out
}

func (m *model) collectShared() {
	m.shared = make([][]load, len(m.net.Streams))
	number := make(map[string]int)
	for i, s := range m.net.Streams {
		for _, e := range s.Shared {
			k, ok := number[e.Effect]
			if !ok {
				k = len(m.effect)
				number[e.Effect] = k
				m.effect = append(m.effect, nil)
			}
			if j := slices.IndexFunc(m.shared[i], func(l load) bool { return l.effect == k }); j >= 0 {
				m.shared[i][j].size += e.Size
			} else {
				m.shared[i] = append(m.shared[i], load{k, e.Size})
			}
			for _, c := range m.col[i] {
				m.effect[k] = append(m.effect[k], entry{c.at, c.v * e.Size})
			}
		}
	}
	for k := range m.effect {
		m.effect[k] = tidy(m.effect[k])
	}
}

// fillGaps expresses each observable unmeasured stream by measured ones.
func (m *model) fillGaps() {
	scratch := make([]float64, len(m.row))
	expand := newExpansion(m)
	for _, p := range m.pivots {
		if m.status[p.col] == Observable {
			_, g, _ := expand.of(vec{{p.col, 1}})
			f := m.functional(g, scratch)
			f.g = nil
			m.gaps = append(m.gaps, gap{int(p.col), f})
		}
	}
}

// functional prepares a linear form over measured streams; scratch is a zero vector
// over rows and is left so.
func (m *model) functional(g vec, scratch []float64) functional {
	f := functional{g: g}
	if len(m.effect) > 0 {
		f.size = make([]float64, len(m.effect))
	}
	for _, e := range g {
		f.v += e.v * e.v * m.d[e.at]
		for _, c := range m.col[e.at] {
			f.w = append(f.w, entry{c.at, e.v * m.d[e.at] * c.v})
		}
		for _, s := range m.shared[e.at] {
			f.size[s.effect] += e.v * s.size
		}
	}
	for k, s := range f.size {
		f.v += s * s
		if s != 0 {
			for _, c := range m.effect[k] {
				f.w = append(f.w, entry{c.at, s * c.v})
			}
		}
	}
	f.w = merge(f.w)
	f.sq = m.fac.quad(f.w, scratch)
	return f
}

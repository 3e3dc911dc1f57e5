package program

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// dict is a dictionary x_B = T x_N, c·x = d x_N over scaled floats. Any of its
// bases is dual feasible for any bounds of the boxed columns (a column goes to
// the end of its box that its reduced cost asks for), so a search tree may jump
// from node to node and only repair the primal side.
type dict struct {
	im      *image
	m, n    int
	t       [][]float64
	d       []float64
	trueD   []float64 // d without the shift that breaks ties, while shifted
	shifted bool
	by      []float64 // by variable, the shift of its cost
	basic   []int32
	nonb    []int32
	place   []int32 // variable → column, or ^row
	up      []bool
	lo, hi  []float64
	nlo     []float64 // the node's bounds; lo and hi are these but for invented ones
	nhi     []float64
	fake    []bool    // the bound was invented to have a dual feasible start
	xn      []float64 // by column
	beta    []float64 // by row
	cand    []int32
	rat     []float64
	since   int // pivots since the dictionary was built
	pivots  int
	badRow  int
	badUp   bool
}

func newDict(im *image) *dict {
	m, n := im.m, im.n
	s := &dict{im: im, m: m, n: n,
		t: make([][]float64, m), d: make([]float64, n), trueD: make([]float64, n), by: make([]float64, n+m),
		basic: make([]int32, m), nonb: make([]int32, n), place: make([]int32, n+m),
		up: make([]bool, n+m), lo: make([]float64, n+m), hi: make([]float64, n+m),
		fake: make([]bool, n+m), xn: make([]float64, n), beta: make([]float64, m)}
	back := make([]float64, m*n)
	for i := range m {
		s.t[i] = back[i*n : (i+1)*n : (i+1)*n]
	}
	s.reset()
	s.bounds(im.flo, im.fhi)
	return s
}

// reset goes back to the basis of logicals.
func (s *dict) reset() {
	for i := range s.m {
		copy(s.t[i], s.im.a[i])
		s.basic[i] = int32(s.n + i)
		s.place[s.n+i] = int32(^i)
	}
	copy(s.d, s.im.cost)
	if s.shifted {
		copy(s.trueD, s.im.cost)
		for j := range s.d {
			s.d[j] += s.by[j]
		}
		for i, row := range s.t {
			floats.AddScaled(s.d, s.by[s.n+i], row)
		}
	}
	for j := range s.n {
		s.nonb[j] = int32(j)
		s.place[j] = int32(j)
	}
	s.since = 0
}

// rebuild computes the dictionary of the present basis from the programme's
// own numbers, taking large pivots first.
func (s *dict) rebuild() {
	in := make([]bool, s.n+s.m)
	for _, v := range s.basic {
		in[v] = true
	}
	s.reset()
	for {
		row, col, best := -1, -1, 1e-10
		for i := range s.m {
			if in[s.basic[i]] {
				continue
			}
			for j := range s.n {
				if in[s.nonb[j]] {
					if v := math.Abs(s.t[i][j]); v > best {
						row, col, best = i, j, v
					}
				}
			}
		}
		if row < 0 {
			break
		}
		s.pivot(row, col)
	}
	s.since = 0
	for j, v := range s.nonb {
		s.xn[j] = s.value(v)
	}
	s.values()
}

// bounds takes over a node's bounds and puts every resting variable where its
// reduced cost wants it.
func (s *dict) bounds(lo, hi []float64) {
	s.nlo, s.nhi = lo, hi
	copy(s.lo, lo)
	copy(s.hi, hi)
	s.rest()
}

// rest gives the resting variables their ends; those without the one they need get
// an invented one.
func (s *dict) rest() {
	for j, v := range s.nonb {
		d := s.d[j]
		if s.fake[v] {
			s.fake[v] = false
			s.lo[v], s.hi[v] = s.nlo[v], s.nhi[v]
		}
		l, h := s.lo[v], s.hi[v]
		down, above := !math.IsInf(l, 0), !math.IsInf(h, 0)
		switch {
		case d > dualTol && !down:
			s.fake[v] = true
			s.lo[v] = math.Min(0, h) - fakeBound
			s.up[v] = false
		case d < -dualTol && !above:
			s.fake[v] = true
			s.hi[v] = math.Max(0, l) + fakeBound
			s.up[v] = true
		case d > dualTol:
			s.up[v] = false
		case d < -dualTol:
			s.up[v] = true
		case s.up[v] && !above:
			s.up[v] = false
		case !s.up[v] && !down && above:
			s.up[v] = true
		}
		if x := s.value(v); x != s.xn[j] {
			s.move(j, x)
		}
	}
}

// move puts the resting variable of column j at x.
func (s *dict) move(j int, x float64) {
	by := x - s.xn[j]
	s.xn[j] = x
	for i, row := range s.t {
		s.beta[i] += row[j] * by
	}
}

// fakeBound closes a column that its cost would let run away. If the search
// comes to rest on it, the exact simplex is asked.
const fakeBound = 1e8

func (s *dict) value(v int32) float64 {
	x := s.lo[v]
	if s.up[v] {
		x = s.hi[v]
	}
	if math.IsInf(x, 0) {
		return 0
	}
	return x
}

func (s *dict) values() {
	for i, row := range s.t {
		z := 0.0
		for j, x := range s.xn {
			z += row[j] * x
		}
		s.beta[i] = z
	}
}

func (s *dict) objective() float64 {
	return floats.Dot(s.d, s.xn)
}

// pivot exchanges the basic variable of row r with the one of column c.
func (s *dict) pivot(r, c int) {
	pr := s.t[r]
	inv := 1 / pr[c]
	for j := range pr {
		pr[j] *= -inv
	}
	pr[c] = inv
	for i, row := range s.t {
		if i != r {
			substitute(row, c, pr)
		}
	}
	substitute(s.d, c, pr)
	if s.shifted {
		substitute(s.trueD, c, pr)
	}
	out, in := s.basic[r], s.nonb[c]
	s.basic[r], s.nonb[c] = in, out
	s.place[in], s.place[out] = int32(^r), int32(c)
	s.since++
}

// substitute puts pr in the place of column c.
func substitute(row []float64, c int, pr []float64) {
	if f := row[c]; f != 0 {
		row[c] = 0
		floats.AddScaled(row, f, pr)
	}
}

func (s *dict) basis() *basis {
	b := &basis{basic: append([]int32(nil), s.basic...), up: append([]bool(nil), s.up...)}
	return b
}

// copyFrom makes s the same as o.
func (s *dict) copyFrom(o *dict) {
	for i := range s.t {
		copy(s.t[i], o.t[i])
	}
	copy(s.d, o.d)
	copy(s.basic, o.basic)
	copy(s.nonb, o.nonb)
	copy(s.place, o.place)
	copy(s.up, o.up)
	copy(s.lo, o.lo)
	copy(s.hi, o.hi)
	copy(s.fake, o.fake)
	copy(s.xn, o.xn)
	copy(s.beta, o.beta)
	s.since, s.nlo, s.nhi, s.shifted = o.since, o.nlo, o.nhi, false
}

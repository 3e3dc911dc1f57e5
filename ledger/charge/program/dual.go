package program

import "math"

// outcome is what the float search says about one relaxation. None of them is
// believed without a proof (see bound.go).
type outcome int

const (
	solved     outcome = iota // primal and dual feasible within tolerance
	beyond                    // objective past the cutoff
	empty                     // row badRow cannot be met
	trouble                   // rounding or cycling: ask the exact simplex
	unfinished                // the steps allowed were used up
)

const (
	feasTol  = 1e-9 // of a bound, relative to 1 + its size
	dualTol  = 1e-9 // of a reduced cost, after scaling
	pivotTol = 1e-8 // smallest entry to pivot on, after scaling
	refresh  = 64   // pivots before the dictionary is built anew
)

// dict is a dictionary x_B = T x_N, c·x = d x_N over scaled floats. Any of its
// bases is dual feasible for any bounds of the boxed columns (a column goes to
// the end of its box that its reduced cost asks for), so a search tree may jump
// from node to node and only repair the primal side.
type dict struct {
	im     *image
	m, n   int
	t      [][]float64
	d      []float64
	basic  []int32
	nonb   []int32
	place  []int32 // variable → column, or ^row
	up     []bool
	lo, hi []float64
	nlo    []float64 // the node's bounds; lo and hi are these but for invented ones
	nhi    []float64
	fake   []bool    // the bound was invented to have a dual feasible start
	xn     []float64 // by column
	beta   []float64 // by row
	weight []float64 // by row, steepest-edge reference
	cand   []int32
	rat    []float64
	since  int // pivots since the dictionary was built
	pivots int
	badRow int
	badUp  bool
}

func newDict(im *image) *dict {
	m, n := im.m, im.n
	s := &dict{im: im, m: m, n: n,
		t: make([][]float64, m), d: make([]float64, n),
		basic: make([]int32, m), nonb: make([]int32, n), place: make([]int32, n+m),
		up: make([]bool, n+m), lo: make([]float64, n+m), hi: make([]float64, n+m),
		fake: make([]bool, n+m), xn: make([]float64, n), beta: make([]float64, m), weight: make([]float64, m)}
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
	for j := range s.n {
		s.nonb[j] = int32(j)
		s.place[j] = int32(j)
	}
	for i := range s.m {
		s.weight[i] = 1
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
	w := make([]float64, s.n+s.m)
	for i, v := range s.basic {
		w[v] = s.weight[i]
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
	for i, v := range s.basic {
		if s.weight[i] = w[v]; s.weight[i] == 0 {
			s.weight[i] = 1
		}
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
	z := 0.0
	for j, x := range s.xn {
		z += s.d[j] * x
	}
	return z
}

// solve runs the dual simplex from the present basis. cutoff is in scaled
// objective units; most is the number of steps allowed.
func (s *dict) solve(cutoff float64, most int) outcome {
	patient := 4*(s.m+s.n) + 40
	for it := 0; ; it++ {
		if it >= most {
			return unfinished
		}
		if it > 6*patient {
			return trouble
		}
		if s.since >= refresh {
			s.rebuild()
			s.rest()
		}
		if !math.IsInf(cutoff, 1) && s.objective() > cutoff {
			return beyond
		}
		r, lack := s.leaving(it > patient)
		if r < 0 {
			return s.finish()
		}
		c := s.enteringCol(r, lack, it > patient)
		if c < 0 {
			if s.since > 0 && c == retry {
				s.rebuild()
				s.rest()
				continue
			}
			s.badRow, s.badUp = r, lack < 0
			return empty
		}
		goal, up := s.lo[s.basic[r]], false
		if lack < 0 {
			goal, up = s.hi[s.basic[r]], true
		}
		step := (goal - s.beta[r]) / s.t[r][c]
		for i, row := range s.t {
			s.beta[i] += row[c] * step
		}
		enters := s.xn[c] + step
		s.up[s.basic[r]] = up
		s.pivot(r, c)
		s.xn[c], s.beta[r] = goal, enters
		s.pivots++
	}
}

func (s *dict) finish() outcome {
	for _, v := range s.nonb {
		if s.fake[v] && (s.up[v] && math.IsInf(s.nhi[v], 1) || !s.up[v] && math.IsInf(s.nlo[v], -1)) {
			return trouble
		}
	}
	return solved
}

// leaving picks the row whose violation is largest for its weight; lack is what
// it misses, negative when it is too large.
func (s *dict) leaving(least bool) (row int, lack float64) {
	row = -1
	best := 0.0
	for i, v := range s.basic {
		b := s.beta[i]
		miss := 0.0
		if l := s.lo[v]; b < l {
			if miss = l - b; miss <= feasTol*(1+math.Abs(l)) {
				continue
			}
		} else if h := s.hi[v]; b > h {
			if miss = h - b; -miss <= feasTol*(1+math.Abs(h)) {
				continue
			}
		} else {
			continue
		}
		if least {
			if row < 0 || v < s.basic[row] {
				row, lack = i, miss
			}
		} else if q := miss * miss / s.weight[i]; q > best {
			best, row, lack = q, i, miss
		}
	}
	return row, lack
}

const retry = -2

// enteringCol is the ratio test with bound flipping. It flips the boxed columns
// that the dual step passes, and returns the column that stops it, −1 when the
// row cannot be met even so, retry when the only pivots are too small to trust.
func (s *dict) enteringCol(r int, lack float64, least bool) int {
	row := s.t[r]
	sgn := 1.0
	if lack < 0 {
		sgn = -1
	}
	s.cand, s.rat = s.cand[:0], s.rat[:0]
	tiny := false
	for j, v := range s.nonb {
		a := row[j]
		if a == 0 || s.lo[v] == s.hi[v] {
			continue
		}
		a *= sgn
		d := s.d[j]
		if s.up[v] {
			a, d = -a, -d
		}
		if math.IsInf(s.lo[v], -1) && math.IsInf(s.hi[v], 1) {
			a, d = math.Abs(a), 0
		}
		if a <= 0 {
			continue
		}
		if a < pivotTol {
			tiny = tiny || a > 1e-12
			continue
		}
		s.cand = append(s.cand, int32(j))
		s.rat = append(s.rat, math.Max(d, 0)/a)
	}
	slope := math.Abs(lack)
	for len(s.cand) > 0 {
		reach := math.Inf(1)
		for k, j := range s.cand {
			reach = math.Min(reach, s.rat[k]+dualTol/math.Abs(row[j]))
		}
		// The group of columns within reach of the dual step.
		pick, biggest, drop := -1, 0.0, 0.0
		for k, j := range s.cand {
			if s.rat[k] > reach {
				continue
			}
			a := math.Abs(row[j])
			v := s.nonb[j]
			drop += a * (s.hi[v] - s.lo[v])
			if least {
				if pick < 0 || v < s.nonb[pick] {
					pick = int(j)
				}
			} else if a > biggest {
				pick, biggest = int(j), a
			}
		}
		if slope-drop <= 0 || least {
			return pick
		}
		slope -= drop
		keep := 0
		for k, j := range s.cand {
			if s.rat[k] > reach {
				s.cand[keep], s.rat[keep] = j, s.rat[k]
				keep++
				continue
			}
			s.flip(int(j))
		}
		s.cand, s.rat = s.cand[:keep], s.rat[:keep]
		if keep == 0 && slope <= feasTol*(1+math.Abs(s.beta[r])) {
			return retry
		}
	}
	if tiny {
		return retry
	}
	return -1
}

func (s *dict) flip(j int) {
	v := s.nonb[j]
	s.up[v] = !s.up[v]
	s.move(j, s.value(v))
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
		f := row[c]
		if i == r || f == 0 {
			continue
		}
		row[c] = 0
		axpy(row, f, pr)
	}
	if f := s.d[c]; f != 0 {
		s.d[c] = 0
		axpy(s.d, f, pr)
	}
	out, in := s.basic[r], s.nonb[c]
	s.basic[r], s.nonb[c] = in, out
	s.place[in], s.place[out] = int32(^r), int32(c)
	s.since++
}

// axpy adds f·b to a.
func axpy(a []float64, f float64, b []float64) {
	b = b[:len(a)]
	for j := range a {
		a[j] += f * b[j]
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
	copy(s.weight, o.weight)
	s.since, s.nlo, s.nhi = o.since, o.nlo, o.nhi
}

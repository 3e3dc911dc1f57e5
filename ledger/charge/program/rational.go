package program

import "math/big"

// rational is the exact simplex that decides where floats leave a doubt: a
// dictionary x_B = (N/D) x_N in whole numbers, primal with bounds, in two
// phases, least index throughout, so that it ends. Columns without a choice are
// summed up into one more, which rests at 1/unit.
type rational struct {
	im     *image
	lo, hi []*big.Rat
	t      [][]*big.Int // m × n
	obj    []*big.Int   // c·x = Σ obj/(den·cden) x_N
	den    *big.Int     // > 0
	basic  []int32
	nonb   []int32
	up     []bool
	xn     []*big.Rat
	beta   []*big.Rat
}

// decide solves the programme's relaxation within lo and hi exactly, starting
// at b when it is given. The pieces of it that are handed out: the vertex when
// optimal; a Farkas ray when infeasible.
func (im *image) decide(lo, hi []*big.Rat, b *basis) (*vertex, []*big.Rat, Status) {
	for v := range lo {
		if lo[v] != nil && hi[v] != nil && lo[v].Cmp(hi[v]) > 0 {
			return nil, im.unit(v), Infeasible
		}
	}
	s := newRational(im, lo, hi, b)
	for {
		s.values()
		grad, sick := s.gradient()
		enter, dir := s.entering(grad)
		if enter < 0 {
			if sick {
				return nil, s.farkas(grad), Infeasible
			}
			return s.vertex(), nil, Optimal
		}
		if !s.step(enter, dir) {
			return nil, nil, Unbounded
		}
	}
}

func newRational(im *image, lo, hi []*big.Rat, b *basis) *rational {
	s := &rational{im: im, den: big.NewInt(1), up: make([]bool, im.n+im.m+1)}
	place := make([]int, im.n)
	unit := big.NewInt(1)
	for j := range im.n {
		place[j] = -1
		if lo[j] == nil || hi[j] == nil || lo[j].Cmp(hi[j]) != 0 {
			place[j] = len(s.nonb)
			s.nonb = append(s.nonb, int32(j))
		} else {
			unit = lcm(unit, lo[j].Denom())
		}
	}
	last := len(s.nonb)
	s.nonb = append(s.nonb, int32(im.n+im.m))
	rest := new(big.Rat).SetFrac(big.NewInt(1), unit)
	s.lo = append(append([]*big.Rat{}, lo...), rest)
	s.hi = append(append([]*big.Rat{}, hi...), rest)
	whole := func(j int32) *big.Int { // value of a column without a choice, in units
		v := new(big.Int).Quo(unit, lo[j].Denom())
		return v.Mul(v, lo[j].Num())
	}
	blank := func() []*big.Int {
		row := make([]*big.Int, last+1)
		for j := range row {
			row[j] = new(big.Int)
		}
		return row
	}
	for i := range im.m {
		row := blank()
		for f, j := range im.idx[i] {
			if at := place[j]; at >= 0 {
				row[at].Set(im.num[i][f])
			} else if lo[j].Sign() != 0 {
				row[last].Add(row[last], new(big.Int).Mul(im.num[i][f], whole(j)))
			}
		}
		s.t = append(s.t, row)
		s.basic = append(s.basic, int32(im.n+i))
	}
	s.obj = blank()
	for j, at := range place {
		if at >= 0 {
			s.obj[at].Set(im.cnum[j])
		} else if lo[j].Sign() != 0 {
			s.obj[last].Add(s.obj[last], new(big.Int).Mul(im.cnum[j], whole(int32(j))))
		}
	}
	if b != nil {
		s.crash(b)
	}
	for _, v := range s.nonb[:last] {
		s.up[v] = s.lo[v] == nil && s.hi[v] != nil || b != nil && b.up[v] && s.hi[v] != nil
	}
	return s
}

// crash brings the basic columns of b in, as far as they are independent.
func (s *rational) crash(b *basis) {
	want := make([]bool, len(s.up))
	for _, v := range b.basic {
		want[v] = true
	}
	for j := range len(s.nonb) - 1 {
		if !want[s.nonb[j]] {
			continue
		}
		row := -1
		for i := range s.t {
			if !want[s.basic[i]] && s.t[i][j].Sign() != 0 &&
				(row < 0 || s.t[i][j].BitLen() < s.t[row][j].BitLen()) {
				row = i
			}
		}
		if row >= 0 {
			s.pivot(row, j)
		}
	}
}

func (s *rational) rest(v int32) *big.Rat {
	switch {
	case s.up[v]:
		return s.hi[v]
	case s.lo[v] != nil:
		return s.lo[v]
	}
	return new(big.Rat)
}

func (s *rational) values() {
	s.xn = s.xn[:0]
	for _, v := range s.nonb {
		s.xn = append(s.xn, s.rest(v))
	}
	s.beta = s.beta[:0]
	t := new(big.Rat)
	for i := range s.t {
		z := new(big.Rat)
		for j, x := range s.xn {
			if x.Sign() != 0 && s.t[i][j].Sign() != 0 {
				z.Add(z, t.Mul(x, t.SetInt(s.t[i][j])))
			}
		}
		s.beta = append(s.beta, z.Quo(z, t.SetInt(s.den)))
	}
}

// gradient is the slope of what is to be made smaller: the sum of the basic
// variables' violations while there are any (sick), then the objective.
func (s *rational) gradient() (g []*big.Int, sick bool) {
	for i, v := range s.basic {
		below := s.lo[v] != nil && s.beta[i].Cmp(s.lo[v]) < 0
		above := s.hi[v] != nil && s.beta[i].Cmp(s.hi[v]) > 0
		if !below && !above {
			continue
		}
		if !sick {
			sick = true
			g = make([]*big.Int, len(s.nonb))
			for j := range g {
				g[j] = new(big.Int)
			}
		}
		for j := range g {
			if below {
				g[j].Sub(g[j], s.t[i][j])
			} else {
				g[j].Add(g[j], s.t[i][j])
			}
		}
	}
	if sick {
		return g, true
	}
	return s.obj, false
}

func (s *rational) entering(g []*big.Int) (col, dir int) {
	col = -1
	for j, v := range s.nonb {
		sg := g[j].Sign()
		if sg == 0 || col >= 0 && v > s.nonb[col] {
			continue
		}
		if s.lo[v] != nil && s.hi[v] != nil && s.lo[v].Cmp(s.hi[v]) == 0 {
			continue
		}
		free := s.lo[v] == nil && s.hi[v] == nil
		if sg < 0 && (free || !s.up[v]) {
			col, dir = j, 1
		} else if sg > 0 && (free || s.up[v]) {
			col, dir = j, -1
		}
	}
	return col, dir
}

// step moves column c in direction dir until something blocks.
func (s *rational) step(c, dir int) bool {
	var best *big.Rat
	row, who, toUp := -1, int32(0), false
	consider := func(t *big.Rat, i int, v int32, up bool) {
		if best == nil || t.Cmp(best) < 0 || t.Cmp(best) == 0 && v < who {
			best, row, who, toUp = t, i, v, up
		}
	}
	v := s.nonb[c]
	if s.lo[v] != nil && s.hi[v] != nil {
		consider(new(big.Rat).Sub(s.hi[v], s.lo[v]), -1, v, dir > 0)
	}
	den := new(big.Rat).SetInt(s.den)
	for i, b := range s.basic {
		sg := s.t[i][c].Sign() * dir
		if sg == 0 {
			continue
		}
		var goal *big.Rat
		up := false
		if sg > 0 {
			if s.lo[b] != nil && s.beta[i].Cmp(s.lo[b]) < 0 {
				goal = s.lo[b]
			} else if s.hi[b] != nil && s.beta[i].Cmp(s.hi[b]) <= 0 {
				goal, up = s.hi[b], true
			}
		} else {
			if s.hi[b] != nil && s.beta[i].Cmp(s.hi[b]) > 0 {
				goal, up = s.hi[b], true
			} else if s.lo[b] != nil && s.beta[i].Cmp(s.lo[b]) >= 0 {
				goal = s.lo[b]
			}
		}
		if goal == nil {
			continue
		}
		t := new(big.Rat).Sub(goal, s.beta[i])
		t.Mul(t, den)
		t.Quo(t, new(big.Rat).SetInt(s.t[i][c]))
		consider(t.Abs(t), i, b, up)
	}
	switch {
	case best == nil:
		return false
	case row < 0:
		s.up[v] = toUp
	default:
		s.pivot(row, c)
		s.up[who] = toUp
	}
	return true
}

// pivot exchanges the basic variable of row r with the one of column c.
func (s *rational) pivot(r, c int) {
	p := new(big.Int).Set(s.t[r][c])
	var t big.Int
	update := func(row []*big.Int) {
		f := row[c]
		for j := range row {
			if j == c {
				continue
			}
			e := row[j]
			e.Mul(e, p)
			if f.Sign() != 0 && s.t[r][j].Sign() != 0 {
				e.Sub(e, t.Mul(f, s.t[r][j]))
			}
			e.Quo(e, s.den)
		}
	}
	for i := range s.t {
		if i != r {
			update(s.t[i])
		}
	}
	update(s.obj)
	for j := range s.t[r] {
		if j != c {
			s.t[r][j].Neg(s.t[r][j])
		}
	}
	s.t[r][c].Set(s.den)
	s.den.Set(p)
	if p.Sign() < 0 {
		s.den.Neg(s.den)
		for i := range s.t {
			for j := range s.t[i] {
				s.t[i][j].Neg(s.t[i][j])
			}
		}
		for j := range s.obj {
			s.obj[j].Neg(s.obj[j])
		}
	}
	s.basic[r], s.nonb[c] = s.nonb[c], s.basic[r]
}

// multipliers reads the rows' y from a gradient: the coefficients of the
// logicals that are not basic.
func (s *rational) multipliers(g []*big.Int, den *big.Int) []*big.Rat {
	y := make([]*big.Rat, s.im.m)
	for i := range y {
		y[i] = new(big.Rat)
	}
	for j, v := range s.nonb {
		if i := int(v) - s.im.n; i >= 0 && i < s.im.m {
			y[i].SetFrac(g[j], den)
		}
	}
	return y
}

// farkas is the combination of rows that cannot be met within the bounds: the
// slope of the sum of violations, which no move makes smaller.
func (s *rational) farkas(g []*big.Int) []*big.Rat {
	y := s.multipliers(g, s.den)
	for i, v := range s.basic {
		if int(v) < s.im.n {
			continue
		}
		if s.lo[v] != nil && s.beta[i].Cmp(s.lo[v]) < 0 {
			y[int(v)-s.im.n].SetInt64(1)
		} else if s.hi[v] != nil && s.beta[i].Cmp(s.hi[v]) > 0 {
			y[int(v)-s.im.n].SetInt64(-1)
		}
	}
	return y
}

func (s *rational) vertex() *vertex {
	im := s.im
	x := make([]*big.Rat, im.n+im.m)
	copy(x, s.lo) // those without a choice
	for i, v := range s.basic {
		x[v] = s.beta[i]
	}
	for j, v := range s.nonb {
		if int(v) < len(x) {
			x[v] = s.xn[j]
		}
	}
	y := s.multipliers(s.obj, new(big.Int).Mul(s.den, im.cden))
	return &vertex{x: x, obj: im.objective(x), y: y, d: im.reduced(y)}
}

// reduced is cost − y·A.
func (im *image) reduced(y []*big.Rat) []*big.Rat {
	d := make([]*big.Rat, im.n)
	for j := range d {
		d[j] = new(big.Rat).SetFrac(im.cnum[j], im.cden)
	}
	t := new(big.Rat)
	for i := range y {
		if y[i].Sign() != 0 {
			for f, j := range im.idx[i] {
				d[j].Sub(d[j], t.Mul(y[i], t.SetInt(im.num[i][f])))
			}
		}
	}
	return d
}

package program

import (
	"math"
	"math/big"
)

// image is a Problem made ready: the same rows in whole numbers for proofs and
// in scaled float64 for the search. Variables 0..n-1 are the columns, n..n+m-1
// the rows' activities ("logicals"), so that every row reads A x − s = 0 and
// all that a programme says beside it are bounds.
type image struct {
	n, m int

	// Whole numbers. Row i times den[i] is num[i]·x[idx[i]]; its logical is
	// counted in the same multiple. Costs are cnum/cden.
	idx    [][]int32
	num    [][]*big.Int
	den    []*big.Int
	cnum   []*big.Int
	cden   *big.Int
	lo, hi []*big.Rat // n+m, nil = none; whole columns have whole bounds

	// Floats. a[i][j] = r[i]·A[i][j]·q[j], x = q·x', s' = r·s, all factors
	// powers of two. Bounds are rounded outward. cost' = cost·q·cscale.
	a        [][]float64
	r, q     []float64
	cost     []float64
	cscale   float64
	flo, fhi []float64
	whole    []bool
	anyWhole bool
	dearest  *big.Rat // largest cost of a unit of a column
	grain    *big.Rat // the objective moves in steps of this; nil when it does not
}

func newImage(p *Problem) *image {
	n, m := len(p.Cols), len(p.Rows)
	im := &image{n: n, m: m,
		idx: make([][]int32, m), num: make([][]*big.Int, m), den: make([]*big.Int, m),
		cnum: make([]*big.Int, n), lo: make([]*big.Rat, n+m), hi: make([]*big.Rat, n+m),
		whole: make([]bool, n)}
	im.exactRows(p)
	im.exactCosts(p)
	for j, c := range p.Cols {
		im.lo[j], im.hi[j], im.whole[j] = c.Lo, c.Hi, c.Whole
		if c.Whole {
			im.anyWhole = true
			im.lo[j], im.hi[j] = ceilRat(c.Lo), floorRat(c.Hi)
		}
	}
	im.wholeRows()
	im.floats()
	return im
}

func (im *image) exactRows(p *Problem) {
	sum := make([]*big.Rat, im.n)
	for i, r := range p.Rows {
		var idx []int32
		for _, t := range r.Terms {
			if sum[t.Col] == nil {
				sum[t.Col] = t.Coef
				idx = append(idx, int32(t.Col))
			} else {
				sum[t.Col] = new(big.Rat).Add(sum[t.Col], t.Coef)
			}
		}
		den := big.NewInt(1)
		keep := idx[:0]
		for _, j := range idx {
			if sum[j].Sign() != 0 {
				keep = append(keep, j)
				den = lcm(den, sum[j].Denom())
			}
		}
		num := make([]*big.Int, len(keep))
		for k, j := range keep {
			v := new(big.Int).Quo(den, sum[j].Denom())
			num[k] = v.Mul(v, sum[j].Num())
		}
		for _, t := range r.Terms {
			sum[t.Col] = nil
		}
		im.idx[i], im.num[i], im.den[i] = keep, num, den
		f := new(big.Rat).SetInt(den)
		if r.Lo != nil {
			im.lo[im.n+i] = new(big.Rat).Mul(r.Lo, f)
		}
		if r.Hi != nil {
			im.hi[im.n+i] = new(big.Rat).Mul(r.Hi, f)
		}
	}
}

// wholeRows tightens the bounds of rows over whole columns only: such a row's
// activity is a multiple of the numbers' common divisor.
func (im *image) wholeRows() {
	for i, num := range im.num {
		gcd := new(big.Int)
		for k, j := range im.idx[i] {
			if !im.whole[j] {
				gcd = nil
				break
			}
			gcd.GCD(nil, nil, gcd, new(big.Int).Abs(num[k]))
		}
		if gcd == nil || gcd.Sign() == 0 {
			continue
		}
		g := new(big.Rat).SetInt(gcd)
		if v := im.n + i; im.lo[v] != nil {
			l := ceilRat(new(big.Rat).Quo(im.lo[v], g))
			im.lo[v] = new(big.Rat).Mul(l, g)
		}
		if v := im.n + i; im.hi[v] != nil {
			h := floorRat(new(big.Rat).Quo(im.hi[v], g))
			im.hi[v] = new(big.Rat).Mul(h, g)
		}
	}
}

// exactCosts also finds the objective's grain: when all columns with a cost are
// whole, every value of c·x is a multiple of the costs' common divisor.
func (im *image) exactCosts(p *Problem) {
	den, grain, gcd := big.NewInt(1), true, new(big.Int)
	for _, c := range p.Cols {
		if c.Cost != nil && c.Cost.Sign() != 0 {
			den = lcm(den, c.Cost.Denom())
			grain = grain && c.Whole
		}
	}
	for j, c := range p.Cols {
		im.cnum[j] = new(big.Int)
		if c.Cost != nil && c.Cost.Sign() != 0 {
			im.cnum[j].Mul(c.Cost.Num(), new(big.Int).Quo(den, c.Cost.Denom()))
			gcd.GCD(nil, nil, gcd, new(big.Int).Abs(im.cnum[j]))
		}
	}
	im.cden = den
	im.dearest = new(big.Rat)
	for _, c := range im.cnum {
		if a := new(big.Rat).SetFrac(new(big.Int).Abs(c), den); a.Cmp(im.dearest) > 0 {
			im.dearest = a
		}
	}
	if grain && gcd.Sign() != 0 {
		im.grain = new(big.Rat).SetFrac(gcd, den)
	}
}

func (im *image) floats() {
	n, m := im.n, im.m
	back := make([]float64, m*n)
	im.a = make([][]float64, m)
	im.r, im.q = make([]float64, m), make([]float64, n)
	q := new(big.Rat)
	for i := range m {
		im.a[i] = back[i*n : (i+1)*n : (i+1)*n]
		for k, j := range im.idx[i] {
			im.a[i][j], _ = q.SetFrac(im.num[i][k], im.den[i]).Float64()
		}
		im.r[i] = 1
	}
	for j := range n {
		im.q[j] = 1
	}
	im.scale()
	im.cost = make([]float64, n)
	top := 0.0
	for j := range n {
		im.cost[j], _ = q.SetFrac(im.cnum[j], im.cden).Float64()
		im.cost[j] *= im.q[j]
		top = math.Max(top, math.Abs(im.cost[j]))
	}
	im.cscale = 1
	if top > 0 {
		im.cscale = 1 / power(top)
	}
	for j := range n {
		im.cost[j] *= im.cscale
	}
	im.flo, im.fhi = make([]float64, n+m), make([]float64, n+m)
	for v := range n + m {
		if v < n {
			f := 1 / im.q[v]
			im.flo[v], im.fhi[v] = outward(im.lo[v], -1)*f, outward(im.hi[v], 1)*f
			continue
		}
		i := v - n
		f := im.r[i]
		d := new(big.Rat).SetFrac(big.NewInt(1), im.den[i])
		im.flo[v], im.fhi[v] = math.Inf(-1), math.Inf(1)
		if im.lo[v] != nil {
			im.flo[v] = outward(q.Mul(im.lo[v], d), -1) * f
		}
		if im.hi[v] != nil {
			im.fhi[v] = outward(q.Mul(im.hi[v], d), 1) * f
		}
	}
}

// scale brings the entries near 1 by a few geometric-mean passes. Whole columns
// keep their unit, so that whole stays whole.
func (im *image) scale() {
	for range 4 {
		for i := range im.m {
			least, most := math.Inf(1), 0.0
			for j, v := range im.a[i] {
				if v != 0 {
					v = math.Abs(v) * im.q[j]
					least, most = math.Min(least, v), math.Max(most, v)
				}
			}
			if most > 0 {
				im.r[i] = 1 / power(math.Sqrt(least)*math.Sqrt(most))
			}
		}
		for j := range im.n {
			if im.whole[j] {
				continue
			}
			least, most := math.Inf(1), 0.0
			for i := range im.m {
				if v := math.Abs(im.a[i][j]) * im.r[i]; v != 0 {
					least, most = math.Min(least, v), math.Max(most, v)
				}
			}
			if most > 0 {
				im.q[j] = 1 / power(math.Sqrt(least)*math.Sqrt(most))
			}
		}
	}
	for i := range im.m {
		for j := range im.a[i] {
			im.a[i][j] *= im.r[i] * im.q[j]
		}
	}
}

// power is the power of two nearest below f > 0.
func power(f float64) float64 {
	_, e := math.Frexp(f)
	return math.Ldexp(1, e-1)
}

// outward is v as a float that is not inside of it: not above for side −1, not
// below for side +1. nil is the infinity of that side.
func outward(v *big.Rat, side int) float64 {
	if v == nil {
		return math.Inf(side)
	}
	f, exact := v.Float64()
	if exact || math.IsInf(f, side) {
		return f
	}
	return math.Nextafter(f, math.Inf(side))
}

func lcm(a, b *big.Int) *big.Int {
	if b.IsInt64() && b.Int64() == 1 {
		return a
	}
	g := new(big.Int).GCD(nil, nil, a, b)
	return g.Mul(new(big.Int).Quo(a, g), b)
}

func floorRat(v *big.Rat) *big.Rat {
	if v == nil || v.IsInt() {
		return v
	}
	q, r := new(big.Int).QuoRem(v.Num(), v.Denom(), new(big.Int))
	if r.Sign() < 0 {
		q.Sub(q, big.NewInt(1))
	}
	return new(big.Rat).SetInt(q)
}

func ceilRat(v *big.Rat) *big.Rat {
	if v == nil || v.IsInt() {
		return v
	}
	return new(big.Rat).Add(floorRat(v), Int(1))
}

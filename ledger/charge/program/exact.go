package program

import "math/big"

// basis says which m of the n+m variables are basic and where the others rest.
type basis struct {
	basic []int32
	up    []bool // by variable, for those not basic: at the upper bound
}

// vertex is an exact basic solution.
type vertex struct {
	x   []*big.Rat // n+m values, logicals in the unit of the whole-number rows
	obj *big.Rat
	y   []*big.Rat // m multipliers, d(c·x)/d(row), in the same unit; d is cost − y·A
	d   []*big.Rat // n
}

// certify solves the basis exactly and returns its vertex when that is optimal
// within lo and hi, nil when it is not. The float search is asked for nothing
// but the list of basic variables, so its rounding cannot enter.
func (im *image) certify(lo, hi []*big.Rat, b *basis) *vertex {
	if len(b.basic) != im.m {
		return nil
	}
	k := newKernel(im, b)
	x := k.primal(lo, hi, b)
	if x == nil {
		return nil
	}
	y, d := k.dual()
	if y == nil {
		return nil
	}
	sign := func(v int) int {
		if v < im.n {
			return d[v].Sign()
		}
		return y[v-im.n].Sign()
	}
	for v := range im.n + im.m {
		if k.basic[v] {
			if !within(x[v], lo[v], hi[v]) {
				return nil
			}
			continue
		}
		s := sign(v)
		if s == 0 || lo[v] != nil && hi[v] != nil && lo[v].Cmp(hi[v]) == 0 {
			continue
		}
		end := lo[v] // where the cost presses it
		if s < 0 {
			end = hi[v]
		}
		if end == nil || x[v].Cmp(end) != 0 {
			return nil
		}
	}
	return &vertex{x: x, obj: im.objective(x), y: y, d: d}
}

func (im *image) objective(x []*big.Rat) *big.Rat {
	z, t := new(big.Rat), new(big.Rat)
	for j := range im.n {
		if im.cnum[j].Sign() != 0 && x[j].Sign() != 0 {
			z.Add(z, t.Mul(x[j], t.SetInt(im.cnum[j])))
		}
	}
	return z.Quo(z, t.SetInt(im.cden))
}

// kernel is the part of a basis that has to be solved for: the basic columns
// against the rows whose logical is not basic. It is square when the basis is one.
type kernel struct {
	im    *image
	basic []bool
	cols  []int32      // basic columns
	rows  []int32      // rows with a non-basic logical
	at    []int32      // column → place in cols, −1
	dense [][]*big.Int // rows × cols, nil = 0
}

func newKernel(im *image, b *basis) *kernel {
	k := &kernel{im: im, basic: make([]bool, im.n+im.m), at: make([]int32, im.n)}
	for _, v := range b.basic {
		k.basic[v] = true
	}
	for j := range im.n {
		k.at[j] = -1
		if k.basic[j] {
			k.at[j] = int32(len(k.cols))
			k.cols = append(k.cols, int32(j))
		}
	}
	for i := range im.m {
		if k.basic[im.n+i] {
			continue
		}
		row := make([]*big.Int, len(k.cols))
		for e, j := range im.idx[i] {
			if at := k.at[j]; at >= 0 {
				row[at] = im.num[i][e]
			}
		}
		k.rows = append(k.rows, int32(i))
		k.dense = append(k.dense, row)
	}
	return k
}

// primal returns the values of all variables, nil for a singular basis or one
// that rests on a bound which is not there.
func (k *kernel) primal(lo, hi []*big.Rat, b *basis) []*big.Rat {
	im := k.im
	if len(k.rows) != len(k.cols) {
		return nil
	}
	x := make([]*big.Rat, im.n+im.m)
	for v := range x {
		if k.basic[v] {
			continue
		}
		switch {
		case b.up[v] && hi[v] != nil:
			x[v] = hi[v]
		case !b.up[v] && lo[v] != nil:
			x[v] = lo[v]
		case lo[v] == nil && hi[v] == nil:
			x[v] = new(big.Rat)
		default:
			return nil
		}
	}
	rhs := make([]*big.Rat, len(k.rows))
	den := big.NewInt(1)
	t := new(big.Rat)
	for e, i := range k.rows {
		r := new(big.Rat).Set(x[im.n+int(i)])
		for f, j := range im.idx[i] {
			if k.at[j] < 0 && x[j].Sign() != 0 {
				r.Sub(r, t.Mul(x[j], t.SetInt(im.num[i][f])))
			}
		}
		rhs[e] = r
		den = lcm(den, r.Denom())
	}
	mat := make([][]*big.Int, len(k.rows))
	for e := range mat {
		row := make([]*big.Int, len(k.cols)+1)
		for c := range k.cols {
			row[c] = new(big.Int)
			if v := k.dense[e][c]; v != nil {
				row[c].Set(v)
			}
		}
		v := new(big.Int).Quo(den, rhs[e].Denom())
		row[len(k.cols)] = v.Mul(v, rhs[e].Num())
		mat[e] = row
	}
	num, det := bareiss(mat)
	if det == nil {
		return nil
	}
	det = new(big.Int).Mul(det, den)
	for c, j := range k.cols {
		x[j] = new(big.Rat).SetFrac(num[c], det)
	}
	for i := range im.m {
		if k.basic[im.n+i] {
			x[im.n+i] = im.activity(i, x)
		}
	}
	return x
}

// activity is row i in whole-number units.
func (im *image) activity(i int, x []*big.Rat) *big.Rat {
	z, t := new(big.Rat), new(big.Rat)
	for f, j := range im.idx[i] {
		if x[j].Sign() != 0 {
			z.Add(z, t.Mul(x[j], t.SetInt(im.num[i][f])))
		}
	}
	return z
}

// dual returns the rows' multipliers and the columns' reduced costs.
func (k *kernel) dual() (y, d []*big.Rat) {
	im := k.im
	mat := make([][]*big.Int, len(k.cols))
	for c, j := range k.cols {
		row := make([]*big.Int, len(k.rows)+1)
		for e := range k.rows {
			row[e] = new(big.Int)
			if v := k.dense[e][c]; v != nil {
				row[e].Set(v)
			}
		}
		row[len(k.rows)] = new(big.Int).Set(im.cnum[j])
		mat[c] = row
	}
	num, det := bareiss(mat)
	if det == nil {
		return nil, nil
	}
	det = new(big.Int).Mul(det, im.cden)
	y = make([]*big.Rat, im.m)
	for i := range y {
		y[i] = new(big.Rat)
	}
	for e, i := range k.rows {
		y[i].SetFrac(num[e], det)
	}
	return y, im.reduced(y)
}

package program

import "math"

// Bounds that hold in spite of rounding (Neumaier and Shcherbina 2004). For any
// multipliers y of the rows A x − s = 0,
//
//	c·x = Σ (c_j − (yA)_j) x_j + Σ y_i s_i ≥ Σ min over the boxes,
//
// so whatever the float search believes, only this sum has to be computed with
// care. unit bounds the relative error of one float operation; the error terms
// below count every operation and the rounding of A and c themselves, and are
// taken twice.

const unit = 0x1p-52

type prover struct {
	y, g, e []float64 // multipliers, yA, Σ|y||A|
}

func newProver(im *image) *prover {
	return &prover{make([]float64, im.m), make([]float64, im.n), make([]float64, im.n)}
}

// combine computes g = yA and its error weight e.
func (p *prover) combine(im *image) {
	clear(p.g)
	clear(p.e)
	for i, y := range p.y {
		if y == 0 {
			continue
		}
		w := math.Abs(y)
		row := im.a[i]
		g, e := p.g[:len(row)], p.e[:len(row)]
		for j, a := range row {
			g[j] += y * a
			e[j] += w * math.Abs(a)
		}
	}
}

// below returns a proven lower bound of Σ (c_j − g_j) x_j + Σ y_i s_i within lo
// and hi; cost is nil for 0. red, when not nil, receives the reduced costs.
func (p *prover) below(im *image, lo, hi, cost, red []float64) float64 {
	p.combine(im)
	err := 2 * unit * float64(im.m+4)
	sum, abs := 0.0, 0.0
	for j := range im.n {
		c := 0.0
		if cost != nil {
			c = cost[j]
		}
		d := c - p.g[j]
		w := err * (p.e[j] + math.Abs(c))
		if red != nil {
			red[j] = d
		}
		l, h := lo[j], hi[j]
		if d == 0 && w == 0 {
			continue
		}
		v := d * l
		if d < 0 {
			v = d * h
		}
		v -= w * math.Max(math.Abs(l), math.Abs(h))
		sum += v
		abs += math.Abs(v)
	}
	for i, y := range p.y {
		if y == 0 {
			continue
		}
		v := y * lo[im.n+i]
		if y < 0 {
			v = y * hi[im.n+i]
		}
		sum += v
		abs += math.Abs(v)
	}
	if math.IsNaN(sum) || math.IsInf(sum, 0) {
		return math.Inf(-1)
	}
	return sum - 2*unit*float64(im.n+im.m+4)*abs
}

// objective is a proven lower bound of the scaled objective from the multipliers
// of the dictionary s: the reduced costs of the logicals that are not basic.
func (p *prover) objective(s *dict, lo, hi, red []float64) float64 {
	p.take(s, s.d, 1, lo, hi)
	return p.below(s.im, lo, hi, s.im.cost, red)
}

// infeasible reports whether row r of the dictionary is proven to contradict the
// bounds: x_B − Σ T x_N is 0, but positive all over the boxes when x_B cannot
// become large enough (negative when not small enough).
func (p *prover) infeasible(s *dict, r int, tooLarge bool, lo, hi []float64) bool {
	f := 1.0
	if tooLarge {
		f = -1
	}
	p.take(s, s.t[r], -f, lo, hi)
	if v := int(s.basic[r]); v >= s.n {
		p.y[v-s.n] = bounded(f, lo[v], hi[v])
	}
	return p.below(s.im, lo, hi, nil, nil) > 0
}

func (p *prover) take(s *dict, row []float64, f float64, lo, hi []float64) {
	clear(p.y)
	for j, v := range s.nonb {
		if int(v) >= s.n {
			if y := f * row[j]; math.Abs(y) > 1e-11 { // less is rounding
				p.y[int(v)-s.n] = bounded(y, lo[v], hi[v])
			}
		}
	}
}

// bounded drops a multiplier whose sign needs a bound that is not there. Any
// multipliers give a true bound, so this loses nothing but strength.
func bounded(y, lo, hi float64) float64 {
	if y > 0 && math.IsInf(lo, -1) || y < 0 && math.IsInf(hi, 1) {
		return 0
	}
	return y
}

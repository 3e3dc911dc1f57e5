package balance

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// factor is a sparse LDL' decomposition of a symmetric positive definite matrix
// with unit diagonal, and those entries of its inverse that lie where the
// decomposition has entries. Rows are eliminated in order of fewest neighbours
// (minimum degree); once the rest is nearly full it is handed to a dense Cholesky.
type factor struct {
	steps []step  // sparse part, in the order of elimination
	turn  []int32 // step that eliminated a row, or -1 when it is in the tail
	tail  []int32 // rows of the dense part
	place []int32 // position of a row in tail
	chol  mat.Cholesky
	inv   mat.SymDense
}

// step is one eliminated row: its pivot, its column of L and its part of the inverse.
type step struct {
	row  int32
	d    float64
	l    vec       // by row
	z    []float64 // inverse at (row, l[k].at)
	zDia float64   // inverse at (row, row)
}

const (
	smallestPivot = 1e-12 // of a unit diagonal: below it, digits have run out
	denseShare    = 0.4   // neighbours among the rest at which it counts as full
)

// decompose factors a matrix given by its off-diagonal entries, each twice, and its
// diagonal. Both are consumed.
func decompose(off []vec, dia []float64) (*factor, error) {
	n := len(dia)
	f := &factor{turn: make([]int32, n), place: make([]int32, n)}
	for i := range f.turn {
		f.turn[i] = -1
	}
	buckets := [][]int32{}
	file := func(r int32) {
		d := len(off[r])
		for len(buckets) <= d {
			buckets = append(buckets, nil)
		}
		buckets[d] = append(buckets[d], r)
	}
	for r := n - 1; r >= 0; r-- { // so that ties are taken in order
		file(int32(r))
	}
	for low, left := 0, n; left > 0; {
		if low >= len(buckets) {
			break
		}
		if len(buckets[low]) == 0 {
			low++
			continue
		}
		r := buckets[low][len(buckets[low])-1]
		if f.turn[r] >= 0 || len(off[r]) != low { // an outdated entry
			buckets[low] = buckets[low][:len(buckets[low])-1]
			continue
		}
		if low > 2 && float64(low) >= denseShare*float64(left) {
			break
		}
		if !(dia[r] > smallestPivot) {
			return nil, ErrConditioning
		}
		buckets[low] = buckets[low][:len(buckets[low])-1]
		f.turn[r] = int32(len(f.steps))
		left--
		column := off[r]
		off[r] = nil
		for _, e := range column {
			l := e.v / dia[r]
			dia[e.at] -= l * e.v
			off[e.at] = update(off[e.at], e.at, r, -l, column)
			file(e.at)
			low = min(low, len(off[e.at]))
		}
		l := make(vec, len(column))
		for k, e := range column {
			l[k] = entry{e.at, e.v / dia[r]}
		}
		f.steps = append(f.steps, step{row: r, d: dia[r], l: l})
	}
	return f, f.finish(off, dia)
}

// update returns row + factor·column without the entries at self and gone. Unlike
// vec.plus it keeps entries that cancel: the inverse is wanted there.
func update(row vec, self, gone int32, factor float64, column vec) vec {
	out := make(vec, 0, len(row)+len(column))
	i, j := 0, 0
	for i < len(row) || j < len(column) {
		switch {
		case j == len(column) || i < len(row) && row[i].at < column[j].at:
			if row[i].at != gone {
				out = append(out, row[i])
			}
			i++
		case i == len(row) || row[i].at > column[j].at:
			if column[j].at != self {
				out = append(out, entry{column[j].at, factor * column[j].v})
			}
			j++
		default:
			out = append(out, entry{row[i].at, row[i].v + factor*column[j].v})
			i, j = i+1, j+1
		}
	}
	return out
}

// finish factors the dense tail and computes the wanted entries of the inverse,
// from the last row to the first (Takahashi, Fagan and Chin 1973).
func (f *factor) finish(off []vec, dia []float64) error {
	for r, t := range f.turn {
		if t < 0 {
			f.place[r] = int32(len(f.tail))
			f.tail = append(f.tail, int32(r))
		}
	}
	if m := len(f.tail); m > 0 {
		a := mat.NewSymDense(m, nil)
		for k, r := range f.tail {
			if !(dia[r] > smallestPivot) {
				return ErrConditioning
			}
			a.SetSym(k, k, dia[r])
			for _, e := range off[r] {
				a.SetSym(k, int(f.place[e.at]), e.v)
			}
		}
		if !f.chol.Factorize(a) {
			return ErrConditioning
		}
		f.inv = *mat.NewSymDense(m, nil)
		// The condition number that InverseTo may complain of is judged by the
		// closing of the balances at the end, so its error is not needed here.
		_ = f.chol.InverseTo(&f.inv)
	}
	for k := len(f.steps) - 1; k >= 0; k-- {
		s := &f.steps[k]
		s.z = make([]float64, len(s.l))
		s.zDia = 1 / s.d
		for i, a := range s.l {
			s.z[i] -= a.v * f.inverse(a.at, a.at)
			for j, b := range s.l[:i] {
				z := f.inverse(a.at, b.at)
				s.z[i] -= b.v * z
				s.z[j] -= a.v * z
			}
		}
		for i, a := range s.l {
			s.zDia -= a.v * s.z[i]
		}
	}
	return nil
}

// inverse returns an entry of the inverse; both rows must have met in one row's
// neighbourhood, which two rows of one stream always have.
func (f *factor) inverse(a, b int32) float64 {
	ta, tb := f.turn[a], f.turn[b]
	switch {
	case ta < 0 && tb < 0:
		return f.inv.At(int(f.place[a]), int(f.place[b]))
	case a == b:
		return f.steps[ta].zDia
	case ta < 0 || tb >= 0 && tb < ta:
		ta, b = tb, a
	}
	s := &f.steps[ta]
	k, ok := slices.BinarySearchFunc(s.l, b, func(e entry, at int32) int { return int(e.at) - int(at) })
	if !ok {
		return math.NaN()
	}
	return s.z[k]
}

// forward solves L y = b for the sparse part, in place; what is left for the tail
// stays in b and is returned by itself.
func (f *factor) forward(b []float64) *mat.VecDense {
	for k := range f.steps {
		s := &f.steps[k]
		if v := b[s.row]; v != 0 {
			for _, e := range s.l {
				b[e.at] -= e.v * v
			}
		}
	}
	if len(f.tail) == 0 {
		return nil
	}
	t := mat.NewVecDense(len(f.tail), nil)
	for k, r := range f.tail {
		t.SetVec(k, b[r])
	}
	return t
}

// solve overwrites b with the solution of the system.
func (f *factor) solve(b []float64) {
	if t := f.forward(b); t != nil {
		_ = f.chol.SolveVecTo(t, t) // as InverseTo in finish
		for k, r := range f.tail {
			b[r] = t.AtVec(k)
		}
	}
	for k := len(f.steps) - 1; k >= 0; k-- {
		s := &f.steps[k]
		v := b[s.row] / s.d
		for _, e := range s.l {
			v -= e.v * b[e.at]
		}
		b[s.row] = v
	}
}

// quad returns w' S⁻¹ w for a sparse w; scratch is a zero vector and is left so.
func (f *factor) quad(w vec, scratch []float64) float64 {
	for _, e := range w {
		scratch[e.at] += e.v
	}
	var q float64
	for k := range f.steps {
		s := &f.steps[k]
		v := scratch[s.row]
		if v == 0 {
			continue
		}
		scratch[s.row] = 0
		q += v * v / s.d
		for _, e := range s.l {
			scratch[e.at] -= e.v * v
		}
	}
	if len(f.tail) == 0 {
		return q
	}
	t := mat.NewVecDense(len(f.tail), nil)
	zero := true
	for k, r := range f.tail {
		zero = zero && scratch[r] == 0
		t.SetVec(k, scratch[r])
		scratch[r] = 0
	}
	if !zero {
		q += mat.Inner(t, &f.inv, t)
	}
	return q
}

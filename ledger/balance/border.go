package balance

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// border holds what is added to S0: shared effects with prior variance 1, and
// errors of suspected weighings about which nothing is known. With C their columns
// and P their prior precisions, S⁻¹ = S0⁻¹ - W M W', W = S0⁻¹C, M = (P + C'W)⁻¹.
type border struct {
	suspects []int       // streams, in the order of their columns after the effects
	w        [][]float64 // W, one vector over rows per column
	g        [][]float64 // C'W
	m        [][]float64 // M
}

// bordered builds the border for a list of suspects; w of earlier columns is reused.
func (m *model) bordered(suspects []int, reuse *border) (*border, error) {
	b := &border{suspects: suspects}
	k := len(m.effect) + len(suspects)
	if k == 0 {
		return b, nil
	}
	column := func(i int) vec {
		if i < len(m.effect) {
			return m.effect[i]
		}
		return m.col[suspects[i-len(m.effect)]]
	}
	for i := range k {
		if reuse != nil {
			if i < len(m.effect) {
				b.w = append(b.w, reuse.w[i])
				continue
			}
			if j := slices.Index(reuse.suspects, suspects[i-len(m.effect)]); j >= 0 {
				b.w = append(b.w, reuse.w[len(m.effect)+j])
				continue
			}
		}
		w := make([]float64, len(m.row))
		for _, e := range column(i) {
			w[e.at] = e.v
		}
		m.fac.solve(w)
		b.w = append(b.w, w)
	}
	b.g = make([][]float64, k)
	plus := mat.NewSymDense(k, nil) // P + C'W, brought to unit diagonal
	scale := make([]float64, k)
	for i := range k {
		b.g[i] = make([]float64, k)
		for j := range i + 1 {
			v := column(i).dot(b.w[j])
			b.g[i][j], b.g[j][i] = v, v
			if i == j && i < len(m.effect) {
				v++
			}
			if i == j {
				scale[i] = 1 / math.Sqrt(v)
			}
			plus.SetSym(i, j, v)
		}
	}
	for i := range k {
		for j := range i + 1 {
			plus.SetSym(i, j, plus.At(i, j)*scale[i]*scale[j])
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(plus) {
		return nil, ErrConditioning
	}
	var inv mat.SymDense
	_ = chol.InverseTo(&inv) // judged by the closing of the balances
	b.m = make([][]float64, k)
	for i := range k {
		b.m[i] = make([]float64, k)
		for j := range k {
			b.m[i][j] = inv.At(i, j) * scale[i] * scale[j]
		}
	}
	return b, nil
}

// across returns W' column for a sparse column over rows.
func (b *border) across(column vec) []float64 {
	t := make([]float64, len(b.w))
	b.acrossInto(t, column)
	return t
}

func (b *border) acrossInto(t []float64, column vec) {
	for k, w := range b.w {
		t[k] = column.dot(w)
	}
}

// quad returns x' M x, of which M's lower half is enough.
func (b *border) quad(x []float64) (q float64) {
	for i, v := range x {
		if v != 0 {
			q += v * (v*b.m[i][i] + 2*floats.Dot(b.m[i][:i], x[:i]))
		}
	}
	return q
}

// times returns M x.
func (b *border) times(x []float64) []float64 {
	y := make([]float64, len(b.m))
	for i, row := range b.m {
		y[i] = floats.Dot(row, x)
	}
	return y
}

// at returns a form's coefficients of the suspects.
func (b *border) at(g vec) []float64 {
	out := make([]float64, len(b.suspects))
	for k, i := range b.suspects {
		out[k] = g.find(int32(i))
	}
	return out
}

// only returns the coefficients of the suspects in the form that is one stream.
func (b *border) only(stream int) []float64 { return b.at(vec{{int32(stream), 1}}) }

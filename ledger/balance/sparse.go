package balance

import (
	"math"
	"slices"
)

// entry is one coefficient of a sparse vector.
type entry struct {
	at int32
	v  float64
}

// vec is a sparse vector: entries by rising index, none zero.
type vec []entry

// cancelled is the share of two added numbers below which their sum counts as
// zero. Coefficients of graphs are whole and cancel exactly; this is for constraints.
const cancelled = 1e-11

// tidy sorts a list of entries into a vec, adding entries of one index.
func tidy(v vec) vec {
	slices.SortStableFunc(v, func(a, b entry) int { return int(a.at) - int(b.at) })
	out := v[:0]
	for _, e := range v {
		if k := len(out) - 1; k >= 0 && out[k].at == e.at {
			out[k].v = sum(out[k].v, e.v)
		} else {
			out = append(out, e)
		}
	}
	return slices.DeleteFunc(out, func(e entry) bool { return e.v == 0 })
}

func sum(a, b float64) float64 {
	s := a + b
	if math.Abs(s) <= cancelled*(math.Abs(a)+math.Abs(b)) {
		return 0
	}
	return s
}

// find returns the coefficient at an index, 0 when there is none.
func (v vec) find(at int32) float64 {
	k, ok := slices.BinarySearchFunc(v, at, func(e entry, at int32) int { return int(e.at) - int(at) })
	if !ok {
		return 0
	}
	return v[k].v
}

// dot returns the product with a dense vector.
func (v vec) dot(x []float64) float64 {
	var s float64
	for _, e := range v {
		s += e.v * x[e.at]
	}
	return s
}

// plus returns v + f·w as a new vector.
func (v vec) plus(f float64, w vec) vec {
	out := make(vec, 0, len(v)+len(w))
	i, j := 0, 0
	for i < len(v) && j < len(w) {
		switch {
		case v[i].at < w[j].at:
			out = append(out, v[i])
			i++
		case v[i].at > w[j].at:
			out = append(out, entry{w[j].at, f * w[j].v})
			j++
		default:
			if s := sum(v[i].v, f*w[j].v); s != 0 {
				out = append(out, entry{v[i].at, s})
			}
			i, j = i+1, j+1
		}
	}
	out = append(out, v[i:]...)
	for ; j < len(w); j++ {
		out = append(out, entry{w[j].at, f * w[j].v})
	}
	return out
}

// transpose turns rows over n columns into columns over rows.
func transpose(row []vec, n int) []vec {
	count := make([]int, n)
	for _, r := range row {
		for _, e := range r {
			count[e.at]++
		}
	}
	col := make([]vec, n)
	for c, k := range count {
		if k > 0 {
			col[c] = make(vec, 0, k)
		}
	}
	for i, r := range row {
		for _, e := range r {
			col[e.at] = append(col[e.at], entry{int32(i), e.v})
		}
	}
	return col
}

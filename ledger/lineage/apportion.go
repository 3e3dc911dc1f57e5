package lineage

import (
	"cmp"
	"math"
	"slices"
)

// Apportion divides total milligrams in proportion to weights, none below zero,
// into whole milligrams that add up to total exactly: each share is rounded
// down, and what is left goes one milligram each to the largest remainders, the
// earlier first among equals. A part is less than one milligram away from its
// share while total is below 2^53 (nine thousand tonnes). Weights that are all
// zero get nothing.
func Apportion(total int64, weights []float64) []int64 {
	parts := make([]int64, len(weights))
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	if sum <= 0 || total <= 0 {
		return parts
	}
	left := total
	rest := make([]remainder, 0, len(weights))
	for i, w := range weights {
		if w <= 0 {
			continue
		}
		share := w / sum * float64(total)
		whole := math.Floor(share)
		parts[i] = min(int64(whole), left)
		left -= parts[i]
		rest = append(rest, remainder{share - whole, int32(i)})
	}
	for left > 0 {
		n := int(min(left, int64(len(rest))))
		for _, r := range largest(rest, n) {
			parts[r.of]++
		}
		left -= int64(n)
	}
	return parts
}

type remainder struct {
	size float64
	of   int32
}

// largest moves the n largest remainders to the front and returns them, sorting
// only those near the limit: it counts them by size first.
func largest(rs []remainder, n int) []remainder {
	if n == len(rs) {
		return rs
	}
	const bins = 1 << 12
	var count [bins]int
	bin := func(r remainder) int { return min(max(int(r.size*bins), 0), bins-1) }
	for _, r := range rs {
		count[bin(r)]++
	}
	limit, above := bins-1, 0
	for above+count[limit] < n {
		above += count[limit]
		limit--
	}
	out := make([]remainder, 0, n)
	near := make([]remainder, 0, count[limit])
	for _, r := range rs {
		switch b := bin(r); {
		case b > limit:
			out = append(out, r)
		case b == limit:
			near = append(near, r)
		}
	}
	slices.SortFunc(near, func(a, b remainder) int {
		if c := cmp.Compare(b.size, a.size); c != 0 {
			return c
		}
		return cmp.Compare(a.of, b.of)
	})
	return append(out, near[:n-len(out)]...)
}

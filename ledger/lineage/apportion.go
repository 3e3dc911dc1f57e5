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
	d := division{total: float64(total), weights: weights, bin: make([]uint16, len(weights))}
	for _, w := range weights {
		d.sum += max(w, 0)
	}
	if d.sum <= 0 || total <= 0 {
		return parts
	}
	left, some := total, 0 // that get anything
	for i, w := range weights {
		if w <= 0 {
			continue
		}
		share := d.share(w)
		parts[i] = min(int64(share), left)
		left -= parts[i]
		d.bin[i] = 1 + uint16(min(rest(share)*bins, bins-1))
		d.count[d.bin[i]]++
		some++
	}
	for ; left > int64(some); left -= int64(some) {
		d.addOne(parts, some)
	}
	d.addOne(parts, int(left))
	return parts
}

// bins are what is left of a milligram sorted by its size; weights of nothing are in
// another one, before them.
const bins = 1 << 12

// division is of a total among weights.
type division struct {
	total, sum float64
	weights    []float64
	bin        []uint16
	count      [1 + bins]int
}

// share is that of a weight, in milligrams.
func (d *division) share(w float64) float64 { return w / d.sum * d.total }

// rest is what is left of a milligram.
func rest(share float64) float64 { return share - math.Floor(share) }

// addOne adds a milligram to the n parts of the largest rests, sorting only those near
// the limit.
func (d *division) addOne(parts []int64, n int) {
	limit := bins
	for above := 0; limit > 1 && above+d.count[limit] < n; limit-- {
		above += d.count[limit]
	}
	type remainder struct {
		size float64
		of   int
	}
	near := make([]remainder, 0, d.count[limit])
	for i, b := range d.bin {
		switch {
		case int(b) > limit:
			parts[i]++
			n--
		case int(b) == limit:
			near = append(near, remainder{rest(d.share(d.weights[i])), i})
		}
	}
	slices.SortStableFunc(near, func(a, b remainder) int { return cmp.Compare(b.size, a.size) })
	for _, r := range near[:n] {
		parts[r.of]++
	}
}

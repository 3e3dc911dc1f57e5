package cost

import (
	"cmp"
	"math/big"
	"slices"
)

// Part is cost × part ÷ whole in whole minor units, half to even; 0 of nothing.
func Part(cost, part, whole int64) int64 {
	if whole == 0 || part == 0 {
		return 0
	}
	n := new(big.Int).Mul(big.NewInt(cost), big.NewInt(part))
	d := big.NewInt(whole)
	if d.Sign() < 0 {
		n.Neg(n)
		d.Neg(d)
	}
	q, r := new(big.Int).DivMod(n, d, new(big.Int)) // r ≥ 0
	switch r.Lsh(r, 1).Cmp(d) {
	case 1:
		q.Add(q, big.NewInt(1))
	case 0:
		if q.Bit(0) == 1 {
			q.Add(q, big.NewInt(1))
		}
	}
	return q.Int64()
}

// Worn is what the nth of the uses that a thing is expected to last wears off its price:
// all of them together the price, any after them nothing.
func Worn(price, uses, nth int64) int64 {
	if nth < 1 || nth > uses {
		return 0
	}
	return Part(price, nth, uses) - Part(price, nth-1, uses)
}

// Share hands out a cost by weights, such as the masses of castings or the sales
// values of joint products, so that the parts sum to the whole: each gets its part
// rounded down and the units left over go to the largest remainders, the earlier of
// equal ones first. Weights below zero count as zero; without any weight the first
// takes all. It is nil for no weights.
func Share(cost int64, weights []int64) []int64 {
	if len(weights) == 0 {
		return nil
	}
	out := make([]int64, len(weights))
	sum := new(big.Int)
	for _, w := range weights {
		sum.Add(sum, big.NewInt(max(w, 0)))
	}
	if sum.Sign() == 0 {
		out[0] = cost
		return out
	}
	left := cost
	order := make([]int, len(weights))
	rest := make([]*big.Int, len(weights))
	for i, w := range weights {
		n := new(big.Int).Mul(big.NewInt(cost), big.NewInt(max(w, 0)))
		q, r := new(big.Int).DivMod(n, sum, new(big.Int))
		out[i], rest[i], order[i] = q.Int64(), r, i
		left -= out[i]
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Or(-rest[a].Cmp(rest[b]), cmp.Compare(a, b)) })
	for _, i := range order[:left] {
		out[i]++
	}
	return out
}

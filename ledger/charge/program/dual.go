package program

import "math"

// outcome is what the float search says about one relaxation. None of them is
// believed without a proof (see bound.go).
type outcome int

const (
	solved     outcome = iota // primal and dual feasible within tolerance
	beyond                    // objective past the cutoff
	empty                     // row badRow cannot be met
	trouble                   // rounding or cycling
	openEnded                 // it leans on a bound that is not there: ask the exact simplex
	unfinished                // the steps allowed were used up
)

const (
	feasTol  = 1e-9 // of a bound, relative to 1 + its size
	dualTol  = 1e-9 // of a reduced cost, after scaling
	pivotTol = 1e-8 // smallest entry to pivot on, after scaling
	refresh  = 64   // pivots before the dictionary is built anew
)

// solve runs the dual simplex from the present basis. cutoff is in scaled
// objective units; most is the number of steps allowed.
//
// Costs that tie make dual steps of no length, which may go round in circles.
// After stall of them the reduced costs are shifted apart; once that programme is
// solved the true ones come back, and seldom ask for more than a few steps. What
// still goes round is broken by the least-index rule.
func (s *dict) solve(cutoff float64, most int) outcome {
	got := s.run(cutoff, most)
	s.unshift()
	return got
}

func (s *dict) run(cutoff float64, most int) outcome {
	const stall = 20
	patient := 4*(s.m+s.n) + 40
	still, mayShift := 0, true
	for it := 0; ; it++ {
		if it >= most {
			return unfinished
		}
		if it > 6*patient {
			return trouble
		}
		if s.since >= refresh {
			s.rebuild()
			s.rest()
		}
		if !s.shifted && !math.IsInf(cutoff, 1) && s.objective() > cutoff {
			return beyond
		}
		r, lack := s.leaving(it > patient)
		if r < 0 {
			if s.shifted {
				s.unshift()
				continue
			}
			return s.finish()
		}
		c := s.enteringCol(r, lack, it > patient)
		if c < 0 {
			if s.since > 0 && c == retry {
				s.rebuild()
				s.rest()
				continue
			}
			s.badRow, s.badUp = r, lack < 0
			return empty
		}
		if math.Abs(s.d[c]) > dualTol {
			still = 0
		} else if still++; still > stall && mayShift {
			s.shift()
			mayShift = false
		}
		goal, up := s.lo[s.basic[r]], false
		if lack < 0 {
			goal, up = s.hi[s.basic[r]], true
		}
		step := (goal - s.beta[r]) / s.t[r][c]
		for i, row := range s.t {
			s.beta[i] += row[c] * step
		}
		enters := s.xn[c] + step
		s.up[s.basic[r]] = up
		s.pivot(r, c)
		s.xn[c], s.beta[r] = goal, enters
		s.pivots++
	}
}

// shift moves every reduced cost a little further to its feasible side, each by
// another amount.
func (s *dict) shift() {
	copy(s.trueD, s.d)
	s.shifted = true
	clear(s.by)
	h := uint32(1)
	for j, v := range s.nonb {
		if math.IsInf(s.lo[v], -1) && math.IsInf(s.hi[v], 1) {
			continue // has no feasible side
		}
		h = h*1664525 + 1013904223 // a linear congruence will do: the amounts only have to differ
		by := 1e-6 * (0.5 + float64(h>>8)/(1<<24))
		if s.up[v] {
			by = -by
		}
		s.d[j] += by
		s.by[v] = by
	}
}

// unshift brings the true reduced costs back, and the resting columns to the ends
// that these ask for.
func (s *dict) unshift() {
	if s.shifted {
		s.shifted = false
		copy(s.d, s.trueD)
		s.rest()
	}
}

// finish tells a solution from one that leans on an invented bound.
func (s *dict) finish() outcome {
	for _, v := range s.nonb {
		if s.fake[v] && (s.up[v] && math.IsInf(s.nhi[v], 1) || !s.up[v] && math.IsInf(s.nlo[v], -1)) {
			return openEnded
		}
	}
	return solved
}

// leaving picks the row that misses its bounds most; lack is what it misses,
// negative when it is too large. Steepest-edge weights were tried and did not pay:
// a node needs fewer than three pivots as it is.
func (s *dict) leaving(least bool) (row int, lack float64) {
	row = -1
	best := 0.0
	for i, v := range s.basic {
		b := s.beta[i]
		miss := 0.0
		if l := s.lo[v]; b < l {
			if miss = l - b; miss <= feasTol*(1+math.Abs(l)) {
				continue
			}
		} else if h := s.hi[v]; b > h {
			if miss = h - b; -miss <= feasTol*(1+math.Abs(h)) {
				continue
			}
		} else {
			continue
		}
		if least {
			if row < 0 || v < s.basic[row] {
				row, lack = i, miss
			}
		} else if q := math.Abs(miss); q > best {
			best, row, lack = q, i, miss
		}
	}
	return row, lack
}

const retry = -2

// enteringCol is the ratio test with bound flipping. It flips the boxed columns
// that the dual step passes, and returns the column that stops it, −1 when the
// row cannot be met even so, retry when the only pivots are too small to trust.
func (s *dict) enteringCol(r int, lack float64, least bool) int {
	row := s.t[r]
	sgn := 1.0
	if lack < 0 {
		sgn = -1
	}
	s.cand, s.rat = s.cand[:0], s.rat[:0]
	tiny := false
	for j, v := range s.nonb {
		a := row[j]
		if a == 0 || s.lo[v] == s.hi[v] {
			continue
		}
		a *= sgn
		d := s.d[j]
		if s.up[v] {
			a, d = -a, -d
		}
		if math.IsInf(s.lo[v], -1) && math.IsInf(s.hi[v], 1) {
			a, d = math.Abs(a), 0
		}
		if a <= 0 {
			continue
		}
		if a < pivotTol {
			tiny = tiny || a > 1e-12
			continue
		}
		s.cand = append(s.cand, int32(j))
		s.rat = append(s.rat, math.Max(d, 0)/a)
	}
	slope := math.Abs(lack)
	for len(s.cand) > 0 {
		reach := math.Inf(1)
		for k, j := range s.cand {
			reach = math.Min(reach, s.rat[k]+dualTol/math.Abs(row[j]))
		}
		// The group of columns within reach of the dual step.
		pick, biggest, drop := -1, 0.0, 0.0
		for k, j := range s.cand {
			if s.rat[k] > reach {
				continue
			}
			a := math.Abs(row[j])
			v := s.nonb[j]
			drop += a * (s.hi[v] - s.lo[v])
			if least {
				if pick < 0 || v < s.nonb[pick] {
					pick = int(j)
				}
			} else if a > biggest {
				pick, biggest = int(j), a
			}
		}
		if slope-drop <= 0 || least {
			return pick
		}
		slope -= drop
		keep := 0
		for k, j := range s.cand {
			if s.rat[k] > reach {
				s.cand[keep], s.rat[keep] = j, s.rat[k]
				keep++
				continue
			}
			s.flip(int(j))
		}
		s.cand, s.rat = s.cand[:keep], s.rat[:keep]
		if keep == 0 && slope <= feasTol*(1+math.Abs(s.beta[r])) {
			return retry
		}
	}
	if tiny {
		return retry
	}
	return -1
}

func (s *dict) flip(j int) {
	v := s.nonb[j]
	s.up[v] = !s.up[v]
	s.move(j, s.value(v))
}

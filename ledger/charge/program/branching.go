package program

import "math"

// pseudo keeps what moving a column by one has raised the bound so far.
type pseudo struct {
	sum, count []float64
}

func newPseudo(n int) pseudo { return pseudo{make([]float64, n), make([]float64, n)} }

func (p pseudo) add(v int, gain, part float64) {
	if part > wholeTol {
		p.sum[v] += math.Max(gain, 0) / part
		p.count[v]++
	}
}

// expect is what moving column v by part will raise the bound.
func (p pseudo) expect(v int, part float64) float64 {
	if p.count[v] == 0 {
		return 0
	}
	return p.sum[v] / p.count[v] * part
}

// learn records how much a branching moved the proven bound.
func (s *search) learn(n *node, bound float64) {
	if n.parent == nil || math.IsInf(n.bound, 0) {
		return
	}
	if n.upper {
		s.downs.add(int(n.v), bound-n.bound, n.part)
	} else {
		s.ups.add(int(n.v), bound-n.bound, n.part)
	}
}

const (
	probes     = 4 // branchings after which a column's history is relied on
	probeSteps = 5 // dual steps of a probe
)

// choose returns the whole column to branch on, −1 when all are whole: the one
// with the child that raises the bound most. In a charge of whole pieces one
// child seldom moves the bound at all, so weighing both alike (the usual product)
// chooses badly: measured, it takes some ten times as many nodes.
func (s *search) choose() int {
	pick, best := -1, -1.0
	for v := range s.im.n {
		if !s.im.whole[v] || s.dict.place[v] >= 0 {
			continue // resting on a bound, which is whole
		}
		x := s.x[v]
		part := x - math.Floor(x)
		if math.Abs(x-math.Round(x)) <= wholeTol {
			continue
		}
		if s.downs.count[v] < probes || s.ups.count[v] < probes {
			s.probe(v)
		}
		down, up := s.downs.expect(v, part), s.ups.expect(v, 1-part)
		score := math.Max(down, up) + 0.01*math.Min(down, up) + 1e-9*math.Min(part, 1-part)
		if score > best {
			pick, best = v, score
		}
	}
	return pick
}

// probe tries both children of column v for a few dual steps, to learn from.
func (s *search) probe(v int) {
	if s.trial == nil {
		s.trial = newDict(s.im)
	}
	from := s.dict.objective()
	floor := math.Floor(s.x[v])
	try := func() float64 {
		switch got := s.trial.solve(s.cutoff, probeSteps); {
		case got == solved, got == beyond, got == unfinished:
			return s.trial.objective() - from
		case got == empty && !math.IsInf(s.cutoff, 1):
			return s.cutoff - from
		}
		return 1 // of scaled costs about 1: a large rise
	}
	s.trial.copyFrom(s.dict)
	s.trial.hi[v] = floor
	s.downs.add(v, try(), s.x[v]-floor)
	s.trial.copyFrom(s.dict)
	s.trial.lo[v] = floor + 1
	s.ups.add(v, try(), floor+1-s.x[v])
}

// propagate tightens the root's whole columns by the rows until nothing changes,
// and returns false when a row cannot be met. It moves a bound only where the
// rows ask for it by far more than rounding could. At every node it costs more
// than the nodes it saves (measured: half of the time, a tenth of the nodes).
func (s *search) propagate() bool {
	for range 20 {
		changed := false
		for i, row := range s.im.a {
			did, ok := s.tighten(row, s.lo[s.im.n+i], s.hi[s.im.n+i])
			if !ok {
				return false
			}
			changed = changed || did
		}
		if !changed {
			break
		}
	}
	return true
}

// tighten applies rlo ≤ row·x ≤ rhi.
func (s *search) tighten(row []float64, rlo, rhi float64) (changed, ok bool) {
	least, most, size := 0.0, 0.0, 0.0
	for j, a := range row {
		if a == 0 {
			continue
		}
		l, h := a*s.lo[j], a*s.hi[j]
		if a < 0 {
			l, h = h, l
		}
		least += l
		most += h
		size += max(math.Abs(l), math.Abs(h))
	}
	if math.IsInf(size, 1) || math.IsNaN(size) {
		return false, true
	}
	tol := 1e-9 * size
	if least > rhi+tol || most < rlo-tol {
		return false, false
	}
	if least >= rlo && most <= rhi {
		return false, true
	}
	for j, a := range row {
		if a == 0 || !s.im.whole[j] || s.lo[j] == s.hi[j] {
			continue
		}
		// a·x_j may rise above its least by rhi − least, fall below its most by most − rlo.
		l, h := s.lo[j], s.hi[j]
		rise, fall := (rhi-least+tol)/math.Abs(a)+1e-9, (most-rlo+tol)/math.Abs(a)+1e-9
		if a < 0 {
			rise, fall = fall, rise
		}
		top, bottom := min(h, math.Floor(l+rise)), max(l, math.Ceil(h-fall))
		if top < bottom {
			return changed, false
		}
		if top == h && bottom == l {
			continue
		}
		changed = true
		s.lo[j], s.hi[j] = bottom, top
		if a > 0 {
			least, most = least+a*(bottom-l), most+a*(top-h)
		} else {
			least, most = least+a*(top-h), most+a*(bottom-l)
		}
	}
	return changed, true
}

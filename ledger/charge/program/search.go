package program

import (
	"container/heap"
	"context"
	"math"
	"math/big"
)

var inf = math.Inf(1)

// wholeTol is how near to a whole number a float counts as one; what follows
// from it is checked exactly.
const wholeTol = 1e-6

// search is branch and bound over the whole columns.
type search struct {
	ctx   context.Context
	im    *image
	opt   Options
	dict  *dict
	trial *dict // for probing
	prove *prover

	root0, root1 []float64 // bounds at the root, tightened as the search learns
	lo, hi       []float64 // bounds of the node at hand
	red          []float64 // its proven reduced costs
	x            []float64 // its columns

	open  nodes
	seq   int
	nodes int
	exact int

	best    []*big.Rat
	bestObj *big.Rat
	cutoff  float64 // scaled; a node proven at or above it is of no use
	lost    float64 // scaled; least bound of what was dropped on account of the gap

	rootBound      float64 // proven within rootLo and rootHi, with the reduced costs rootRed
	rootRed        []float64
	rootLo, rootHi []float64

	downs, ups pseudo
}

// node is one open subproblem: its parent's bounds and one more.
type node struct {
	parent *node
	v      int32
	upper  bool // val is a new upper bound, else a new lower one
	val    float64
	bound  float64 // scaled, proven
	seq    int
	part   float64 // distance the branching moved, for the pseudo-cost
}

type nodes []*node

func (h nodes) Len() int { return len(h) }
func (h nodes) Less(a, b int) bool {
	if h[a].bound != h[b].bound {
		return h[a].bound < h[b].bound
	}
	return h[a].seq > h[b].seq
}
func (h nodes) Swap(a, b int) { h[a], h[b] = h[b], h[a] }
func (h *nodes) Push(x any)   { *h = append(*h, x.(*node)) }
func (h *nodes) Pop() any {
	old := *h
	n := old[len(old)-1]
	old[len(old)-1] = nil
	*h = old[:len(old)-1]
	return n
}

func newSearch(ctx context.Context, im *image, o Options) *search {
	if o.Gap == 0 {
		o.Gap = 1e-9
	}
	s := &search{ctx: ctx, im: im, opt: o, dict: newDict(im), prove: newProver(im),
		root0: append([]float64(nil), im.flo...), root1: append([]float64(nil), im.fhi...),
		lo: make([]float64, im.n+im.m), hi: make([]float64, im.n+im.m),
		red: make([]float64, im.n), x: make([]float64, im.n), cutoff: inf, lost: inf,
		downs: newPseudo(im.n), ups: newPseudo(im.n)}
	return s
}

func (s *search) run() *Result {
	copy(s.lo, s.root0)
	copy(s.hi, s.root1)
	if !s.propagate() {
		return &Result{Status: Infeasible}
	}
	copy(s.root0, s.lo)
	copy(s.root1, s.hi)
	cur := &node{bound: math.Inf(-1)}
	stopped := false
	for cur != nil {
		if s.opt.Nodes > 0 && s.nodes >= s.opt.Nodes || s.nodes&15 == 0 && s.ctx.Err() != nil {
			stopped = true
			break
		}
		s.nodes++
		next, unbounded := s.visit(cur)
		if unbounded {
			return &Result{Status: Unbounded, Nodes: s.nodes, Pivots: s.dict.pivots, Exact: s.exact}
		}
		for next == nil && len(s.open) > 0 {
			n := heap.Pop(&s.open).(*node)
			if n.bound >= s.cutoff {
				s.drop(n.bound)
				continue
			}
			next = n
		}
		cur = next
	}
	return s.result(cur, stopped)
}

func (s *search) result(cur *node, stopped bool) *Result {
	r := &Result{Nodes: s.nodes, Pivots: s.dict.pivots, Exact: s.exact, X: s.best, Objective: s.bestObj}
	bound := s.lost
	if stopped {
		bound = math.Min(bound, cur.bound)
		for _, n := range s.open {
			bound = math.Min(bound, n.bound)
		}
	}
	if !math.IsInf(bound, 0) {
		b := new(big.Rat).SetFloat64(bound / s.im.cscale)
		if g := s.im.grain; g != nil {
			b = ceilRat(b.Quo(b, g))
			b = new(big.Rat).Mul(b, g)
		}
		r.Bound = b
	}
	switch {
	case s.best != nil && (r.Bound == nil && !math.IsInf(bound, -1) || r.Bound != nil && r.Bound.Cmp(s.bestObj) > 0):
		r.Bound = s.bestObj
	case s.best == nil && !stopped:
		r.Bound = nil
	}
	switch {
	case s.best == nil && stopped:
		r.Status = Unknown
	case s.best == nil:
		r.Status = Infeasible
	case stopped && bound < s.cutoff:
		r.Status = Feasible
	}
	return r
}

// drop gives up a region whose proven bound is at or above the cutoff.
func (s *search) drop(bound float64) { s.lost = math.Min(s.lost, bound) }

// enter makes lo and hi those of n.
func (s *search) enter(n *node) bool {
	copy(s.lo, s.root0)
	copy(s.hi, s.root1)
	for ; n.parent != nil; n = n.parent {
		if n.upper {
			s.hi[n.v] = math.Min(s.hi[n.v], n.val)
		} else {
			s.lo[n.v] = math.Max(s.lo[n.v], n.val)
		}
		if s.lo[n.v] > s.hi[n.v] {
			return false
		}
	}
	return true
}

// visit solves one node and returns the child to go on with, nil when the node
// is closed.
func (s *search) visit(n *node) (next *node, unbounded bool) {
	if !s.enter(n) {
		return nil, false
	}
	s.dict.bounds(s.lo, s.hi)
	got, b := s.relax(n)
	if got == trouble && s.dict.since > 0 { // once more, from the beginning
		s.dict.reset()
		s.dict.bounds(s.lo, s.hi)
		got, b = s.relax(n)
	}
	switch got {
	case empty:
		return nil, false
	case beyond:
		s.drop(b)
		return nil, false
	case openEnded:
		return s.visitExact(n)
	case trouble:
		return s.doubt(n)
	}
	s.learn(n, b)
	s.columns()
	v := s.choose()
	if v < 0 {
		s.candidate()
		if b >= s.cutoff {
			s.drop(b)
			return nil, false
		}
		return s.doubt(n)
	}
	if n.parent == nil {
		s.rootBound, s.rootRed = b, append([]float64(nil), s.red...)
		s.rootLo, s.rootHi = append([]float64(nil), s.lo...), append([]float64(nil), s.hi...)
		s.fix()
	}
	return s.split(n, v, s.x[v], math.Floor(s.x[v]), b), false
}

// relax solves the node's relaxation in floats and proves what it says: empty,
// beyond or solved, the last two with their bound. What is not proven is trouble,
// or openEnded where that is because columns have no bounds.
func (s *search) relax(n *node) (outcome, float64) {
	got := s.dict.solve(s.cutoff, math.MaxInt)
	if got == beyond {
		if b := s.prove.objective(s.dict, s.lo, s.hi, nil); b >= s.cutoff {
			return beyond, b
		}
		got = s.dict.solve(inf, math.MaxInt)
	}
	switch {
	case got == empty && s.prove.infeasible(s.dict, s.dict.badRow, s.dict.badUp, s.lo, s.hi):
		return empty, inf
	case got == openEnded:
		return openEnded, 0
	case got != solved:
		return trouble, 0
	}
	b := math.Max(n.bound, s.prove.objective(s.dict, s.lo, s.hi, s.red))
	switch {
	case math.IsInf(b, -1):
		return openEnded, 0
	case b >= s.cutoff:
		return beyond, b
	}
	return solved, b
}

// doubt goes on from a node about which floats prove nothing. Splitting it needs
// no proof, and costs far less than rationals where there are many columns; when
// no whole column is left to split, rationals decide.
func (s *search) doubt(n *node) (next *node, unbounded bool) {
	wide, width := -1, 0.0
	for j := range s.im.n {
		if w := s.hi[j] - s.lo[j]; s.im.whole[j] && w > width && !math.IsInf(w, 1) {
			wide, width = j, w
		}
	}
	if wide < 0 {
		return s.visitExact(n)
	}
	mid := math.Floor((s.lo[wide] + s.hi[wide]) / 2)
	return s.split(n, wide, mid, mid, n.bound), false
}

// columns reads the columns' values from the dictionary.
func (s *search) columns() {
	for j, v := range s.dict.nonb {
		if int(v) < s.im.n {
			s.x[v] = s.dict.xn[j]
		}
	}
	for i, v := range s.dict.basic {
		if int(v) < s.im.n {
			s.x[v] = s.dict.beta[i]
		}
	}
}

// split opens both children of column v between floor and floor+1 and returns
// the nearer one.
func (s *search) split(n *node, v int, x, floor, bound float64) *node {
	part := x - floor
	s.seq += 2
	d := &node{parent: n, v: int32(v), upper: true, val: floor, bound: bound, seq: s.seq, part: part}
	u := &node{parent: n, v: int32(v), val: floor + 1, bound: bound, seq: s.seq + 1, part: 1 - part}
	if part > 0.5 {
		d, u = u, d
	}
	heap.Push(&s.open, u)
	return d
}

// fix uses the root's reduced costs: a whole column that would cost more than
// the cutoff allows when moved further than some steps from where it rests is
// bounded there for good.
func (s *search) fix() {
	if math.IsInf(s.cutoff, 1) || s.rootRed == nil {
		return
	}
	room := s.cutoff - s.rootBound
	for j, d := range s.rootRed {
		if !s.im.whole[j] || d == 0 {
			continue
		}
		// Reckoned from the bounds under which rootBound was proven.
		steps := math.Floor(room/math.Abs(d)*(1+1e-9) + 1e-9)
		if d > 0 && s.rootLo[j]+steps < s.root1[j] {
			s.root1[j] = s.rootLo[j] + steps
			s.drop(s.cutoff)
		} else if d < 0 && s.rootHi[j]-steps > s.root0[j] {
			s.root0[j] = s.rootHi[j] - steps
			s.drop(s.cutoff)
		}
	}
}

// candidate tries the node's columns, rounded, as an answer. Columns that are
// not whole are chosen anew by the exact simplex.
func (s *search) candidate() {
	lo, hi := append([]*big.Rat(nil), s.im.lo...), append([]*big.Rat(nil), s.im.hi...)
	pure := true
	for j := range s.im.n {
		if s.im.whole[j] {
			lo[j] = new(big.Rat).SetFloat64(math.Round(s.x[j]))
			hi[j] = lo[j]
			if !within(lo[j], s.im.lo[j], s.im.hi[j]) {
				return
			}
		} else {
			pure = false
		}
	}
	if pure {
		x := lo[:s.im.n]
		for i := range s.im.m {
			if v := s.im.n + i; !within(s.im.activity(i, x), lo[v], hi[v]) {
				return
			}
		}
		s.accept(x, s.im.objective(x))
		return
	}
	b := s.dict.basis()
	v := s.im.certify(lo, hi, b)
	if v == nil {
		s.exact++
		v, _, _ = s.im.decide(lo, hi, b)
	}
	if v != nil {
		s.accept(v.x[:s.im.n], v.obj)
	}
}

// accept takes x as the best answer if it is better than the one known.
func (s *search) accept(x []*big.Rat, obj *big.Rat) {
	if s.best != nil && obj.Cmp(s.bestObj) >= 0 {
		return
	}
	s.best, s.bestObj = x, obj
	size := new(big.Rat).Abs(obj)
	if c := s.im.dearest; c.Cmp(size) > 0 {
		size = c
	}
	slack := new(big.Rat).SetFloat64(s.opt.Gap)
	slack.Mul(slack, size)
	if g := s.opt.GapAbs; g != nil && g.Cmp(slack) > 0 {
		slack = g
	}
	if g := s.im.grain; g != nil && g.Cmp(slack) > 0 {
		// One grain better is the least that is better: a bound above it is final.
		slack = new(big.Rat).Mul(g, big.NewRat(999999, 1000000))
	}
	s.cutoff = outward(new(big.Rat).Sub(obj, slack), 1) * s.im.cscale
	s.fix()
}

// visitExact decides a node in rationals.
func (s *search) visitExact(n *node) (next *node, unbounded bool) {
	s.exact++
	lo, hi := append([]*big.Rat(nil), s.im.lo...), append([]*big.Rat(nil), s.im.hi...)
	for j := range s.im.n {
		if s.im.whole[j] {
			lo[j], hi[j] = finite(s.lo[j]), finite(s.hi[j])
		}
	}
	v, _, st := s.im.decide(lo, hi, s.dict.basis())
	switch st {
	case Infeasible:
		return nil, false
	case Unbounded:
		return nil, n.parent == nil
	}
	b := outward(v.obj, -1) * s.im.cscale
	if b >= s.cutoff {
		s.drop(b)
		return nil, false
	}
	pick, worst := -1, 0.0
	for j := range s.im.n {
		if s.im.whole[j] && !v.x[j].IsInt() {
			part, _ := new(big.Rat).Sub(v.x[j], floorRat(v.x[j])).Float64()
			if far := math.Min(part, 1-part); pick < 0 || far > worst {
				pick, worst = j, far
			}
		}
	}
	if pick < 0 {
		s.accept(v.x[:s.im.n], v.obj)
		return nil, false
	}
	x, _ := v.x[pick].Float64()
	f, _ := floorRat(v.x[pick]).Float64()
	return s.split(n, pick, x, f, math.Max(b, n.bound)), false
}

func finite(f float64) *big.Rat {
	if math.IsInf(f, 0) {
		return nil
	}
	return new(big.Rat).SetFloat64(f)
}

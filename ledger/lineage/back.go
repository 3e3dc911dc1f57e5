package lineage

import "fmt"

// Share is the part of a node's metal that has to do with another node.
type Share struct {
	Node     string
	Fraction float64 // of mass, 0 to 1
}

// view is one state of the book, for one question about one node.
type view struct {
	versions
	nodes nodes // its names only
	node  int32
	last  int32 // the node's newest version in this state, or none
}

// view looks up a node and takes a snapshot of the book up to an entry.
func (g *Graph) view(node string, at int64) (view, error) {
	g.mu.RLock()
	defer g.mu.RUnlock()
	id, _, _ := g.nodes.find(node)
	if id == none {
		return view{}, fmt.Errorf("%w: %.80q is in no transfer", ErrUnknown, node)
	}
	v := view{versions: g.log, nodes: g.nodes, node: id, last: g.nodes.at(id).last}
	if at < g.seq {
		v.n = g.upTo(at)
	}
	return v, nil
}

// mixture returns the newest version in which the node held metal, or none for
// a node that only ever gave metal of its own.
func (v *view) mixture(at int64) (int32, error) {
	ever := v.last != none
	i := v.last
	for i != none && i >= v.n {
		i = v.prev(i)
	}
	if i == none && ever {
		return none, fmt.Errorf("%w: %q first received metal after entry %d", ErrNothing, v.nodes.name(v.node), at)
	}
	for i != none && v.content(i) <= 0 {
		i = v.prev(i)
	}
	return i, nil
}

// Back returns the sources of what a node held just after entry at (use Latest
// for now): the nodes by which the metal entered the book, with mass fractions
// that add up to one, in the order in which the nodes first appeared. For a node
// that is empty by then, such as a heat that was poured, it is the mixture that
// was last put together in it. A source is its own source.
//
// It fails with ErrUnknown, or ErrNothing for a node that received its first
// metal later.
func (g *Graph) Back(node string, at int64) ([]Share, error) {
	v, err := g.view(node, at)
	if err != nil {
		return nil, err
	}
	top, err := v.mixture(at)
	if err != nil {
		return nil, err
	}
	found := newPages[float64](int(v.nodes.n))
	if top == none {
		*found.at(v.node) = 1
	} else {
		w := newPages[float64](int(top) + 1)
		*w.at(top) = 1
		v.sweep(w, func(source int32, x float64) { *found.at(source) += x }, nil, nil)
	}
	return v.shares(found), nil
}

// Via returns the nodes that metal held by a node just after entry at came
// through, with the fraction of it that did, in the order of first appearance.
// Metal that came into the same node twice, as happens in a bin of returns,
// counts twice, so a fraction is how often a milligram came through on average.
// The node itself is among them. Errors as for Back.
func (g *Graph) Via(node string, at int64) ([]Share, error) {
	v, err := g.view(node, at)
	if err != nil {
		return nil, err
	}
	top, err := v.mixture(at)
	if err != nil {
		return nil, err
	}
	through := newPages[float64](int(v.nodes.n))
	if top != none {
		w := newPages[float64](int(top) + 1)
		*w.at(top) = 1
		v.sweep(w, func(int32, float64) {}, through, nil)
	}
	return v.shares(through), nil
}

// sweep passes weights (by version) down to the sources: ended is told what
// arrives at each, through (when set) adds up what enters each node. With melted
// set, weight that goes back through a melt is put there instead of followed.
// Afterwards w is empty.
func (l *versions) sweep(w *pages[float64], ended func(source int32, x float64), through *pages[float64], melted *melted) {
	for k := int32(len(w.page)) - 1; k >= 0; k-- {
		pg := w.page[k]
		if pg == nil {
			continue
		}
		for j := int32(pageLen) - 1; j >= 0; j-- {
			x := pg[j]
			if x == 0 {
				continue
			}
			pg[j] = 0
			if x < trace {
				continue
			}
			l.divide(k<<pageBits|j, x, w, ended, through, melted)
		}
		w.release(k)
	}
}

// divide passes weight x of version i on to its parts.
func (l *versions) divide(i int32, x float64, w *pages[float64], ended func(int32, float64), through *pages[float64], melted *melted) {
	v, k := l.at(i), l.first(i)
	all := l.sum(k, v.end)
	each, debt := x/float64(all), int64(0)
	if v.again() {
		p := l.parts.at(k)
		before := l.mass(k, p)
		if before > 0 {
			*w.at(p.src) += each * float64(before)
			all -= before
		}
		debt = -before
		k++
	}
	if through != nil {
		*through.at(v.node()) += each * float64(all)
	}
	for ; k < v.end; k++ {
		p := l.parts.at(k)
		mg := l.mass(k, p)
		if debt > 0 { // what made that good is not there
			paid := min(debt, mg)
			debt, mg = debt-paid, mg-paid
		}
		if mg == 0 {
			continue
		}
		switch came := each * float64(mg); {
		case melted != nil && v.melt():
			melted.take(p.src, came)
		case p.src >= 0:
			*w.at(p.src) += came
		default:
			ended(^p.src, came)
		}
	}
}

func (v *view) shares(found *pages[float64]) []Share {
	n := 0
	for _, x := range found.all() {
		if x != 0 {
			n++
		}
	}
	out, names := make([]Share, 0, n), namer{nodes: &v.nodes}
	for id, x := range found.all() {
		if x != 0 {
			out = append(out, Share{Fraction: x})
			names.name(id, &out[len(out)-1].Node)
		}
	}
	names.flush()
	return out
}

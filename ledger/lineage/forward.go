package lineage

import (
	"math"
	"sync"
)

// Holding is what a node has of another node's metal.
type Holding struct {
	Node     string
	Mg       int64   // milligrams of it held now
	Fraction float64 // of what the node holds now, 0 to 1
	Received int64   // milligrams of it that ever came in, to the nearest; again counts again
	Settled  int64   // milligrams of it used to make good what the node had given too much
}

// Forward answers a recall: what holds metal of this lot, and how much, just
// after entry at (use Latest for now). It lists every node that ever received
// metal that had been in the given one, itself included, in the order in which
// the nodes first appeared. Nodes that only passed it on, such as heats, have
// Mg 0 and say what they Received.
//
// Mg and Settled of all together add up exactly, by largest remainder, to the
// milligrams that were ever in the node: what it received and had not held
// before, and what it gave of its own. It fails with ErrUnknown.
func (g *Graph) Forward(node string, at int64) ([]Holding, error) {
	v, err := g.view(node, at)
	if err != nil {
		return nil, err
	}
	return v.forward(), nil
}

// tagged is what forward knows about a version with some of the metal.
type tagged struct {
	part float64 // how much of it is the metal, 0 to 1
	left int64   // milligrams, of all of it, that were not taken from it yet
}

// cell is what forward knows about a node that received some of the metal.
type cell struct {
	last     int32 // newest version, plus one; 0 when nothing was received
	received float64
}

const ahead = 128

// recall is a question forward.
type recall struct {
	*view
	marked  []uint64 // versions with some of the metal, a bit each
	tagged  *pages[tagged]
	cells   *pages[cell]
	settled map[int32]float64 // by node, of the few that settled any
	found   int               // nodes
	total   int64             // milligrams ever in the node, whole
	again   float64           // of which had been in it before

	fetched int64
}

func (v *view) forward() []Holding {
	r := recall{
		view:    v,
		marked:  make([]uint64, (v.n+63)/64),
		tagged:  newPages[tagged](int(v.n)),
		cells:   newPages[cell](int(v.nodes.n)),
		settled: map[int32]float64{},
	}
	i := v.without(v.node)
	for k := v.first(i); i < v.n; i++ {
		if i&(ahead-1) == 0 {
			r.fetch(k, v.at(min(i+ahead, v.n)-1).end)
		}
		x, first := v.at(i), k
		k = x.end
		if x.node() == v.node || r.among(first, k) {
			r.follow(i, x, first)
		}
	}
	return r.holdings()
}

// fetch reads what follow will need for parts k to end, so that the processor waits
// for many cache lines at once instead of one after another.
func (r *recall) fetch(k, end int32) {
	sum := int64(0)
	for ; k < end; k++ {
		if src := r.parts.at(k).src; src >= 0 {
			if pg := r.tagged.page[src>>pageBits]; pg != nil {
				sum += pg[src&(pageLen-1)].left
			}
		}
	}
	r.fetched = sum
}

// among tells whether some of the metal may be among parts k to end.
func (r *recall) among(k, end int32) bool {
	for ; k < end; k++ {
		if src := r.parts.at(k).src; r.isMarked(src) || src == ^r.node {
			return true
		}
	}
	return false
}

func (r *recall) isMarked(i int32) bool { return i >= 0 && r.marked[i>>6]>>(i&63)&1 != 0 }

// follow takes the metal into version i, whose parts begin at k.
func (r *recall) follow(i int32, x *version, k int32) {
	c := r.cells.at(x.node())
	if c.last == 0 {
		r.found++
	}
	c.last = i + 1
	isNode := x.node() == r.node
	after, held := int64(0), 0.0 // milligrams in it after each part, and of the metal
	if x.again() {
		p := r.parts.at(k)
		after = r.mass(k, p)
		if after > 0 && r.isMarked(p.src) {
			held = r.tagged.get(p.src).part * float64(after)
		}
		k++
	}
	for ; k < x.end; k++ {
		p := r.parts.at(k)
		mg := r.mass(k, p)
		kept := mg - min(max(-after, 0), mg) // not needed to make good a debt
		after += mg
		var in float64 // part of what comes in
		switch {
		case r.isMarked(p.src):
			from := &r.tagged.page[p.src>>pageBits][p.src&(pageLen-1)]
			from.left -= mg
			in = from.part
		case p.src == ^r.node && !isNode: // metal of its own
			in = 1
			r.total += mg
		}
		if made := in * float64(mg-kept); made > 0 {
			r.settled[x.node()] += made
		}
		held += in * float64(kept)
		if isNode {
			c.received += float64(mg)
			r.total += kept
			r.again += in * float64(kept)
		} else {
			c.received += in * float64(mg)
		}
	}
	if after <= 0 {
		return
	}
	part := held / float64(after)
	if isNode {
		part = 1
	}
	if part >= trace {
		r.marked[i>>6] |= 1 << (i & 63)
		*r.tagged.at(i) = tagged{part, after}
	}
}

// holdings makes the answer, in whole milligrams that add up to the total.
func (r *recall) holdings() []Holding {
	out := make([]Holding, 0, r.found)
	masses := make([]float64, r.found, r.found+r.found/8) // held by each, then what was settled
	var settled []int32                                   // by which, of those that settled any
	for id, c := range r.cells.all() {
		if c.last == 0 {
			continue
		}
		h, n := Holding{Received: int64(math.Round(c.received))}, len(out)
		// All that left a node since its newest version was taken from that.
		if last := c.last - 1; r.isMarked(last) {
			if t := r.tagged.get(last); t.left > 0 {
				h.Fraction, masses[n] = t.part, t.part*float64(t.left)
			}
		}
		if good := r.settled[id]; good > 0 {
			settled, masses = append(settled, int32(n)), append(masses, good)
		}
		out = append(out, h)
	}
	var named sync.WaitGroup
	named.Go(func() { r.name(out) })
	parts := Apportion(r.total-int64(math.Round(r.again)), masses)
	named.Wait()
	for i := range out {
		out[i].Mg = parts[i]
	}
	for i, n := range settled {
		out[n].Settled = parts[len(out)+i]
	}
	return out
}

// name names the nodes that received something.
func (r *recall) name(out []Holding) {
	n, names := 0, namer{nodes: &r.nodes}
	for id, c := range r.cells.all() {
		if c.last != 0 {
			names.name(id, &out[n].Node)
			n++
		}
	}
	names.flush()
}

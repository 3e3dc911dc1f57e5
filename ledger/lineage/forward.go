package lineage

import "math"

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
	part  float64 // how much of it is the metal, 0 to 1
	drawn int64   // milligrams taken from it again
}

// cell is what forward knows about a node that received some of the metal.
type cell struct {
	last     int32 // newest version, plus one; 0 when nothing was received
	received float64
	settled  float64
}

const ahead = 64

// recall is a question forward.
type recall struct {
	*view
	marked []uint64 // versions with some of the metal, a bit each
	tagged *pages[tagged]
	cells  *pages[cell]
	found  int     // nodes
	total  int64   // milligrams ever in the node, whole
	again  float64 // of which had been in it before

	fetched int64
}

func (v *view) forward() []Holding {
	r := recall{
		view:   v,
		marked: make([]uint64, (v.n+63)/64),
		tagged: newPages[tagged](int(v.n)),
		cells:  newPages[cell](int(v.nodes.n)),
	}
	for i := int32(0); i < v.n; i++ {
		if i&(ahead-1) == 0 {
			r.fetch(i, min(i+ahead, v.n))
		}
		x := v.at(i)
		if r.isMarked(x.src) || r.isMarked(x.prev) || x.src == ^v.node || x.node() == v.node {
			r.follow(i, x)
		}
	}
	return r.holdings()
}

// fetch reads what follow will need for versions i to end, so that the
// processor waits for many cache lines at once instead of one after another.
func (r *recall) fetch(i, end int32) {
	sum := int64(0)
	for ; i < end; i++ {
		if src := r.at(i).src; r.isMarked(src) {
			sum += r.tagged.page[src>>pageBits][src&(pageLen-1)].drawn
		}
	}
	r.fetched = sum
}

func (r *recall) isMarked(i int32) bool { return i >= 0 && r.marked[i>>6]>>(i&63)&1 != 0 }

// follow takes the metal into version i.
func (r *recall) follow(i int32, x *version) {
	mg, after := r.mass(i, x)
	before := after - mg
	covered := min(max(-before, 0), mg) // of a debt
	isNode := x.node() == r.node
	var in float64 // part of what comes in
	switch {
	case r.isMarked(x.src):
		from := r.tagged.at(x.src)
		from.drawn += mg
		in = from.part
	case x.src == ^r.node && !isNode: // metal of its own
		in = 1
		r.total += mg
	}
	c := r.cells.at(x.node())
	if c.last == 0 {
		r.found++
	}
	c.last = i + 1
	c.settled += in * float64(covered)
	if isNode {
		c.received += float64(mg)
		r.total += mg - covered
		r.again += in * float64(mg-covered)
		in = 1
	} else {
		c.received += in * float64(mg)
	}
	if after <= 0 {
		return
	}
	if before > 0 && !isNode {
		in *= float64(mg) / float64(after)
		if r.isMarked(x.prev) {
			in += r.tagged.get(x.prev).part * (float64(before) / float64(after))
		}
	}
	if in >= trace {
		r.marked[i>>6] |= 1 << (i & 63)
		r.tagged.at(i).part = in
	}
}

// holdings makes the answer, in whole milligrams that add up to the total.
func (r *recall) holdings() []Holding {
	out, names := make([]Holding, 0, r.found), namer{nodes: &r.nodes}
	masses := make([]float64, 0, 2*r.found) // held, settled, held, settled ...
	for id, c := range r.cells.all() {
		if c.last == 0 {
			continue
		}
		h, held := Holding{Received: int64(math.Round(c.received))}, 0.0
		// All that left a node since its newest version was taken from that.
		if last := c.last - 1; r.isMarked(last) {
			_, content := r.mass(last, r.at(last))
			t := r.tagged.get(last)
			if content -= t.drawn; content > 0 {
				h.Fraction, held = t.part, t.part*float64(content)
			}
		}
		out, masses = append(out, h), append(masses, held, c.settled)
		names.name(id, &out[len(out)-1].Node)
	}
	names.flush()
	for i, mg := range Apportion(r.total-int64(math.Round(r.again)), masses) {
		if i%2 == 0 {
			out[i/2].Mg = mg
		} else {
			out[i/2].Settled = mg
		}
	}
	return out
}

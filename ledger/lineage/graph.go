package lineage

import (
	"errors"
	"fmt"
	"math"
	"sync"
)

// Errors of this package; each comes wrapped in a text that names the field, the
// value and what would be right.
var (
	ErrTransfer = errors.New("lineage: not a transfer")
	ErrOrder    = errors.New("lineage: out of order")
	ErrReversed = errors.New("lineage: already reversed")
	ErrUnknown  = errors.New("lineage: no such node")
	ErrNothing  = errors.New("lineage: node held nothing yet")
	ErrFull     = errors.New("lineage: graph is full")
)

// Latest asks a question about the whole book.
const Latest int64 = math.MaxInt64

// Transfer moves metal between two nodes. Several transfers may belong to one
// entry and then have the same Seq.
type Transfer struct {
	Seq  int64  // number of the entry, 1 to 4 294 967 295, never going back
	From string // giver; "" for metal that enters the book here
	To   string // receiver, another node than From
	Mg   int64  // milligrams, above zero
	Melt bool   // the metal is melted by this transfer: a charge into a heat
}

// Graph is the lineage of one shop's book. The zero value is not ready; use New.
type Graph struct {
	mu    sync.RWMutex
	log   versions
	nodes nodes
	seq   int64 // newest entry
	moved int64 // sum of all milligrams ever moved, so that no content can overflow
	open  bool  // the newest version was begun while the lock was held as it is

	place    map[int64]int64 // entries that stand after another one than their predecessor
	struck   map[int64]int64 // entry → the entry that reversed it
	reversal map[int64]int64 // the other way round
}

// New returns an empty graph.
func New() *Graph {
	return &Graph{
		nodes: newNodes(),
		place: map[int64]int64{}, struck: map[int64]int64{}, reversal: map[int64]int64{},
	}
}

// Append adds the next transfers of the book, all at once: a question sees all
// of them or none, so give it whole entries. It fails with ErrTransfer, ErrOrder
// or ErrFull and then has changed nothing.
func (g *Graph) Append(ts ...Transfer) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if err := g.room(len(ts)); err != nil {
		return err
	}
	seq, moved := g.seq, g.moved
	for _, t := range ts {
		if err := g.claim(t.Seq, t.Seq, seq); err != nil {
			return err
		}
		if err := g.check(t, moved); err != nil {
			return err
		}
		seq, moved = t.Seq, moved+t.Mg
	}
	g.seq, g.open = seq, false
	for _, t := range ts {
		g.put(g.move(t))
	}
	return nil
}

// room refuses more transfers than there is room for.
func (g *Graph) room(transfers int) error {
	if transfers > int(maxParts-g.log.parts.n) || !g.nodes.room(2*transfers) {
		return fmt.Errorf("%w: %d versions of %d nodes", ErrFull, g.log.n, g.nodes.n)
	}
	return nil
}

// check refuses what cannot be a transfer after moved milligrams of others.
func (g *Graph) check(t Transfer, moved int64) error {
	switch {
	case t.To == "" || len(t.To) > maxName:
		return fmt.Errorf("%w: To is %.80q, must be a name of 1 to %d bytes", ErrTransfer, t.To, maxName)
	case len(t.From) > maxName:
		return fmt.Errorf("%w: From is %.80q, must be a name of at most %d bytes", ErrTransfer, t.From, maxName)
	case t.From == t.To:
		return fmt.Errorf("%w: From and To are both %q, must differ", ErrTransfer, t.To)
	case t.Mg <= 0:
		return fmt.Errorf("%w: Mg is %d, must be above zero (a wrong entry is undone by Reverse)", ErrTransfer, t.Mg)
	case t.Mg > math.MaxInt64-moved:
		return fmt.Errorf("%w: Mg is %d, all transfers together must stay within %d", ErrTransfer, t.Mg, int64(math.MaxInt64))
	}
	return nil
}

// claim checks that entry seq may stand at a place when newest is the newest
// entry: they come in order, and all transfers of one entry stand together.
func (g *Graph) claim(seq, place, newest int64) error {
	switch {
	case seq < 1 || seq > math.MaxUint32:
		return fmt.Errorf("%w: Seq is %d, must be 1 to %d", ErrOrder, seq, uint32(math.MaxUint32))
	case seq < newest:
		return fmt.Errorf("%w: Seq is %d, must be at least %d, the newest entry", ErrOrder, seq, newest)
	case seq == newest && g.placeOf(seq) != place && g.standing(seq):
		return fmt.Errorf("%w: entry %d stands at %d already, its transfers must stay together", ErrOrder, seq, g.placeOf(seq))
	}
	return nil
}

// standing reports whether the newest entry has transfers already.
func (g *Graph) standing(newest int64) bool {
	_, placed := g.place[newest]
	return placed || g.log.n > 0 && int64(g.log.at(g.log.n-1).seq) == newest
}

func (g *Graph) placeOf(seq int64) int64 {
	if p, ok := g.place[seq]; ok {
		return p
	}
	return seq
}

// move is a checked transfer between numbered nodes.
type move struct {
	seq      uint32
	from, to int32 // from is none for metal from outside
	mg       int64
	melt     bool
}

func (g *Graph) move(t Transfer) move {
	m := move{seq: uint32(t.Seq), from: none, mg: t.Mg, melt: t.Melt}
	if t.From != "" {
		m.from = g.nodes.intern(t.From)
	}
	m.to = g.nodes.intern(t.To)
	g.moved += t.Mg
	return m
}

// put carries out a move: what the giver holds first, its own metal for the rest.
func (g *Graph) put(m move) {
	if m.from == none {
		g.receive(^m.to, m.mg, m)
		return
	}
	held := g.nodes.content(m.from)
	g.nodes.put(m.from, -m.mg)
	if held > 0 {
		part := min(held, m.mg)
		g.receive(g.nodes.at(m.from).last, part, m)
		m.mg -= part
	}
	if m.mg > 0 {
		g.receive(^m.from, m.mg, m)
	}
}

// receive makes metal part of the newest version if that is of the same node, entry and
// kind and no question has seen it yet, and of a new one otherwise.
func (g *Graph) receive(src int32, mg int64, m move) {
	to, newest := g.nodes.at(m.to), g.log.n-1
	if !g.open || !g.log.at(newest).of(m) {
		held := g.nodes.content(m.to)
		again := to.last != none || held != 0
		newest = g.log.begin(m.to, m.melt, again, m.seq)
		if again {
			g.log.take(to.last, held)
		}
		to.last, g.open = newest, true
	}
	g.log.take(src, mg)
	g.nodes.put(m.to, mg)
}

// Content is what a node holds now, in milligrams; below zero when it gave more than came.
func (g *Graph) Content(node string) int64 {
	g.mu.RLock()
	defer g.mu.RUnlock()
	id, _, _ := g.nodes.find(node)
	if id == none {
		return 0
	}
	return g.nodes.content(id)
}

// Size is how large a graph is.
type Size struct {
	Nodes    int
	Versions int   // at most one per transfer, one for those of an entry to the same node that follow each other
	Bytes    int64 // memory held between questions
}

// Size returns the present size.
func (g *Graph) Size() Size {
	g.mu.RLock()
	defer g.mu.RUnlock()
	const perCorrection = 3 * 32 // three map entries, about
	b := g.log.bytes() + g.nodes.bytes() + perCorrection*int64(len(g.place)+len(g.reversal))
	return Size{Nodes: int(g.nodes.n), Versions: int(g.log.n), Bytes: b}
}

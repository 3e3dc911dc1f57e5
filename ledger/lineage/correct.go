package lineage

import (
	"fmt"
	"sort"
)

// Reverse strikes entry old because entry seq reverses it: its transfers are
// taken out and what follows is replayed without them. An entry without
// transfers may be reversed too. A reversal cannot be reversed; insert the
// transfers of the entry it struck again, after that entry.
//
// It takes about as long as appending everything after old anew. It fails with
// ErrOrder or ErrReversed and then has changed nothing.
func (g *Graph) Reverse(seq, old int64) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if err := g.claim(seq, g.placeOf(seq), g.seq); err != nil {
		return err
	}
	if old < 1 || old >= seq {
		return fmt.Errorf("%w: entry %d reverses entry %d, must be an earlier one", ErrOrder, seq, old)
	}
	if by, ok := g.struck[old]; ok {
		return fmt.Errorf("%w: entry %d was reversed by entry %d", ErrReversed, old, by)
	}
	if of, ok := g.reversal[old]; ok {
		return fmt.Errorf("%w: entry %d is the reversal of entry %d; insert the transfers of %[3]d again", ErrReversed, old, of)
	}
	if of, ok := g.reversal[seq]; ok {
		return fmt.Errorf("%w: entry %d reverses entry %d already, one entry reverses one", ErrReversed, seq, of)
	}
	g.seq, g.struck[old], g.reversal[seq] = seq, seq, old
	at := g.upTo(g.placeOf(old) - 1)
	g.rewrite(at, nil, uint32(old))
	return nil
}

// Insert adds transfers of entry seq, recorded now, as happened right after an
// earlier entry (and after what was inserted there before): a charge written
// down late, or the right version of a reversed entry. Their Seq is taken to be
// seq. It costs and fails as Reverse does, and with ErrTransfer or ErrFull.
func (g *Graph) Insert(seq, after int64, ts ...Transfer) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	if after < 1 || after > seq {
		return fmt.Errorf("%w: entry %d inserted after entry %d, must be an earlier one", ErrOrder, seq, after)
	}
	place := g.placeOf(after)
	if err := g.claim(seq, place, g.seq); err != nil {
		return err
	}
	if err := g.room(len(ts)); err != nil {
		return err
	}
	moved := g.moved
	for _, t := range ts {
		if err := g.check(t, moved); err != nil {
			return err
		}
		moved += t.Mg
	}
	g.seq = seq
	if place != seq {
		g.place[seq] = place
	}
	moves := make([]move, len(ts))
	for i, t := range ts {
		t.Seq = seq
		moves[i] = g.move(t)
	}
	g.rewrite(g.upTo(place), moves, 0)
	return nil
}

// Transfers returns the transfers of an entry as they stand, none once it is struck. What
// an account gave of its own metal may be a transfer apart from what it gave of others'.
func (g *Graph) Transfers(seq int64) (out []Transfer) {
	g.mu.RLock()
	defer g.mu.RUnlock()
	place := g.placeOf(seq)
	for i, end := g.upTo(place-1), g.upTo(place); i < end; i++ {
		v := g.log.at(i)
		if int64(v.seq) != seq {
			continue
		}
		for from, mg := range g.log.moved(i) {
			t := Transfer{Seq: seq, To: g.nodes.name(v.node()), Mg: mg, Melt: v.melt()}
			if from != none {
				t.From = g.nodes.name(from)
			}
			out = append(out, t)
		}
	}
	return out
}

// upTo returns how many versions stand at or before a place.
func (g *Graph) upTo(place int64) int32 {
	return int32(sort.Search(int(g.log.n), func(i int) bool {
		return g.placeOf(int64(g.log.at(int32(i)).seq)) > place
	}))
}

// rewrite goes back to the first n versions, adds moves, and replays the rest
// without those of the struck entry (0 for none).
func (g *Graph) rewrite(n int32, moves []move, strike uint32) {
	old := g.log
	for i := old.n - 1; i >= n; i-- {
		to := old.at(i).node()
		g.nodes.at(to).last = old.prev(i)
		for from, mg := range old.moved(i) {
			g.nodes.put(to, -mg)
			if from != none {
				g.nodes.put(from, mg)
			}
		}
	}
	g.log, g.open = old.before(n), false
	for _, m := range moves {
		g.put(m)
	}
	for i := n; i < old.n; i++ {
		v := old.at(i)
		if v.seq == strike {
			continue
		}
		for from, mg := range old.moved(i) {
			g.put(move{seq: v.seq, from: from, to: v.node(), mg: mg, melt: v.melt()})
		}
	}
}

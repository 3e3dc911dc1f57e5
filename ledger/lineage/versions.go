package lineage

import (
	"iter"
	"math"
	"sort"
	"unsafe"
)

const (
	none     int32 = -1
	maxParts int32 = 1 << 29 // a replay may split them, and add what was there before

	meltFlag  = uint32(1) << 31
	againFlag = uint32(1) << 30

	// trace is the least share that is followed. It is less than one atom of any
	// charge: 500 kg of aluminium are 1.1e28 atoms (Avogadro constant 6.02e23/mol
	// over 26.98 g/mol). Without it the oldest metal of a shop that melts its
	// returns for years would be followed for ever, halving at every heat.
	trace = 1e-30

	elsewhere = math.MinInt32 // milligrams that do not fit 32 bits, beyond 2147 kg: see largeMass
)

// version is a node's mixture after metal came in by transfers one after another of one
// entry. It is made of parts, and never changed.
type version struct {
	to  uint32 // node, meltFlag, and againFlag for a node that was known before
	seq uint32 // entry
	end int32  // of its parts; they begin where those of the version before end
}

// part of a mixture. With againFlag the first part is what was in the node before: its
// version then, or none, and milligrams, below zero when it gave more than had come.
type part struct {
	src int32 // version the metal was taken from; ^node for metal of the node's own
	mg  int32 // milligrams
}

func flag(set bool, bit uint32) uint32 {
	if set {
		return bit
	}
	return 0
}

func (v *version) node() int32 { return int32(v.to &^ (meltFlag | againFlag)) }
func (v *version) melt() bool  { return v.to&meltFlag != 0 }

// of tells whether a version may take in a move too.
func (v *version) of(m move) bool {
	return v.to&^againFlag == uint32(m.to)|flag(m.melt, meltFlag) && v.seq == m.seq
}
func (v *version) again() bool { return v.to&againFlag != 0 }

// largeMass is what does not fit a part, or a node.
type largeMass struct {
	at int32
	mg int64
}

// versions is an append-only list of versions. A copy of the struct is a
// snapshot: what lies below its n is never written again.
type versions struct {
	list[version]
	parts list[part]
	large []largeMass // by at, a number of a part

	known int32   // all nodes of the versions have numbers below
	seen  []int32 // what known was when each chunk was begun
}

// begin adds a version without parts; take adds a part to the newest.
func (l *versions) begin(to int32, melt, again bool, seq uint32) int32 {
	if l.n&(chunkLen-1) == 0 {
		l.seen = append(l.seen, l.known)
	}
	l.known = max(l.known, to+1)
	return l.add(version{to: uint32(to) | flag(melt, meltFlag) | flag(again, againFlag), seq: seq, end: l.parts.n})
}

func (l *versions) take(src int32, mg int64) {
	p := part{src: src, mg: int32(mg)}
	if int64(p.mg) != mg || p.mg == elsewhere {
		p.mg = elsewhere
		l.large = append(l.large, largeMass{l.parts.n, mg})
	}
	l.at(l.n - 1).end = l.parts.add(p) + 1
	if src < 0 {
		l.known = max(l.known, ^src+1)
	}
}

// first returns where the parts of version i begin.
func (l *versions) first(i int32) int32 {
	if i == 0 {
		return 0
	}
	return l.at(i - 1).end
}

// mass returns the milligrams of a part, which is number k.
func (l *versions) mass(k int32, p *part) int64 {
	if p.mg != elsewhere {
		return int64(p.mg)
	}
	return l.large[l.largeFrom(k)].mg
}

func (l *versions) largeFrom(k int32) int {
	return sort.Search(len(l.large), func(j int) bool { return l.large[j].at >= k })
}

// content returns what the node held with version i.
func (l *versions) content(i int32) int64 { return l.sum(l.first(i), l.at(i).end) }

// sum returns what the parts from k to end are together.
func (l *versions) sum(k, end int32) (mg int64) {
	for ; k < end; k++ {
		mg += l.mass(k, l.parts.at(k))
	}
	return mg
}

// prev returns the same node's version before, or none.
func (l *versions) prev(i int32) int32 {
	if !l.at(i).again() {
		return none
	}
	return l.parts.at(l.first(i)).src
}

// moved gives the transfers that made version i: who gave, none for outside, and
// milligrams.
func (l *versions) moved(i int32) iter.Seq2[int32, int64] {
	return func(yield func(int32, int64) bool) {
		v, k := l.at(i), l.first(i)
		if v.again() {
			k++
		}
		for ; k < v.end; k++ {
			p := l.parts.at(k)
			from := ^p.src
			if p.src >= 0 {
				from = l.at(p.src).node()
			} else if from == v.node() {
				from = none
			}
			if !yield(from, l.mass(k, p)) {
				return
			}
		}
	}
}

// without returns how many versions there are at least before the first that has to do
// with a node.
func (l *versions) without(node int32) int32 {
	chunks := sort.Search(len(l.seen), func(c int) bool { return l.seen[c] > node })
	return min(int32(max(chunks-1, 0))<<chunkBits, l.n)
}

// before returns a list of the first n versions which can be appended to
// without touching memory that a snapshot may be reading.
func (l *versions) before(n int32) versions {
	end := l.first(n)
	cut, chunks := l.largeFrom(end), (n+chunkLen-1)>>chunkBits
	out := versions{list: l.list.before(n), parts: l.parts.before(end), large: l.large[:cut:cut], seen: l.seen[:chunks:chunks]}
	for i := n &^ (chunkLen - 1); i < n; i++ {
		out.known = max(out.known, l.at(i).node()+1)
		for k := l.first(i); k < l.at(i).end; k++ {
			out.known = max(out.known, ^l.parts.at(k).src+1)
		}
	}
	if chunks > 0 {
		out.known = max(out.known, l.seen[chunks-1])
	}
	return out
}

func (l *versions) bytes() int64 {
	return l.list.bytes() + l.parts.bytes() + 4*int64(cap(l.seen)) + int64(cap(l.large))*int64(unsafe.Sizeof(largeMass{}))
}

package lineage

import (
	"math"
	"sort"
	"unsafe"
)

const (
	none        int32 = -1
	maxVersions int32 = 1 << 30 // a replay may split versions, up to twice as many
	meltFlag          = uint32(1) << 31

	chunkBits = 11
	chunkLen  = 1 << chunkBits

	// trace is the least share that is followed. It is less than one atom of any
	// charge: 500 kg of aluminium are 1.1e28 atoms (Avogadro constant 6.02e23/mol
	// over 26.98 g/mol). Without it the oldest metal of a shop that melts its
	// returns for years would be followed for ever, halving at every heat.
	trace = 1e-30

	elsewhere = math.MaxUint32 // mass does not fit 32 bits, see versions.large
)

// version is a node's mixture after one transfer into it. It is never changed.
type version struct {
	to   uint32 // node, and meltFlag
	prev int32  // the same node's version before, or none
	src  int32  // version the metal was taken from; ^node for metal of the node's own
	seq  uint32 // entry

	// Milligrams that came, and content of the node afterwards. Nearly always
	// they are below 4295 kg and fit; with elsewhere in mg they are in
	// versions.large.
	mg, after uint32
}

func meltBit(melt bool) uint32 {
	if melt {
		return meltFlag
	}
	return 0
}

func (v *version) node() int32 { return int32(v.to &^ meltFlag) }
func (v *version) melt() bool  { return v.to&meltFlag != 0 }

type largeMass struct {
	at        int32
	mg, after int64
}

// versions is an append-only list of versions. A copy of the struct is a
// snapshot: what lies below its n is never written again.
type versions struct {
	n      int32
	chunks []*[chunkLen]version
	large  []largeMass // by at
}

func (l *versions) at(i int32) *version { return &l.chunks[i>>chunkBits][i&(chunkLen-1)] }

func (l *versions) add(v version, mg, after int64) int32 {
	i := l.n
	if i&(chunkLen-1) == 0 {
		l.chunks = append(l.chunks, new([chunkLen]version))
	}
	if mg >= elsewhere || after < 0 || after >= elsewhere {
		v.mg = elsewhere
		l.large = append(l.large, largeMass{i, mg, after})
	} else {
		v.mg, v.after = uint32(mg), uint32(after)
	}
	*l.at(i) = v
	l.n++
	return i
}

// mass returns what came with version i and the node's content afterwards.
func (l *versions) mass(i int32, v *version) (mg, after int64) {
	if v.mg != elsewhere {
		return int64(v.mg), int64(v.after)
	}
	m := l.large[l.largeFrom(i)]
	return m.mg, m.after
}

func (l *versions) largeFrom(i int32) int {
	return sort.Search(len(l.large), func(k int) bool { return l.large[k].at >= i })
}

// giver returns the node version i was taken from, none for outside.
func (l *versions) giver(v *version) int32 {
	switch {
	case v.src >= 0:
		return l.at(v.src).node()
	case ^v.src == v.node():
		return none
	}
	return ^v.src
}

// before returns a list of the first n versions which can be appended to
// without touching memory that a snapshot may be reading.
func (l *versions) before(n int32) versions {
	whole := int(n >> chunkBits)
	cut := l.largeFrom(n)
	out := versions{n: n, chunks: l.chunks[:whole:whole], large: l.large[:cut:cut]}
	if rest := n & (chunkLen - 1); rest != 0 {
		c := new([chunkLen]version)
		copy(c[:rest], l.chunks[whole][:rest])
		out.chunks = append(out.chunks, c)
	}
	return out
}

func (l *versions) bytes() int64 {
	return int64(len(l.chunks))*int64(unsafe.Sizeof([chunkLen]version{})) +
		int64(cap(l.chunks))*8 + int64(cap(l.large))*int64(unsafe.Sizeof(largeMass{}))
}

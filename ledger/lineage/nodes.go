package lineage

import (
	"encoding/binary"
	"hash/maphash"
	"unsafe"
)

const (
	maxName   = 255
	shortName = 19
	longBits  = 14 // longer names are kept in blocks of 16 KiB
	longLen   = 1 << longBits

	nodeBits = 10
	nodeLen  = 1 << nodeBits
)

// node is a lot, a heat, a casting, a loss.
type node struct {
	content int64           // milligrams; below zero when it gave more than came
	last    int32           // its newest version, or none
	size    uint8           // of the name
	name    [shortName]byte // or where a longer one begins
}

// nodes numbers nodes by name in the order of their first appearance. Lots are
// many and short-lived: a map of strings would cost several times the bytes kept
// here, and the collector would have to look at each.
//
// A copy of the struct is a snapshot of the names; all else of it needs the lock.
type nodes struct {
	n      int32
	chunks []*[nodeLen]node
	long   []*[longLen]byte // names end to end, none straddling
	used   int              // of the last block
	slots  []slot           // hash table with open addressing
	seed   maphash.Seed
}

// slot holds enough of the hash that other names are almost never looked at.
type slot struct {
	hash uint32
	id   int32 // number + 1, 0 for free
}

func newNodes() nodes {
	return nodes{used: longLen, slots: make([]slot, 16), seed: maphash.MakeSeed()}
}

// full reports whether there is little room left.
func (s *nodes) full() bool { return len(s.long) >= 1<<(31-longBits) || s.n >= maxVersions }

func (s *nodes) at(id int32) *node { return &s.chunks[id>>nodeBits][id&(nodeLen-1)] }

// raw returns the bytes of a name, to be read only.
func (s *nodes) raw(id int32) []byte {
	x := s.at(id)
	if x.size <= shortName {
		return x.name[:x.size]
	}
	p := binary.NativeEndian.Uint32(x.name[:])
	return s.long[p>>longBits][p&(longLen-1):][:x.size]
}

func (s *nodes) name(id int32) string { return string(s.raw(id)) }

// find returns the number of a name, or none and the free slot where it belongs.
func (s *nodes) find(name string) (id int32, free int, hash uint32) {
	hash = uint32(maphash.String(s.seed, name))
	mask := len(s.slots) - 1
	for k := int(hash) & mask; ; k = (k + 1) & mask {
		x := s.slots[k]
		if x.id == 0 {
			return none, k, hash
		}
		if x.hash == hash && string(s.raw(x.id-1)) == name {
			return x.id - 1, k, hash
		}
	}
}

// intern returns the number of a name, a new one if need be.
func (s *nodes) intern(name string) int32 {
	id, free, hash := s.find(name)
	if id != none {
		return id
	}
	id = s.n
	if id&(nodeLen-1) == 0 {
		s.chunks = append(s.chunks, new([nodeLen]node))
	}
	s.n++
	x := s.at(id)
	x.last, x.size = none, uint8(len(name))
	if len(name) <= shortName {
		copy(x.name[:], name)
	} else {
		if s.used+len(name) > longLen {
			s.long, s.used = append(s.long, new([longLen]byte)), 0
		}
		last := len(s.long) - 1
		binary.NativeEndian.PutUint32(x.name[:], uint32(last<<longBits|s.used))
		s.used += copy(s.long[last][s.used:], name)
	}
	s.slots[free] = slot{hash, id + 1}
	if 4*int(s.n) > 3*len(s.slots) {
		s.grow()
	}
	return id
}

func (s *nodes) grow() {
	old := s.slots
	s.slots = make([]slot, 2*len(old))
	mask := len(s.slots) - 1
	for _, x := range old {
		if x.id == 0 {
			continue
		}
		k := int(x.hash) & mask
		for s.slots[k].id != 0 {
			k = (k + 1) & mask
		}
		s.slots[k] = x
	}
}

func (s *nodes) bytes() int64 {
	return int64(len(s.chunks))*int64(unsafe.Sizeof([nodeLen]node{})) + 8*int64(cap(s.chunks)) +
		int64(len(s.long))*longLen + 8*int64(cap(s.long)) + 8*int64(len(s.slots))
}

// namer makes strings of names, many in one allocation. A name kept by a caller
// keeps at most 4 KiB of others.
type namer struct {
	nodes *nodes
	buf   []byte
	ends  []int
	put   []*string
}

func (n *namer) name(id int32, to *string) {
	n.buf = append(n.buf, n.nodes.raw(id)...)
	n.ends, n.put = append(n.ends, len(n.buf)), append(n.put, to)
	if len(n.buf) > 4096-maxName {
		n.flush()
	}
}

func (n *namer) flush() {
	all, from := string(n.buf), 0
	for i, to := range n.put {
		*to, from = all[from:n.ends[i]], n.ends[i]
	}
	n.buf, n.ends, n.put = n.buf[:0], n.ends[:0], n.put[:0]
}

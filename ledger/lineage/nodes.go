package lineage

import (
	"encoding/binary"
	"hash/maphash"
)

const (
	maxName   = 255
	shortName = 15
	blockBits = 14 // longer names are kept in blocks of 16 KiB
	blockLen  = 1 << blockBits
)

// node is a lot, a heat, a casting, a loss.
type node struct {
	last    int32           // its newest version, or none
	content int32           // milligrams; below zero when it gave more than came
	size    uint8           // of the name
	name    [shortName]byte // or where a longer one begins
}

// nodes numbers nodes by name in the order of their first appearance. Lots are
// many and short-lived: a map of strings would cost several times the bytes kept
// here, and the collector would have to look at each.
//
// A copy of the struct is a snapshot of the names; all else of it needs the lock.
type nodes struct {
	list[node]
	long  []*[blockLen]byte // names end to end, none straddling
	used  int               // of the last block
	large map[int32]int64   // contents that do not fit 32 bits

	slots []uint32 // a hash table with open addressing; 0 is free
	seed  maphash.Seed
}

// A slot is the number of a node plus one, and above it bits of the hash of its name, so
// that other names are seldom looked at.
const (
	slotBits = 26
	maxNodes = 1<<slotBits - 2
)

func newNodes() nodes {
	return nodes{used: blockLen, large: map[int32]int64{}, slots: make([]uint32, 16), seed: maphash.MakeSeed()}
}

// room reports whether so many more nodes can be numbered.
func (s *nodes) room(more int) bool {
	return more <= maxNodes-int(s.n) && len(s.long)+more/(blockLen/(maxName+1)) < 1<<(32-blockBits)-1
}

// raw returns the bytes of a name, to be read only.
func (s *nodes) raw(id int32) []byte {
	x := s.at(id)
	if x.size <= shortName {
		return x.name[:x.size]
	}
	p := binary.NativeEndian.Uint32(x.name[:])
	return s.long[p>>blockBits][p&(blockLen-1):][:x.size]
}

func (s *nodes) name(id int32) string { return string(s.raw(id)) }

// content is what a node holds, in milligrams.
func (s *nodes) content(id int32) int64 {
	if mg := s.at(id).content; mg != elsewhere {
		return int64(mg)
	}
	return s.large[id]
}

// put adds milligrams to what a node holds.
func (s *nodes) put(id int32, mg int64) {
	x := s.at(id)
	mg += s.content(id)
	if fits := int32(mg); int64(fits) == mg && fits != elsewhere {
		if x.content == elsewhere {
			delete(s.large, id)
		}
		x.content = fits
	} else {
		x.content, s.large[id] = elsewhere, mg
	}
}

// find returns the number of a name, or none and the free slot where it belongs, and the
// hash.
func (s *nodes) find(name string) (id int32, free int, hash uint64) {
	hash = maphash.String(s.seed, name)
	mask := len(s.slots) - 1
	for k := int(hash) & mask; ; k = (k + 1) & mask {
		x := s.slots[k]
		if x == 0 {
			return none, k, hash
		}
		if x>>slotBits != uint32(hash>>(32+slotBits)) {
			continue
		}
		if id := slotted(x); string(s.raw(id)) == name {
			return id, k, hash
		}
	}
}

func slot(hash uint64, id int32) uint32 { return uint32(hash>>(32+slotBits))<<slotBits | uint32(id+1) }

func slotted(x uint32) int32 { return int32(x&(1<<slotBits-1)) - 1 }

// intern returns the number of a name, a new one if need be.
func (s *nodes) intern(name string) int32 {
	id, free, hash := s.find(name)
	if id != none {
		return id
	}
	x := node{last: none, size: uint8(len(name))}
	if len(name) <= shortName {
		copy(x.name[:], name)
	} else {
		if s.used+len(name) > blockLen {
			s.long, s.used = append(s.long, new([blockLen]byte)), 0
		}
		last := len(s.long) - 1
		binary.NativeEndian.PutUint32(x.name[:], uint32(last<<blockBits|s.used))
		s.used += copy(s.long[last][s.used:], name)
	}
	id = s.add(x)
	s.slots[free] = slot(hash, id)
	if 5*int(s.n) > 4*len(s.slots) {
		s.grow()
	}
	return id
}

// grow makes the table twice as large. It hashes the names anew, which is faster than
// memory for their hashes is worth.
func (s *nodes) grow() {
	s.slots = make([]uint32, 2*len(s.slots))
	mask := len(s.slots) - 1
	for id := range s.n {
		hash := maphash.Bytes(s.seed, s.raw(id))
		k := int(hash) & mask
		for s.slots[k] != 0 {
			k = (k + 1) & mask
		}
		s.slots[k] = slot(hash, id)
	}
}

func (s *nodes) bytes() int64 {
	const perLarge = 32 // a map entry, about
	return s.list.bytes() + int64(len(s.long))*blockLen + 8*int64(cap(s.long)) + 4*int64(len(s.slots)) + perLarge*int64(len(s.large))
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

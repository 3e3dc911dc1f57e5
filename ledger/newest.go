package ledger

import "math/bits"

// newest remembers a number for each of very many names, both of 64 bits and the names
// spread evenly, in some 19 bytes each where a map takes up to 36, and as many again
// while it grows. The zero value is empty.
//
// Names lie in order, each at the place in its shard where it would be if all were
// spread quite evenly, or soon after it; so one that is not there is missed soon.
type newest struct {
	shards [1 << shardBits]shard
}

// shardBits is how many of a name's first bits say which shard it is in. A shard is
// small beside all of them, so that one that grows takes little memory twice.
const shardBits = 8

type shard struct {
	slots  []slot // and further ones at the end for those that do not find their place
	places uint64
	n      uint64
}

type slot struct{ name, number uint64 } // name 0: free

// set gives a name a number, and returns the one it had.
func (t *newest) set(name, number uint64) (was uint64, known bool) {
	if name == 0 { // as good as any other
		name = 1
	}
	s := &t.shards[name>>(64-shardBits)]
	i := s.find(name)
	if i < uint64(len(s.slots)) && s.slots[i].name == name {
		was, s.slots[i].number = s.slots[i].number, number
		return was, true
	}
	if s.n++; s.n > s.places/10*9 {
		s.grow()
		i = s.find(name)
	}
	s.put(i, slot{name, number})
	return 0, false
}

// place is where a name would be.
func (s *shard) place(name uint64) uint64 {
	at, _ := bits.Mul64(name<<shardBits, s.places)
	return at
}

// find is where a name is, or is to be put.
func (s *shard) find(name uint64) uint64 {
	i := s.place(name)
	for i < uint64(len(s.slots)) && s.slots[i].name != 0 && s.slots[i].name < name {
		i++
	}
	return i
}

// put puts x in before what is at i.
func (s *shard) put(i uint64, x slot) {
	end := i
	for end < uint64(len(s.slots)) && s.slots[end].name != 0 {
		end++
	}
	if end == uint64(len(s.slots)) { // very unevenly spread
		s.slots = append(s.slots, slot{})
	}
	copy(s.slots[i+1:end+1], s.slots[i:end])
	s.slots[i] = x
}

// grow makes room by an eighth.
func (s *shard) grow() {
	old := s.slots
	s.places += s.places/8 + 64
	s.slots = make([]slot, s.places+64)
	next := uint64(0)
	for _, x := range old {
		if x.name == 0 {
			continue
		}
		next = max(next, s.place(x.name))
		s.put(next, x)
		next++
	}
}

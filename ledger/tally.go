package ledger

import (
	"bytes"
	"context"
	"errors"
	"hash/maphash"
	"math/bits"
	"slices"
)

// A Tally is a sum over everything that is kept beside a log: over hashes that
// nobody knows beforehand, so that what is missing, changed or too much makes
// another sum, with a chance in 2⁶⁴ that it does not. A book is whole when what its
// store keeps has the same tally as what follows from its log; only when it has not,
// what is wrong is looked for.
type Tally struct {
	seed   maphash.Seed
	stir   [2]uint64
	counts map[RecordKind]*int64

	balances, records, requests, touches uint64
}

// Tallier is a Reader that can give the tally of what it keeps, which is faster than
// to name it all, as Kept does.
type Tallier interface {
	Tally(t *Tally) error
	Walker

	// RecordsMade gives about how many records there are, by which the work is parted.
	RecordsMade() (int64, error)
}

// recordsAtATime is how many records are remembered at a time, 19 bytes each. Where there
// are more, the log is read once for each so many of them: verifying any book takes no
// more memory than that, and one of fewer is read once. mostParts is for a number of them
// that is wrong itself.
const (
	recordsAtATime = 6_500_000
	mostParts      = 64
)

// like gives an empty tally whose sums can be held against those of t.
func (t *Tally) like() *Tally {
	return &Tally{seed: t.seed, stir: t.stir, counts: map[RecordKind]*int64{}}
}

func newTally() *Tally {
	seed := maphash.MakeSeed()
	return (&Tally{seed: seed, stir: [2]uint64{maphash.String(seed, "a"), maphash.String(seed, "b")}}).like()
}

// Name is what stands for the name of an account, a record or a subject.
func (t *Tally) Name(name []byte) uint64 { return maphash.Bytes(t.seed, name) }

// Child is what stands for a record among those of its parent.
func (t *Tally) Child(parent, name []byte) uint64 { return t.mix(t.Name(parent), t.Name(name)) }

func (t *Tally) mix(a, b uint64) uint64 {
	hi, lo := bits.Mul64(a^t.stir[0], b^t.stir[1])
	return hi ^ lo
}

// Balance counts an account's kept balance, or a posting.
func (t *Tally) Balance(name uint64, m Mass) { t.balances += (name | 1) * uint64(m) } //nolint:gosec // any bits will do

// Record counts a current record: the size bytes at offset at (from 1) of its
// entry's bytes, where they are found first.
func (t *Tally) Record(name uint64, parent []byte, seq, at, size int64) {
	t.records += t.record(name, t.Name(parent), seq, at, size)
}

func (t *Tally) record(name, parent uint64, seq, at, size int64) uint64 {
	return t.mix(t.mix(name, parent), t.mix(uint64(seq), uint64(at)<<32^uint64(size))) //nolint:gosec // any bits will do
}

// Request counts a request id and the entry it made.
func (t *Tally) Request(id []byte, seq int64) {
	t.requests += t.mix(maphash.Bytes(t.seed, id), uint64(seq)) //nolint:gosec // any bits will do
}

// Touch counts that an entry is about a subject.
func (t *Tally) Touch(subject uint64, seq int64) { t.touches += t.mix(subject, uint64(seq)) } //nolint:gosec // any bits will do

// Count counts how many records of a kind are said to have been made.
func (t *Tally) Count(kind RecordKind, n int64) {
	if t.counts[kind] == nil {
		t.counts[kind] = new(int64)
	}
	*t.counts[kind] += n
}

func (t *Tally) equal(o *Tally) bool {
	for kind, n := range t.counts {
		if other := o.counts[kind]; other == nil || *other != *n {
			return false
		}
	}
	return len(t.counts) == len(o.counts) && t.balances == o.balances && t.records == o.records &&
		t.requests == o.requests && t.touches == o.touches
}

// logTally is the tally of a log, entry by entry. It remembers what accounts with a
// floor hold, unless that is nothing, and a number for each record of one part.
type logTally struct {
	*Tally
	part, parts int64
	held        map[uint64]Mass
	written     newest   // what each record of the part counts, by its name
	about       []uint64 // what the entry looked at is about
	below       []uint64 // what a posting of it took below zero
	buf         []byte
}

// log reads a log once and counts it up to where head is, of the first part all of it,
// then only its records. It gives where it ended, and whether all was right up to there.
func (t *logTally) log(ctx context.Context, from Tallier, shop string, head Head, told func(done int64)) (end Head, right bool, err error) {
	entries, err := from.Entries()
	if err != nil {
		return end, false, err
	}
	next, stop := ReadAhead(&chained{LogReader: entries}, 0)
	defer stop()
	for { // to the end, also past head: what is there may lead astray who looks for what is not
		if err := ctx.Err(); err != nil {
			return end, false, err
		}
		log, err := next()
		if errors.Is(err, errUnchained) {
			return end, false, nil
		}
		if err != nil {
			return end, false, err
		}
		for _, s := range log {
			if end.Seq == head.Seq {
				break
			}
			if !t.entry(shop, end.Seq+1, s) {
				return end, false, nil
			}
			end.Seq, end.Hash = s.Seq, s.Hash
		}
		told(end.Seq)
		if len(log) < Batch {
			return end, end.Seq == head.Seq && end.Hash == head.Hash, nil
		}
	}
}

// entry counts an entry, if it is the one that is due and right; what checker.entry
// looks for is looked for here too, but for the chain. It goes through the bytes as they
// are, as Decode does, and refuses what that refuses: making an entry of them would take
// longer than all that is done with it. Of a wrong entry some may be counted.
func (t *logTally) entry(shop string, seq int64, s Sealed) bool {
	r := reader{b: s.Bytes}
	if s.Seq != seq || r.byte() != encodingV1 || string(r.bytes()) != shop || r.uint() != uint64(seq) { //nolint:gosec // it counts from 1
		return false
	}
	t.about = t.about[:0]
	r.text() // the kind
	request := r.take(len(RequestID{}))
	r.take(16)    // the digest
	r.int()       // when it happened
	r.int()       // and was recorded
	for range 3 { // who, by what device, why
		r.text()
	}
	for range r.count(2) { // flags
		r.text()
		r.text()
	}
	r.int() // what it reverses
	if !t.postings(&r) {
		return false
	}
	for range r.count(12) { // weighings
		r.text()
		r.text()
		for range 4 {
			r.text()
			r.int()
		}
		r.int()
		r.int()
	}
	for range r.count(4) {
		t.writes(s, r.text(), r.text(), r.text(), r.bytes())
	}
	for range r.count(3) { // costs
		r.text()
		r.text()
		r.int()
	}
	if r.err != "" || r.left() > 0 {
		return false
	}
	if t.part == 0 {
		t.Request(request, seq)
		for _, subject := range t.about {
			t.Touch(subject, seq)
		}
	}
	return true
}

// postings counts the postings that come next, if they are right.
func (t *logTally) postings(r *reader) bool {
	metal, supplies := Mass(0), uint64(0)
	t.below = t.below[:0]
	for range r.count(3) {
		account, m := r.bytes(), Mass(r.int())
		r.byte() // the basis
		if t.part > 0 {
			continue
		}
		kind, ref, _ := bytes.Cut(account, slash)
		rules, known := accountRules[AccountKind(kind)]
		if !known || !validID(ref) { // of a few ASCII characters, so it is text too
			return false
		}
		name := t.Name(account)
		t.Balance(name, m)
		if rules.supplies {
			supplies += (t.Name(ref) | 1) * uint64(m) //nolint:gosec // any bits will do
		} else {
			sum, err := metal.Add(m)
			if err != nil {
				return false
			}
			metal = sum
		}
		if rules.floor {
			t.hold(name, m)
		}
		if rules.ofHeat {
			name = t.named(heatKind, ref)
		}
		t.isAbout(name)
	}
	if metal != 0 || supplies != 0 {
		return false
	}
	for _, name := range t.below { // what one posting takes another may bring
		if t.held[name] < 0 {
			return false
		}
	}
	return true
}

// hold books what an account with a floor holds.
func (t *logTally) hold(name uint64, m Mass) {
	m += t.held[name]
	if m == 0 {
		delete(t.held, name)
	} else {
		t.held[name] = m
	}
	if m < 0 {
		t.below = append(t.below, name)
	}
}

// writes counts a record of an entry, if it is of the part, in the place of what it was
// before.
func (t *logTally) writes(s Sealed, kind, id, parent, body []byte) {
	name, of := t.named(kind, id), t.Name(parent)
	if len(id) > 0 {
		t.isAbout(name)
	} else {
		t.isAbout(t.Name(kind))
	}
	if len(parent) > 0 {
		t.isAbout(of)
	}
	if int64(name%uint64(t.parts)) != t.part { //nolint:gosec // a few of them
		return
	}
	is := t.record(name, of, s.Seq, int64(bytes.Index(s.Bytes, body)+1), int64(len(body)))
	was, again := t.written.set(name, is)
	if !again {
		t.made(kind)
	}
	t.records += is - was
}

// made counts a record that is new.
func (t *logTally) made(kind []byte) {
	if n := t.counts[RecordKind(kind)]; n != nil { // looking it up needs no copy of the kind
		*n++
	} else {
		t.Count(RecordKind(kind), 1)
	}
}

// isAbout notes a subject of the entry, once.
func (t *logTally) isAbout(subject uint64) {
	if !slices.Contains(t.about, subject) {
		t.about = append(t.about, subject)
	}
}

var slash, heatKind = []byte("/"), []byte("heat")

// named is what stands for kind/ref.
func (t *logTally) named(kind, ref []byte) uint64 {
	t.buf = append(append(append(t.buf[:0], kind...), '/'), ref...)
	return t.Name(t.buf)
}

// chained is a log that ends with an error where its chain does. Hashing where it is
// read leaves the rest of the work to another core.
type chained struct {
	LogReader
	last Hash
}

var errUnchained = errors.New("the chain is broken")

// Log implements LogReader.
func (c *chained) Log(after int64, limit int) ([]Sealed, error) {
	log, err := c.LogReader.Log(after, limit)
	for _, s := range log {
		if Chain(c.last, s.Bytes) != s.Hash {
			return nil, errUnchained
		}
		c.last = s.Hash
	}
	return log, err
}

// tallied verifies a book by its tallies. It tells whether it found the book whole;
// if not, that says nothing yet.
//
// What is kept and the log are read side by side, over a snapshot each, of which that
// of the log is the later: it is read as far as the other goes, and up to there it is
// the same. Neither waits for the other while it holds its snapshot.
func tallied(ctx context.Context, st Store, shop string, progress func(done, all int64)) (v Verified, whole bool, err error) {
	v.Shop = shop
	derived := newTally()
	kept := derived.like()
	heads, ended := make(chan Head, 1), make(chan error, 1)
	can := false
	go func() {
		defer close(heads)
		ended <- st.View(ctx, shop, func(r Reader) error {
			head, err := r.Head()
			t, ok := r.(Tallier)
			if err != nil || !ok {
				return err
			}
			can = true
			heads <- head
			return t.Tally(kept)
		})
	}()
	head, going := <-heads
	if !going {
		return v, false, <-ended
	}
	if progress != nil {
		progress(0, head.Seq)
	}
	t := &logTally{Tally: derived, held: map[uint64]Mass{}}
	right := true
	err = st.View(ctx, shop, func(r Reader) error {
		from := r.(Tallier)
		n, err := from.RecordsMade()
		if err != nil {
			return err
		}
		for t.parts = 1 + min(max(n-1, 0)/recordsAtATime, mostParts-1); right && err == nil && t.part < t.parts; t.part++ {
			t.written = newest{}
			var end Head
			end, right, err = t.log(ctx, from, shop, head, func(done int64) {
				if progress != nil {
					progress((t.part*head.Seq+done)/t.parts, head.Seq)
				}
			})
			v.Entries, v.Head = end.Seq, end.Hash
		}
		return err
	})
	if other := <-ended; err == nil {
		err = other
	}
	return v, err == nil && can && right && kept.equal(derived), err
}

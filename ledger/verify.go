package ledger

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/maphash"
)

// Fault is the first thing Verify found wrong.
type Fault struct {
	Seq  int64 // the first bad entry, or 0 when the log is whole but what is kept beside it is not
	What string
}

// Verified is what Verify found, or VerifyAfter. Fault is nil when the book is whole.
type Verified struct {
	Shop    string
	After   int64 // the entry up to which nothing was read; 0 when all was
	Entries int64 // the last entry of those found right; with After that entry or a later one, or 0 when it is wrong itself
	Head    Hash
	Fault   *Fault
}

// verifying has a place for each book that is being verified.
var verifying = make(chan struct{}, 2)

// Verify reads a shop's whole log and derives everything again: the numbering,
// the hash chain, the sums of each entry's postings, every balance, record,
// request id, subject and count; and compares them with what the store keeps.
// It names the first bad entry. progress may be nil; it is told the number of
// entries read and the number there are. The error is for trouble reading;
// what is wrong with the book is in the result.
//
// Of those that are asked for at a time two are done, as each takes two Views and all
// processors it gets; others wait.
func Verify(ctx context.Context, st Store, shop string, progress func(done, all int64)) (Verified, error) {
	select {
	case verifying <- struct{}{}:
		defer func() { <-verifying }()
	case <-ctx.Done():
		return Verified{Shop: shop}, ctx.Err()
	}
	v, whole, err := tallied(ctx, st, shop, progress)
	if whole {
		return v, nil
	}
	if ctx.Err() != nil { // it may not have been whole
		return v, cmp.Or(err, ctx.Err())
	}
	return verifyEach(ctx, st, shop, progress)
}

// verifyEach verifies a book piece by piece, so that what is wrong can be named.
func verifyEach(ctx context.Context, st Store, shop string, progress func(done, all int64)) (Verified, error) {
	v := Verified{Shop: shop}
	err := st.View(ctx, shop, func(r Reader) error {
		head, unread := r.Head()
		if unread != nil && !errors.Is(unread, ErrCorrupt) {
			return unread
		}
		if progress != nil {
			progress(0, head.Seq)
		}
		ck := newChecker()
		next, stop := ReadAhead(r, 0)
		defer stop()
		for {
			if err := ctx.Err(); err != nil {
				return err
			}
			log, err := next()
			if err != nil {
				return err
			}
			for _, s := range log {
				if what := ck.entry(shop, v.Entries+1, v.Head, s); what != "" {
					fault := &Fault{Seq: v.Entries + 1, What: what}
					// Put in with fitting hashes, an entry may show only in what it does
					// to later ones.
					stop()
					if err := v.unlisted(ctx, r); err != nil || v.Fault == nil {
						v.Fault = fault
					}
					return nil
				}
				v.Entries, v.Head = s.Seq, s.Hash
			}
			if progress != nil {
				progress(v.Entries, head.Seq)
			}
			if len(log) < Batch {
				break
			}
		}
		stop()
		switch {
		case unread != nil: // the last entry could not be read, and yet none is wrong
			return unread
		case v.Entries != head.Seq:
			v.Fault = &Fault{Seq: v.Entries + 1, What: fmt.Sprintf("the log ends at entry %d, the book says %d", v.Entries, head.Seq)}
		case v.Head != head.Hash:
			v.Fault = &Fault{Seq: v.Entries, What: "its hash is not the one kept as the book's head"}
		default:
			return ck.beside(ctx, r, &v)
		}
		return nil
	})
	return v, err
}

// checker derives from the log what a store keeps beside it. Request ids and
// subjects are compared as sums of hashes, which needs no memory of them.
type checker struct {
	onward   bool // not from the beginning: what accounts held before is not known
	balances map[Account]Mass
	records  map[string]int64 // kind/id → seq of its newest content
	bodies   map[string]uint64
	counts   map[RecordKind]int64
	seed     maphash.Seed
	requests uint64
	touches  uint64
}

func newChecker() *checker {
	return &checker{balances: map[Account]Mass{}, records: map[string]int64{}, bodies: map[string]uint64{},
		counts: map[RecordKind]int64{}, seed: maphash.MakeSeed()}
}

func (c *checker) sum(kind byte, key string, seq int64) uint64 {
	var number [9]byte
	binary.LittleEndian.PutUint64(number[:], uint64(seq)) //nolint:gosec // any bits will do
	number[8] = kind
	var h maphash.Hash
	h.SetSeed(c.seed)
	h.Write(number[:])
	h.WriteString(key)
	return h.Sum64()
}

// entry checks one entry against its place in the chain and counts it; it
// returns what is wrong, or "".
func (c *checker) entry(shop string, seq int64, prev Hash, s Sealed) string {
	if s.Seq != seq {
		return fmt.Sprintf("is missing; the next one there is %d", s.Seq)
	}
	if Chain(prev, s.Bytes) != s.Hash {
		return "does not match its hash, or the entry before it was changed"
	}
	e, err := s.Open()
	if err != nil {
		return err.Error()
	}
	if e.Seq != seq || e.Shop != shop {
		return fmt.Sprintf("says it is entry %d of shop %q", e.Seq, e.Shop)
	}
	metal, supplies := Mass(0), map[string]Mass{}
	for _, p := range e.Postings {
		if !p.Account.Valid() {
			return fmt.Sprintf("posts to %q, which is no account", p.Account)
		}
		if p.Account.CountsSupplies() {
			supplies[p.Account.Ref()] += p.Mass
		} else if metal, err = metal.Add(p.Mass); err != nil {
			return "has postings too large to add up"
		}
		c.balances[p.Account] += p.Mass
	}
	if metal != 0 {
		return fmt.Sprintf("has postings that sum to %d mg, not zero", metal)
	}
	for item, m := range supplies {
		if m != 0 {
			return fmt.Sprintf("has postings of %s that sum to %d, not zero", item, m)
		}
	}
	for _, p := range e.Postings {
		if !c.onward && p.Account.HasFloor() && c.balances[p.Account] < 0 {
			return fmt.Sprintf("takes %s below zero", p.Account)
		}
	}
	for _, r := range e.Records {
		key := string(r.Kind) + "/" + r.ID
		if c.records[key] == 0 {
			c.counts[r.Kind]++
		}
		c.records[key] = seq
		c.bodies[key] = c.body(r)
	}
	c.requests += c.sum('r', string(e.Request[:]), seq)
	for _, subject := range e.Subjects() {
		c.touches += c.sum('t', subject, seq)
	}
	return ""
}

func (c *checker) body(r Record) uint64 {
	var h maphash.Hash
	h.SetSeed(c.seed)
	h.WriteString(r.Parent)
	h.WriteByte(0)
	h.Write(r.Body)
	return h.Sum64()
}

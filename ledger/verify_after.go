package ledger

import (
	"context"
	"errors"
	"fmt"
	"strings"
)

// VerifyAfter verifies what was recorded after an entry whose number and hash are
// known, from a checkpoint for example, in time that goes by what is new: that the
// entry is still there with that hash; of each after it the numbering, the chain, the
// sums of its postings, that its request id and what it is about lead to it; and that
// each record these wrote is kept as its newest wrote it.
//
// What was before is taken for right. Balances are only seen not to be below zero where
// they must not be: what they are to be takes the whole log, and Verify. It needs memory
// for the names of what the new entries are about.
func VerifyAfter(ctx context.Context, st Store, shop string, after Head, progress func(done, all int64)) (Verified, error) {
	v := Verified{Shop: shop, After: after.Seq, Entries: after.Seq, Head: after.Hash}
	err := st.View(ctx, shop, func(r Reader) error {
		v.Entries, v.Head, v.Fault = after.Seq, after.Hash, nil
		head, unread := r.Head()
		if unread != nil && !errors.Is(unread, ErrCorrupt) {
			return unread
		}
		if progress != nil {
			progress(0, max(0, head.Seq-after.Seq))
		}
		what, err := stillThere(r, after)
		if err != nil {
			return err
		}
		if what != "" {
			v.Entries, v.Head, v.Fault = 0, Hash{}, &Fault{Seq: after.Seq, What: what}
			return nil
		}
		ck := newChecker()
		ck.onward = true
		for v.Fault == nil {
			if err := ctx.Err(); err != nil {
				return err
			}
			log, err := r.Log(v.Entries, batchAfter)
			if err != nil {
				return err
			}
			if len(log) == 0 {
				break
			}
			for _, s := range log {
				what = ck.entry(shop, v.Entries+1, v.Head, s)
				if what == "" {
					what, err = led(r, s)
				}
				if err != nil {
					return err
				}
				if what != "" {
					v.Fault = &Fault{Seq: v.Entries + 1, What: what}
					break
				}
				v.Entries, v.Head = s.Seq, s.Hash
			}
			if progress != nil {
				progress(v.Entries-after.Seq, head.Seq-after.Seq)
			}
		}
		switch {
		case v.Fault != nil:
		case unread != nil: // the last entry could not be read, and yet none is wrong
			return unread
		case v.Entries != head.Seq || v.Head != head.Hash:
			v.Fault = &Fault{Seq: v.Entries + 1, What: fmt.Sprintf("the log ends at entry %d, the book says %d", v.Entries, head.Seq)}
		default:
			v.Fault, err = ck.newest(r)
		}
		return err
	})
	return v, err
}

// stillThere tells what is wrong with the entry that the book stood at, or "".
func stillThere(r Reader, at Head) (string, error) {
	if at.Seq == 0 { // there was none yet
		return "", nil
	}
	log, err := r.Log(max(0, at.Seq-2), 2)
	if err != nil {
		return "", err
	}
	prev := Hash{}
	if at.Seq > 1 && len(log) > 0 {
		prev, log = log[0].Hash, log[1:]
	}
	switch {
	case len(log) == 0:
		return "is missing: the book ends before it", nil
	case log[0].Seq != at.Seq || log[0].Hash != at.Hash || Chain(prev, log[0].Bytes) != at.Hash:
		return "is not the one it was: its hash was " + at.Hash.String(), nil
	}
	return "", nil
}

// batchAfter is how many entries VerifyAfter reads at a time.
const batchAfter = 500

// led tells what is wrong with what leads to an entry, or "".
func led(r Reader, s Sealed) (string, error) {
	e, err := s.Open()
	if err != nil {
		return "", err
	}
	listed, found, err := r.ByRequest(e.Request)
	if err != nil {
		return "", err
	}
	if !found || listed.Seq != s.Seq {
		return "is not the entry that the list of request ids has for its request id", nil
	}
	for _, subject := range e.Subjects() {
		about, err := r.History(subject, s.Seq+1, 1)
		if err != nil {
			return "", err
		}
		if len(about) != 1 || about[0].Seq != s.Seq {
			return "is not among the entries about " + subject, nil
		}
	}
	return "", nil
}

// newest holds what is kept of what the entries wrote against it.
func (c *checker) newest(r Reader) (*Fault, error) {
	for key, seq := range c.records {
		kind, id, _ := strings.Cut(key, "/")
		rec, found, err := r.Record(RecordKind(kind), id)
		if err != nil {
			return nil, err
		}
		if !found || rec.Seq != seq || c.body(rec) != c.bodies[key] {
			return &Fault{What: fmt.Sprintf("the kept record %s is not the one entry %d wrote", key, seq)}, nil
		}
	}
	for a := range c.balances {
		m, err := r.Balance(a)
		if err != nil {
			return nil, err
		}
		if m < 0 && a.HasFloor() {
			return &Fault{What: fmt.Sprintf("the kept balance of %s is %d mg, below zero", a, m)}, nil
		}
	}
	return nil, nil
}

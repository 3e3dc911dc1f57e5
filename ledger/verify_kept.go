package ledger

import (
	"context"
	"fmt"
)

// beside compares what the store keeps beside the log with what was derived
// from it, and puts the first difference into v.
//
// The list of request ids is the one of these lists that holds every entry once.
// An entry that is missing in one of the two, a log cut off at its end, or an
// entry put in with all hashes computed again shows there, and can be named.
func (c *checker) beside(ctx context.Context, r Reader, v *Verified) error {
	what, last, err := c.kept(r)
	switch {
	case err != nil:
		return err
	case last > v.Entries:
		v.Fault = &Fault{Seq: v.Entries + 1, What: fmt.Sprintf("is missing: the log ends before it, the list of request ids goes on to entry %d", last)}
		return nil
	case c.requests != 0:
		if err := v.unlisted(ctx, r); err != nil || v.Fault != nil {
			return err
		}
		what = "the list of request ids has more than the entries"
	case what == "":
		what = c.missing()
	}
	if what != "" {
		v.Fault = &Fault{What: what}
	}
	return nil
}

// kept takes what the store keeps from what was derived. It returns the first
// thing that is not the same in both, and the last entry a request id is kept of.
func (c *checker) kept(r Reader) (what string, last int64, err error) {
	fail := func(format string, args ...any) {
		if what == "" {
			what = fmt.Sprintf(format, args...)
		}
	}
	err = r.Kept(func(k Kept) error {
		switch {
		case k.Balance != nil:
			if want := c.balances[k.Balance.Account]; k.Balance.Mass != want {
				fail("the kept balance of %s is %d mg, its postings sum to %d mg", k.Balance.Account, k.Balance.Mass, want)
			}
			delete(c.balances, k.Balance.Account)
		case k.Record != nil:
			key := string(k.Record.Kind) + "/" + k.Record.ID
			if seq := c.records[key]; seq == 0 || seq != k.Record.Seq || c.body(*k.Record) != c.bodies[key] {
				fail("the kept record %s is not the one entry %d wrote", key, seq)
			}
			delete(c.records, key)
		case k.Request != nil:
			c.requests -= c.sum('r', string(k.Request.ID[:]), k.Request.Seq)
			last = max(last, k.Request.Seq)
		case k.Touch != nil:
			c.touches -= c.sum('t', k.Touch.Subject, k.Touch.Seq)
		case k.Count != nil:
			if want := c.counts[k.Count.Kind]; k.Count.N != want {
				fail("%d records of kind %s are counted, %d were made", k.Count.N, k.Count.Kind, want)
			}
			delete(c.counts, k.Count.Kind)
		}
		return nil
	})
	return what, last, err
}

// missing says what was derived and is not kept.
func (c *checker) missing() string {
	for a, m := range c.balances {
		if m != 0 {
			return fmt.Sprintf("the balance of %s is not kept; it should be %d mg", a, m)
		}
	}
	for key := range c.records {
		return fmt.Sprintf("the record %s is not kept", key)
	}
	for kind, n := range c.counts {
		return fmt.Sprintf("the count of %s records is not kept; it should be %d", kind, n)
	}
	if c.touches != 0 {
		return "the index of what entries are about does not match the entries"
	}
	return ""
}

// unlisted looks among the entries found right for the first that the list of
// request ids does not have as it is, and makes it v's fault.
func (v *Verified) unlisted(ctx context.Context, r Reader) error {
	right, head := int64(0), Hash{}
	for right < v.Entries {
		if err := ctx.Err(); err != nil {
			return err
		}
		log, err := r.Log(right, int(min(Batch, v.Entries-right)))
		if err != nil {
			return err
		}
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if listed, found, err := r.ByRequest(e.Request); err != nil {
				return err
			} else if !found || listed.Seq != s.Seq {
				v.Entries, v.Head = right, head
				v.Fault = &Fault{Seq: s.Seq, What: "is not the entry that the list of request ids has for its request id"}
				return nil
			}
			right, head = s.Seq, s.Hash
		}
	}
	return nil
}

package ledger

import (
	"context"
	"fmt"
)

// copyBatch is how many entries are copied in one transaction.
const copyBatch = 1000

// Copy copies a shop's book from one store to another, entry by entry with the
// same bytes and hashes, and verifies it there. What to has of the book already
// must be its beginning: then the rest is added, so a copy that was broken off
// goes on, and a later one brings what was written since. progress may be nil; it
// is told the number of entries there and the number there are.
//
// The book is that of one moment; writing to from goes on, and is not copied.
// Nobody else may write to the book in to meanwhile.
//
// Errors: ErrNotFound when from has no such book; ErrExists when to has another
// book of this shop, which stays as it is; ErrCorrupt when from's is damaged or
// to's is found so afterwards; and those of the stores.
func Copy(ctx context.Context, from, to Store, shop string, progress func(done, all int64)) (Verified, error) {
	var end Head
	err := from.View(ctx, shop, func(r Reader) (err error) {
		if end, err = r.Head(); err != nil {
			return err
		}
		if end.Seq == 0 {
			return &Error{Class: ErrNotFound, Reason: "NOT_FOUND", Field: "shop", Value: shop, Want: "no book of this shop to copy"}
		}
		for done := (Head{}); done.Seq < end.Seq; {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := to.Update(ctx, shop, func(tx Tx) (err error) {
				done, err = copySome(shop, r, tx)
				return err
			}); err != nil {
				return err
			}
			if progress != nil {
				progress(done.Seq, end.Seq)
			}
		}
		return nil
	})
	if err != nil {
		return Verified{Shop: shop}, err
	}
	if err := copySecrets(ctx, from, to, shop); err != nil {
		return Verified{Shop: shop}, err
	}
	v, err := Verify(ctx, to, shop, nil)
	switch {
	case err != nil:
		return v, err
	case v.Fault != nil:
		return v, &Error{Class: ErrCorrupt, Reason: "BOOK_DAMAGED", Field: "shop", Value: shop, Want: fmt.Sprintf("the copy is not whole: entry %d %s", v.Fault.Seq, v.Fault.What)}
	case v.Entries != end.Seq || v.Head != end.Hash:
		return v, errOtherBook(shop, v.Entries)
	}
	return v, nil
}

// copySecrets makes people and programs able to sign in to the copy as before.
// Who has a session, an invitation or a code has it from the one server only.
func copySecrets(ctx context.Context, from, to Store, shop string) error {
	all, err := from.AllSecrets(ctx, shop)
	for _, s := range all {
		if s.Kind != SecretPassword && s.Kind != SecretToken {
			continue
		}
		if err := to.KeepSecret(ctx, shop, s); err != nil {
			return err
		}
	}
	return err
}

// copySome adds the next entries and returns the new end.
func copySome(shop string, from Reader, to Tx) (Head, error) {
	head, err := to.Head()
	if err != nil {
		return head, err
	}
	after := max(0, head.Seq-1) // the last one there too, to compare
	log, err := from.Log(after, copyBatch)
	if err != nil {
		return head, err
	}
	if head.Seq > 0 {
		if len(log) == 0 || log[0].Hash != head.Hash {
			at, err := parts(from, to, head.Seq)
			if err != nil {
				return head, err
			}
			if end, err := from.Head(); err != nil {
				return head, err
			} else if at > end.Seq { // all of it is there, and more
				return head, &Error{Class: ErrExists, Reason: "BOOK_IS_AHEAD", Field: "shop", Value: shop,
					Want: fmt.Sprintf("the book there goes on from this one: it has %d entries, this one %d; copy it the other way, or into a new file", head.Seq, end.Seq)}
			}
			return head, errOtherBook(shop, at)
		}
		log = log[1:]
	}
	for _, s := range log {
		e, err := s.Open()
		if err != nil {
			return head, err
		}
		if Chain(head.Hash, s.Bytes) != s.Hash {
			return head, corruptf("entry %d does not match its hash, or the entry before it was changed; it is not copied", s.Seq)
		}
		if err := to.Append(s, e); err != nil {
			return head, err
		}
		head = Head{Seq: s.Seq, Hash: s.Hash, Recorded: e.Recorded}
	}
	return head, nil
}

// parts finds the first entry in which two books are not the same, if it is not after
// last: a hash tells of all before it too, so half of them need not be looked at.
func parts(a, b Reader, last int64) (int64, error) {
	hash := func(r Reader, seq int64) (h Hash, err error) {
		log, err := r.Log(seq-1, 1)
		if len(log) > 0 && log[0].Seq == seq {
			h = log[0].Hash
		}
		return h, err
	}
	low := int64(1)
	for low < last {
		at := low + (last-low)/2
		ours, err := hash(a, at)
		if err != nil {
			return 0, err
		}
		theirs, err := hash(b, at)
		if err != nil {
			return 0, err
		}
		if ours != (Hash{}) && ours == theirs {
			low = at + 1
		} else {
			last = at
		}
	}
	return last, nil
}

func errOtherBook(shop string, at int64) error {
	return &Error{Class: ErrExists, Reason: "OTHER_BOOK", Field: "shop", Value: shop,
		Want: fmt.Sprintf("there is another book there, which is not the beginning of this one: entry %d differs", at)}
}

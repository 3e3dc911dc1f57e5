package checkpoint

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/remelt/ledger"
)

// Checkpoint is where a book stood.
type Checkpoint struct {
	Shop    string
	Entries int64
	Head    ledger.Hash // of the last of them
	Time    time.Time   // when the note was written, by the signer's clock
	Marks   []Mark      // ascending, before Entries
}

// Mark is the hash of an earlier entry.
type Mark struct {
	Entry int64
	Hash  ledger.Hash
}

// mostMarks is how many earlier entries a checkpoint marks at most.
const mostMarks = 32

// step is the distance between the marks in a book of so many entries: the
// smallest power of two that leaves no more than mostMarks before the last entry.
func step(entries int64) int64 {
	step := int64(1)
	for (entries-1)/step > mostMarks {
		step *= 2
	}
	return step
}

// At reads where a book stands, or stood when it had so many entries; 0 means
// now. A book that has fewer is read to its end, with marks at the places they
// have in one of that many, so that it can be compared. The hashes are those the
// store has: that they follow from the entries is what ledger.Verify finds out.
func At(ctx context.Context, st ledger.Store, shop string, entries int64) (Checkpoint, error) {
	c := Checkpoint{Shop: shop}
	if entries < 0 {
		return c, invalid("entries", strconv.FormatInt(entries, 10), "must be a number of entries, or 0 for now")
	}
	err := st.View(ctx, shop, func(r ledger.Reader) error {
		head, err := r.Head()
		if err != nil {
			return err
		}
		if entries == 0 {
			entries = head.Seq
		}
		c.Entries, c.Marks = min(entries, head.Seq), nil
		for by, at := step(entries), step(entries); at < c.Entries; at += by {
			hash, err := hashOf(r, at)
			if err != nil {
				return err
			}
			c.Marks = append(c.Marks, Mark{at, hash})
		}
		c.Head, err = hashOf(r, c.Entries)
		return err
	})
	return c, err
}

func hashOf(r ledger.Reader, seq int64) (ledger.Hash, error) {
	if seq == 0 {
		return ledger.Hash{}, nil
	}
	log, err := r.Log(seq-1, 1)
	if err != nil {
		return ledger.Hash{}, err
	}
	if len(log) != 1 || log[0].Seq != seq {
		return ledger.Hash{}, &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Want: fmt.Sprintf("entry %d is missing", seq)}
	}
	return log[0].Hash, nil
}

// Comparison is what a checkpoint says of a book.
type Comparison struct {
	Agrees bool
	From   int64 // the entry after the last that is surely what it was
	To     int64 // when it does not agree: the first entry that is not what it was lies in From..To
}

// Compare holds the book as it is now, read At old.Entries, against an old
// checkpoint of the same shop.
func (old Checkpoint) Compare(now Checkpoint) (Comparison, error) {
	if old.Shop != now.Shop {
		return Comparison{}, invalid("checkpoint", old.Shop, "is of another shop; this book is that of "+now.Shop)
	}
	have := map[int64]ledger.Hash{now.Entries: now.Head}
	for _, m := range now.Marks {
		have[m.Entry] = m.Hash
	}
	c := Comparison{From: 1}
	for _, m := range append(old.Marks[:len(old.Marks):len(old.Marks)], Mark{old.Entries, old.Head}) {
		if hash, there := have[m.Entry]; !there || hash != m.Hash {
			c.To = min(m.Entry, now.Entries+1)
			return c, nil
		}
		c.From = m.Entry + 1
	}
	c.Agrees = true
	return c, nil
}

// Text is the note's text, which is what is signed.
func (old Checkpoint) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "remelt checkpoint\nshop %s\nentries %d\nhead %s\ntime %s\n", old.Shop, old.Entries, old.Head, old.Time.UTC().Format(time.RFC3339))
	for _, m := range old.Marks {
		fmt.Fprintf(&b, "mark %d %s\n", m.Entry, m.Hash)
	}
	return b.String()
}

// Parse reads a note's text back and refuses any other.
func Parse(text string) (Checkpoint, error) {
	var c Checkpoint
	refused := invalid("checkpoint", "", "is not the text of a checkpoint as it is written")
	lines := strings.Split(text, "\n")
	if len(lines) < 5 {
		return c, refused
	}
	var err [3]error
	c.Shop = strings.TrimPrefix(lines[1], "shop ")
	c.Entries, err[0] = strconv.ParseInt(strings.TrimPrefix(lines[2], "entries "), 10, 64)
	c.Head, err[1] = ledger.ParseHash(strings.TrimPrefix(lines[3], "head "))
	c.Time, err[2] = time.Parse(time.RFC3339, strings.TrimPrefix(lines[4], "time "))
	for _, line := range lines[5:] {
		rest, found := strings.CutPrefix(line, "mark ")
		if !found {
			break
		}
		number, hash, _ := strings.Cut(rest, " ")
		var m Mark
		var err1, err2 error
		m.Entry, err1 = strconv.ParseInt(number, 10, 64)
		m.Hash, err2 = ledger.ParseHash(hash)
		last := int64(0)
		if len(c.Marks) > 0 {
			last = c.Marks[len(c.Marks)-1].Entry
		}
		if err1 != nil || err2 != nil || m.Entry <= last || m.Entry >= c.Entries || len(c.Marks) == mostMarks {
			return c, refused
		}
		c.Marks = append(c.Marks, m)
	}
	if err != [3]error{} || c.Shop == "" || c.Entries < 0 || c.Text() != text { // each line is there, once, and nothing else
		return Checkpoint{}, refused
	}
	return c, nil
}

func invalid(field, value, want string) error {
	return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_CHECKPOINT", Field: field, Value: value, Want: want}
}

package ledger_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/storetest"
)

// A copy has the same hashes, goes on where it ended, and does not mix books.
func TestCopy(t *testing.T) {
	from, to := memory.New(), memory.New()
	move := storetest.Move("supplier/S1", "lot/L1", 5, storetest.Rec("lot", "L1", "", `{"n":1}`))
	if _, err := ledger.Copy(ctx, from, to, "harrow", nil); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("copying no book: %v", err)
	}
	for range 3 {
		for range 700 {
			storetest.Put(t, from, "harrow", move)
		}
		var told int64
		v, err := ledger.Copy(ctx, from, to, "harrow", func(done, _ int64) { told = done })
		if err != nil {
			t.Fatal(err)
		}
		head, err := (&ledger.Book{Store: from, Shop: "harrow"}).HeadOf(ctx)
		if err != nil || v.Entries != head.Seq || v.Head != head.Hash || told != head.Seq {
			t.Errorf("copied %d entries to %s, told of %d; the book ends at %d with %s (%v)", v.Entries, v.Head, told, head.Seq, head.Hash, err)
		}
	}
	storetest.VerifyAll(t, to)

	for what, change := range map[string]ledger.Store{"goes on from this one": to, "another book": memory.New()} {
		storetest.Put(t, change, "harrow", move)
		before, _ := (&ledger.Book{Store: change, Shop: "harrow"}).HeadOf(ctx)
		_, err := ledger.Copy(ctx, from, change, "harrow", nil)
		if !errors.Is(err, ledger.ErrExists) || !strings.Contains(err.Error(), what) {
			t.Errorf("copying over a book that is %q: %v", what, err)
		}
		if after, _ := (&ledger.Book{Store: change, Shop: "harrow"}).HeadOf(ctx); after != before {
			t.Errorf("copying over a book that is %q changed it", what)
		}
	}
}

// The first entry that differs is named, also of a book that is shorter, or that differs
// in its last entry only.
func TestCopyNamesWhereBooksPart(t *testing.T) {
	for same := range 9 {
		for further := 1; further < 5; further++ {
			from, to := memory.New(), memory.New()
			for i := range 12 {
				move := storetest.Move("supplier/S1", "lot/L1", ledger.Mass(5+i))
				storetest.Put(t, from, "harrow", move)
				if i < same {
					copied(t, from, to)
				}
			}
			for range further {
				storetest.Put(t, to, "harrow", storetest.Move("supplier/S1", "lot/L1", 99))
			}
			_, err := ledger.Copy(ctx, from, to, "harrow", nil)
			if want := fmt.Sprintf("entry %d differs", same+1); !errors.Is(err, ledger.ErrExists) || !strings.Contains(err.Error(), want) {
				t.Errorf("%v, want %q", err, want)
			}
		}
	}
}

func copied(t *testing.T, from, to ledger.Store) {
	t.Helper()
	if _, err := ledger.Copy(ctx, from, to, "harrow", nil); err != nil {
		t.Fatal(err)
	}
}

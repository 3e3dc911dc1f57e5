package sqlite

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

var (
	damages  = flag.Int("damages", 60, "TestDamagedPages: how many damaged files are verified")
	everyBit = flag.Bool("every-bit", false, "TestDamagedBits: some minutes")
)

// TestDamagedPages damages a file as disks do, anywhere: in rows, in what leads to
// them, in indexes, in what is free. When Verify calls a shop's book whole, then every
// question about it has the answer it had before. The file is not checked as it is
// opened, as one too large for that is not.
func TestDamagedPages(t *testing.T) {
	entries := storetest.ShopLoad(1200)
	for i := range entries { // a book has names that belong to others, and some that end
		if i%4 == 0 {
			entries[i].Records = append(entries[i].Records, storetest.Rec("mold", fmt.Sprintf("m%d", i), fmt.Sprintf("h%d", i/40), `{"cavity":1}`))
		}
	}
	damaged(t, map[string][]ledger.Entry{"harrow": entries, "other": storetest.ShopLoad(40)}, *damages, damagePage)
}

// TestDamagedNeighbours damages a file in which the books of several shops share their
// pages: a row of one may lead astray who looks for another's.
func TestDamagedNeighbours(t *testing.T) {
	few := storetest.ShopLoad(3)
	for i := range few {
		few[i].Records = append(few[i].Records, storetest.Rec("mold", fmt.Sprint(i), "h", `{}`))
	}
	damaged(t, map[string][]ledger.Entry{"a": few, "b": few, "c": few}, 5**damages, func(r *rand.Rand, whole []byte, i int) ([]byte, string) {
		file := append([]byte(nil), whole...)
		at := r.IntN(len(file))
		for file[at] == 0 || at < 3*4096 && i%50 != 0 {
			at = r.IntN(len(file))
		}
		file[at] ^= 1 << r.IntN(8)
		return file, fmt.Sprintf("page %d: a bit of byte %d", at/4096+1, at%4096)
	})
}

// TestDamagedBits damages each bit of such a file behind its schema, but for bytes of zero.
func TestDamagedBits(t *testing.T) {
	if !*everyBit {
		return
	}
	few := storetest.ShopLoad(3)
	at, bit := 3*4096, -1
	damaged(t, map[string][]ledger.Entry{"a": few, "b": few, "c": few}, 1<<20, func(_ *rand.Rand, whole []byte, _ int) ([]byte, string) {
		if bit = (bit + 1) % 8; bit == 0 {
			at++
		}
		for at < len(whole) && whole[at] == 0 {
			at++
		}
		if at == len(whole) {
			return nil, ""
		}
		file := append([]byte(nil), whole...)
		file[at] ^= 1 << bit
		return file, fmt.Sprintf("page %d: bit %d of byte %d", at/4096+1, bit, at%4096)
	})
}

// TestDamagedShops makes a text of the number of the first shop, in each row in its turn:
// whoever looks for a row of another shop takes it for one that is after all of them.
func TestDamagedShops(t *testing.T) {
	few := storetest.ShopLoad(3)
	const one, text = 9, 13 // serial types: https://www.sqlite.org/fileformat2.html#record_format
	damaged(t, map[string][]ledger.Entry{"a": few, "b": few, "c": few}, 80, func(_ *rand.Rand, whole []byte, i int) ([]byte, string) {
		var ones []int
		for at := 3 * 4096; at < len(whole); at++ {
			if whole[at] == one {
				ones = append(ones, at)
			}
		}
		file := append([]byte(nil), whole...)
		at := ones[i%len(ones)]
		file[at] = text
		return file, fmt.Sprintf("page %d: byte %d", at/4096+1, at%4096)
	})
}

func damaged(t *testing.T, books map[string][]ledger.Entry, n int, damage func(r *rand.Rand, whole []byte, i int) ([]byte, string)) {
	t.Helper()
	limit := smallFile
	smallFile = 0
	defer func() { smallFile = limit }()

	path := newPath(t)
	s := open(t, path)
	shops := slices.Sorted(maps.Keys(books))
	for _, shop := range shops {
		storetest.Put(t, s, shop, books[shop]...)
	}
	noError(t, s.Close())
	whole, err := os.ReadFile(path)
	noError(t, err)
	s = open(t, path)
	want := map[string]map[string]string{}
	for _, shop := range shops {
		want[shop] = answers(t, s, shop)
	}
	noError(t, s.Close())

	seed := rand.Uint64()
	t.Logf("seed %d, %d pages", seed, len(whole)/4096)
	r := rand.New(rand.NewPCG(seed, 0))
	unseen, found := 0, 0
	for i := range n {
		file, what := damage(r, whole, i)
		if file == nil {
			n = i
			break
		}
		at := filepath.Join(t.TempDir(), "book.remelt")
		writeFile(t, at, file)
		s, err := Open(context.Background(), at, Options{})
		if err == nil {
			for _, shop := range shops {
				v, failed := ledger.Verify(context.Background(), s, shop, nil)
				if failed == nil && v.Fault != nil {
					failed = ledger.ErrCorrupt
				}
				if failed == nil {
					unseen++
					differs(t, what+", the book of "+shop, want[shop], answers(t, s, shop))
				}
				err = errors.Join(err, failed)
			}
			_ = s.Close()
		}
		if err != nil {
			found++
			if !errors.Is(err, ledger.ErrCorrupt) && !errors.Is(err, ledger.ErrForeignFile) {
				t.Errorf("%s: %v", what, err)
			}
		}
		noError(t, os.RemoveAll(filepath.Dir(at)))
	}
	t.Logf("%d damages of %d were found, %d times a book was whole all the same", found, n, unseen)
	if found == 0 || unseen == 0 {
		t.Error("the test has not tested")
	}
}

// damagePage changes one page of a file, each in its turn.
func damagePage(r *rand.Rand, whole []byte, i int) ([]byte, string) {
	const size = 4096
	file := append([]byte(nil), whole...)
	pages := len(file) / size
	n := i % pages
	page := file[n*size : (n+1)*size]
	head := 0
	if n == 0 {
		head = 100
	}
	switch r.IntN(6) {
	case 0: // where most of what a page says of itself is
		at := head + r.IntN(64)
		page[at] ^= 1 << r.IntN(8)
		return file, fmt.Sprintf("page %d: a bit of byte %d", n+1, at)
	case 1: // where the newest cells are
		at := size - 1 - r.IntN(400)
		page[at] ^= 1 << r.IntN(8)
		return file, fmt.Sprintf("page %d: a bit of byte %d", n+1, at)
	case 2, 3:
		at := r.IntN(size)
		page[at] ^= 1 << r.IntN(8)
		return file, fmt.Sprintf("page %d: a bit of byte %d", n+1, at)
	case 4:
		at := r.IntN(size - 8)
		for k := range 8 {
			page[at+k] = byte(r.Uint32())
		}
		return file, fmt.Sprintf("page %d: bytes %d to %d", n+1, at, at+8)
	}
	other := r.IntN(pages)
	copy(page, whole[other*size:])
	return file, fmt.Sprintf("page %d is page %d", n+1, other+1)
}

// answers asks a shop's book everything it can be asked, one thing at a time.
func answers(t testing.TB, s *Store, shop string) map[string]string {
	t.Helper()
	out := map[string]string{}
	put := func(question string, answer any, err error) { out[question] = fmt.Sprint(answer, err) }
	ctx := context.Background()
	err := s.View(ctx, shop, func(r ledger.Reader) error {
		say := put
		head, err := r.Head()
		say("head", head, err)
		log, err := r.Log(0, 1<<20)
		say("log", log, err)
		names := map[string]bool{}
		for _, s := range log {
			again, err := r.Log(s.Seq-1, 1)
			say(fmt.Sprint("entry ", s.Seq), again, err)
			e, err := s.Open()
			if err != nil {
				return err
			}
			found, ok, err := r.ByRequest(e.Request)
			say(fmt.Sprintf("request %x", e.Request), fmt.Sprint(found.Seq, ok), err)
			for _, p := range e.Postings {
				names[string(p.Account)] = true
			}
			for _, rec := range e.Records {
				names[string(rec.Kind)+"/"+rec.ID] = true
				if rec.Parent != "" {
					of, err := r.Records(rec.Kind, rec.Parent, "", 1000)
					say("of "+rec.Parent, of, err)
				}
			}
		}
		for name := range names {
			account := ledger.Account(name)
			m, err := r.Balance(account)
			say("balance of "+name, m, err)
			rec, ok, err := r.Record(ledger.RecordKind(account.Kind()), account.Ref())
			say("record "+name, fmt.Sprint(rec, ok), err)
			h, err := r.History(name, 0, 1000)
			say("history of "+name, h, err)
		}
		for _, kind := range []string{"lot", "heat", "molds", "mold"} {
			holds, err := r.Holdings(ledger.AccountKind(kind), ledger.RecordKind(kind), "", 10_000)
			say("holdings "+kind, holds, err)
			recs, err := r.Records(ledger.RecordKind(kind), "", "", 10_000)
			say("records "+kind, recs, err)
			n, err := r.CountRecords(ledger.RecordKind(kind))
			say("count "+kind, n, err)
		}
		return nil
	})
	put("all", nil, err)
	return out
}

// differs names the first few questions with another answer.
func differs(t *testing.T, what string, want, got map[string]string) {
	t.Helper()
	n := 0
	for question, answer := range want {
		if got[question] != answer {
			if n++; n <= 3 {
				t.Errorf("%s: the book is called whole; %s: %.120q, want %.120q", what, question, got[question], answer)
			}
		}
	}
	if n > 0 {
		t.Logf("%s: %d answers are wrong", what, n)
	}
}

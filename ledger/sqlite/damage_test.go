package sqlite

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

var damages = flag.Int("damages", 100, "TestDamagedPages: how many damaged files are verified")

// TestDamagedPages damages a file as disks do, anywhere: in rows, in what leads to
// them, in indexes, in what is free. When Verify calls the book whole, then every
// question has the answer it had before. The file is not checked as it is opened, as
// one too large for that is not.
func TestDamagedPages(t *testing.T) {
	limit := smallFile
	smallFile = 0
	defer func() { smallFile = limit }()

	path := newPath(t)
	s := open(t, path)
	entries := storetest.ShopLoad(1200)
	for i := range entries { // a book has names that belong to others, and some that end
		if i%4 == 0 {
			entries[i].Records = append(entries[i].Records, storetest.Rec("mold", fmt.Sprintf("m%d", i), fmt.Sprintf("h%d", i/40), `{"cavity":1}`))
		}
	}
	storetest.Put(t, s, "harrow", entries...)
	storetest.Put(t, s, "other", storetest.ShopLoad(40)...)
	noError(t, s.Close())
	whole, err := os.ReadFile(path)
	noError(t, err)
	s = open(t, path)
	want := answers(t, s)
	noError(t, s.Close())

	seed := rand.Uint64()
	t.Logf("seed %d, %d pages, %d answers", seed, len(whole)/4096, len(want))
	r := rand.New(rand.NewPCG(seed, 0))
	unseen, found := 0, 0
	for i := range *damages {
		file, what := damagePage(r, whole, i)
		at := filepath.Join(t.TempDir(), "book.remelt")
		writeFile(t, at, file)
		s, err := Open(context.Background(), at, Options{})
		if err == nil {
			for _, shop := range []string{"harrow", "other"} {
				v, failed := ledger.Verify(context.Background(), s, shop, nil)
				if err == nil && failed == nil && v.Fault != nil {
					failed = ledger.ErrCorrupt
				}
				err = errors.Join(err, failed)
			}
			if err == nil {
				unseen++
				differs(t, what, want, answers(t, s))
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
	t.Logf("%d damages were found, %d did not matter", found, unseen)
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

// answers asks a store everything it can be asked, one thing at a time.
func answers(t testing.TB, s *Store) map[string]string {
	t.Helper()
	out := map[string]string{}
	put := func(question string, answer any, err error) { out[question] = fmt.Sprint(answer, err) }
	ctx := context.Background()
	shops, err := s.Shops(ctx)
	put("shops", shops, err)
	for _, shop := range []string{"harrow", "other"} {
		err := s.View(ctx, shop, func(r ledger.Reader) error {
			say := func(question string, answer any, err error) { put(shop+" "+question, answer, err) }
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
		put(shop, nil, err)
	}
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

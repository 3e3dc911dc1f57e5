package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// twoBooks is a file with the books of two shops, and many sign-ins of one.
func twoBooks(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "books.db")
	store, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"harrow", "north"} {
		if _, err := (&ledger.Book{Store: store, Shop: id}).OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: id}); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 300 {
		if err := store.KeepSecret(t.Context(), "harrow", ledger.Secret{Kind: ledger.SecretSession, ID: fmt.Sprintf("marked-%03d", i), For: "jo", Made: time.Now()}); err != nil {
			t.Fatal(err)
		}
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// heard calls then when something is written that has words in it.
type heard struct {
	bytes.Buffer
	words string
	then  func()
}

func (h *heard) Write(p []byte) (int, error) {
	if strings.Contains(string(p), h.words) {
		h.then()
	}
	return h.Buffer.Write(p)
}

// Asked to stop before it serves, it stops in order: at the very beginning, and after
// the first of two books was verified.
func TestStoppedWhileVerifying(t *testing.T) {
	path := twoBooks(t)
	for _, words := range []string{"", "the book is whole"} {
		ctx, stop := context.WithCancel(t.Context())
		if words == "" {
			stop()
		}
		var out bytes.Buffer
		errs := &heard{words: words, then: stop}
		a := &app{in: strings.NewReader(""), out: &out, err: errs, now: time.Now}
		code := a.run(ctx, []string{"serve", "--db", path, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"})
		if said := errs.String(); code != exitOK || strings.Contains(said, `"serving"`) || strings.Count(said, "is whole") != min(len(words), 1) {
			t.Errorf("after %q: status %d: %s", words, code, said)
		}
		stop()
	}
}

// A page that holds nothing but sign-ins is damaged: that is found before anything is
// served.
func TestDamagedSignIns(t *testing.T) {
	path := twoBooks(t)
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const page = 4096
	at := bytes.Index(raw, []byte("marked-150"))
	if at < 0 {
		t.Fatal("the secret is not in the file")
	}
	copy(raw[at/page*page:], make([]byte, 8)) // the page's header
	if err := os.WriteFile(path, raw, 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out bytes.Buffer
	errs := &heard{words: `"serving"`, then: stop}
	a := &app{in: strings.NewReader(""), out: &out, err: errs, now: time.Now}
	code := a.run(ctx, []string{"serve", "--db", path, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"})
	if said := errs.String(); code != exitUnexpected || !strings.Contains(said, "BOOK_DAMAGED") || strings.Contains(said, `"serving"`) {
		t.Errorf("status %d: %s", code, said)
	}
}

// A large file is served at once, but only when its end is right; damage elsewhere is
// found while it is served, and ends that.
func TestLargeIsVerifiedWhileServed(t *testing.T) {
	first := verifiedFirst
	verifiedFirst = 0
	t.Cleanup(func() { verifiedFirst = first })
	dir := t.TempDir()
	path := filepath.Join(dir, "book.db")
	store, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	book := &ledger.Book{Store: store, Shop: "harrow"}
	if _, err := book.OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: "Harrow"}); err != nil {
		t.Fatal(err)
	}
	const entries = 3 * verifiedLast
	for i := 2; i <= entries; i++ {
		if _, err := book.SetPlace(t.Context(), ledger.Meta{}, ledger.Place{ID: fmt.Sprintf("rack-%d", i), Name: fmt.Sprintf("marked %d.", i)}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := (&ledger.Book{Store: store, Shop: "north"}).OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: "a small one beside it"}); err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const page, wrong = 4096, " does not match its hash, or the entry before it was changed"
	mark := path + ".verify-first"
	for _, c := range []struct {
		damaged         int // entry
		unreadable      bool
		served          bool
		marked          bool
		says, saysFirst string
	}{
		{says: `"entries":300`, served: true},
		{damaged: entries, says: "damaged: entry 300" + wrong + "; the 299 before it are right. It is not served: put a backup"},
		{damaged: entries - verifiedLast + 1, says: "damaged: entry 201" + wrong + "; the 200 before it are right. It is not served"},
		{damaged: 40, served: true, marked: true, says: "damaged: entry 40" + wrong + "; the 39 before it are right. It is served no longer: put a backup"},
		{damaged: 40, marked: true, says: "damaged: entry 40" + wrong + "; the 39 before it are right. It is not served: put a backup", saysFirst: "verifying first"}, // as systemd would
		{says: "it is whole again", served: true, saysFirst: "verifying first"},                                                                                       // a backup is in its place
		{damaged: 40, unreadable: true, served: true, marked: true, says: "the book of shop harrow is damaged: it cannot be read ("},
		{damaged: 40, unreadable: true, marked: true, says: "It is not served: put a backup", saysFirst: "verifying first"},
		{says: "it is whole again", served: true, saysFirst: "verifying first"},
	} {
		raw, name := slices.Clone(whole), fmt.Appendf(nil, "marked %d.", c.damaged)
		if at := bytes.Index(raw, name); c.damaged > 0 && c.unreadable {
			clear(raw[at/page*page:][:64])
			// With a log beside it, it is not read whole as it is opened, as a large file is not.
			if err := os.WriteFile(path+"-wal", make([]byte, 32), 0o600); err != nil {
				t.Fatal(err)
			}
		} else if c.damaged > 0 {
			copy(raw[at:], bytes.ToUpper(name))
		}
		if err := os.WriteFile(path, raw, 0o600); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var out bytes.Buffer
		errs := &heard{words: "the book is whole", then: stop}
		if c.saysFirst != "" {
			errs.words = `"serving"`
		}
		a := &app{in: strings.NewReader(""), out: &out, err: errs, now: time.Now}
		code := a.run(ctx, []string{"serve", "--db", path, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"})
		stop()
		said := errs.String()
		_, err := os.Stat(mark)
		if want := map[bool]int{true: exitOK, false: exitUnexpected}[c.damaged == 0]; code != want || strings.Contains(said, `"serving"`) != c.served ||
			!strings.Contains(said, c.says) || !strings.Contains(said, c.saysFirst) || (err == nil) != c.marked {
			t.Errorf("entry %d damaged: status %d, marked %v: %s", c.damaged, code, err == nil, said)
		}
	}

	// What is not the program's own is left alone.
	if err := os.WriteFile(mark, []byte("the old book"), 0o600); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var out bytes.Buffer
	errs := &heard{words: "the book is whole", then: stop}
	a := &app{in: strings.NewReader(""), out: &out, err: errs, now: time.Now}
	code := a.run(ctx, []string{"serve", "--db", path, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"})
	if left, err := os.ReadFile(mark); code != exitOK || string(left) != "the old book" || strings.Contains(errs.String(), "verifying first") {
		t.Errorf("status %d, left %q, %v: %s", code, left, err, errs)
	}
}

// Which shops are open is said by their names, when not all are.
func TestOpenShopsAreNamed(t *testing.T) {
	path := twoBooks(t)
	says := func() string {
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		var out bytes.Buffer
		a := &app{in: strings.NewReader(""), out: &out, err: &heard{words: `"serving"`, then: stop}, now: time.Now}
		if code := a.run(ctx, []string{"serve", "--db", path, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}); code != exitOK {
			t.Fatalf("status %d: %s", code, &out)
		}
		return out.String()
	}
	if said := says(); !strings.Contains(said, "NO SIGN-IN\n") || strings.Count(said, "/join#") != 2 {
		t.Errorf("of two that are open: %s", said)
	}
	store, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	north := &ledger.Book{Store: store, Shop: "north"}
	_, err = north.SetPerson(t.Context(), ledger.Meta{}, ledger.Person{ID: "rae", Name: "Rae", Duty: ledger.MayManage})
	if err == nil {
		_, err = north.NotePassword(t.Context(), ledger.Meta{}, "rae")
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	if said := says(); !strings.Contains(said, "Everybody signs in, except to harrow") || !strings.Contains(said, "NO SIGN-IN TO harrow\n") || strings.Count(said, "/join#") != 1 {
		t.Errorf("of one that is open: %s", said)
	}
}

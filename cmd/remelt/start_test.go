package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
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
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	const wrong = " does not match its hash, or the entry before it was changed"
	for _, c := range []struct {
		damaged      int // entry
		served, mark bool
		says         string
	}{
		{0, true, false, `"entries":300`},
		{entries, false, false, "damaged: entry 300" + wrong + ". It is not served: put a backup"},
		{entries - verifiedLast + 1, false, false, "damaged: entry 201" + wrong + ". It is not served"},
		{40, true, true, "damaged: entry 40" + wrong + "; the 39 before it are right. It is served no longer: put a backup"},
		{40, false, true, "damaged: entry 40" + wrong + "; the 39 before it are right. It is not served: put a backup"}, // as systemd would
		{0, true, false, `"entries":300`}, // a backup is in its place
	} {
		name := fmt.Appendf(nil, "marked %d.", c.damaged)
		if n := bytes.Count(whole, name); c.damaged > 0 && n != 1 {
			t.Fatalf("%q stands %d times in the file", name, n)
		}
		if err := os.WriteFile(path, bytes.Replace(whole, name, bytes.ToUpper(name), 1), 0o600); err != nil {
			t.Fatal(err)
		}
		ctx, stop := context.WithCancel(t.Context())
		var out bytes.Buffer
		errs := &heard{words: "the book is whole", then: stop}
		a := &app{in: strings.NewReader(""), out: &out, err: errs, now: time.Now}
		code := a.run(ctx, []string{"serve", "--db", path, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"})
		stop()
		said := errs.String()
		if want := map[bool]int{true: exitOK, false: exitUnexpected}[c.damaged == 0]; code != want || strings.Contains(said, `"serving"`) != c.served || !strings.Contains(said, c.says) || exists(path+".damaged") != c.mark {
			t.Errorf("entry %d damaged: status %d, marked %v: %s", c.damaged, code, exists(path+".damaged"), said)
		}
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

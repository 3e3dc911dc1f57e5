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

package main

import (
	"bytes"
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// rewrite makes a book like the one in the file from, but for the name of who
// recorded one entry: every hash after it is computed again, everything that is
// kept is kept anew.
func rewrite(t *testing.T, from, to string, changed int64) {
	t.Helper()
	ctx := context.Background()
	was, err := sqlite.Open(ctx, from, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer was.Close()
	is, err := sqlite.Open(ctx, to, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer is.Close()
	var log []ledger.Sealed
	if err := was.View(ctx, "harrow", func(r ledger.Reader) (err error) { log, err = r.Log(0, 1000); return err }); err != nil {
		t.Fatal(err)
	}
	if err := is.Update(ctx, "harrow", func(tx ledger.Tx) error {
		prev := ledger.Hash{}
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if s.Seq == changed {
				e.Who = "somebody else"
			}
			s.Bytes = ledger.Encode(e)
			s.Hash = ledger.Chain(prev, s.Bytes)
			prev = s.Hash
			if err := tx.Append(s, e); err != nil {
				return err
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
}

// A book written again from any entry on has no fault that verify could find; the
// note that was kept finds it and names the entry, from the running server and
// from the file.
func TestARewrittenBookIsFound(t *testing.T) {
	dir := t.TempDir()
	in := func(name string) string { return filepath.Join(dir, name) }
	var address string
	run := func(want int, args ...string) string {
		t.Helper()
		var out, errs bytes.Buffer
		a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
		if code := a.run(t.Context(), append(args, "--server", address)); code != want {
			t.Fatalf("%s: status %d, want %d\n%s%s", args, code, want, &out, &errs)
		}
		return out.String()
	}
	serve := func(dir string, with func()) {
		t.Helper()
		s, stop, err := testServer(dir, newTestClock())
		if err != nil {
			t.Fatal(err)
		}
		address = s.GRPCAddr()
		with()
		if err := stop(); err != nil {
			t.Fatal(err)
		}
	}
	serve(dir, func() {
		if err := setUpShop(address); err != nil {
			t.Fatal(err)
		}
		run(0, "checkpoint", "key", in("key"))
		run(0, "checkpoint", "make", in("note"), "--key", in("key"))
	})
	for _, changed := range []int64{1, 4, 9} {
		again := t.TempDir()
		rewrite(t, in("book.db"), filepath.Join(again, "book.db"), changed)
		want := fmt.Sprintf("THE BOOK WAS CHANGED: the first that is not what it was is entry %d.", changed)
		serve(again, func() {
			run(0, "verify")
			if out := run(1, "checkpoint", "check", in("note"), "--key", in("key.pub")); !strings.Contains(out, want) || !strings.Contains(out, "The book is whole") {
				t.Errorf("entry %d changed:\n%s", changed, out)
			}
		})
		if out := run(1, "checkpoint", "check", in("note"), "--key", in("key.pub"), "--db", filepath.Join(again, "book.db")); !strings.Contains(out, want) {
			t.Errorf("entry %d changed, read from the file:\n%s", changed, out)
		}
	}
	untouched := t.TempDir()
	rewrite(t, in("book.db"), filepath.Join(untouched, "book.db"), 0)
	run(0, "checkpoint", "check", in("note"), "--key", in("key.pub"), "--db", filepath.Join(untouched, "book.db"))
}

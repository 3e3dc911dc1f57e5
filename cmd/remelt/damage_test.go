package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// One letter of one entry, changed in the file behind the book's back, is found:
// verify, backup and restore name the entry and end with status 1, and so does a
// server that is started on it.
func TestDamageIsNamed(t *testing.T) {
	dir := t.TempDir()
	s, stop, err := testServer(dir, newTestClock())
	if err != nil {
		t.Fatal(err)
	}
	if err := setUpShop(s.GRPCAddr()); err != nil {
		t.Fatal(err)
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "book.db")
	raw, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if n := bytes.Count(raw, []byte("ingot rack")); n != 1 {
		t.Fatalf("the name stands %d times in the file, want once", n)
	}
	if err := os.WriteFile(file, bytes.Replace(raw, []byte("ingot rack"), []byte("ingot rock"), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	s, stop, err = testServer(dir, newTestClock())
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(dir, "copy.db")
	for _, args := range [][]string{
		{"verify"},
		{"backup", copied},
		{"restore", copied, "--db", filepath.Join(dir, "new.db")},
	} {
		var out, errs bytes.Buffer
		a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
		code := a.run(t.Context(), append(args, "--server", s.GRPCAddr()))
		if code != exitUnexpected || !strings.Contains(out.String(), "THE BOOK IS DAMAGED at entry 3") {
			t.Errorf("%s: status %d\n%s%s", args[0], code, &out, &errs)
		}
	}
	if err := stop(); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
	code := a.run(t.Context(), []string{"serve", "--db", file, "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"})
	if code != exitUnexpected || !strings.Contains(errs.String(), "the book of shop harrow is damaged: entry 3") || !strings.Contains(errs.String(), "[BOOK_DAMAGED]") {
		t.Errorf("serve: status %d\n%s%s", code, &out, &errs)
	}
}

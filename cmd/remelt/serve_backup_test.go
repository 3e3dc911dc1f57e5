package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/sqlite"
)

// scheduled gives the backups of a book of one entry, and a clock for them.
func scheduled(t *testing.T, keep int) (*backups, *testClock) {
	t.Helper()
	store, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "book.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() })
	return backupsOf(t, store, keep)
}

func backupsOf(t *testing.T, store ledger.Store, keep int) (*backups, *testClock) {
	t.Helper()
	clock := newTestClock()
	b, err := newBackups(&serveFlags{backupTo: t.TempDir(), backupEvery: time.Hour, backupKeep: keep}, store, slog.New(slog.NewTextHandler(io.Discard, nil)), clock.now)
	if err != nil {
		t.Fatal(err)
	}
	if err := b.once(t.Context()); !errors.Is(err, errNoBook) {
		t.Errorf("a backup of no book: %v", err)
	}
	if err := openBook(t.Context(), store, "harrow"); err != nil {
		t.Fatal(err)
	}
	return b, clock
}

func (c *testClock) add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// place writes an entry that tells backups apart.
func place(t *testing.T, store ledger.Store, n int) {
	t.Helper()
	id := ledger.RequestID{0xb0, byte(n)}
	if _, err := (&ledger.Book{Store: store, Shop: "harrow"}).SetPlace(t.Context(), ledger.Meta{Request: id}, ledger.Place{ID: fmt.Sprint("rack-", n), Name: fmt.Sprint("rack ", n)}); err != nil {
		t.Fatal(err)
	}
}

func (b *backups) have(t *testing.T) []string {
	t.Helper()
	all, err := b.made()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// Backups are whole and of their moment, and the newest are kept; what is not a
// backup of this book is left alone.
func TestBackupsKept(t *testing.T) {
	b, clock := scheduled(t, 3)
	others := []string{"book-20260101T000000Z.db.txt", "other-20260101T000000Z.db", "book-.db"}
	for _, name := range others {
		if err := os.WriteFile(filepath.Join(b.dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for i := range 5 {
		place(t, b.store, i)
		if err := b.once(t.Context()); err != nil {
			t.Fatal(err)
		}
		clock.add(time.Hour)
	}
	want := []string{"book-20260302T100000Z.db", "book-20260302T110000Z.db", "book-20260302T120000Z.db"}
	if got := b.have(t); !slices.Equal(got, want) {
		t.Fatalf("kept %v, want %v", got, want)
	}
	for i, name := range want {
		v, err := verifyFile(t.Context(), filepath.Join(b.dir, name), "harrow")
		if err != nil || v.Fault != nil || v.Entries != int64(4+i) {
			t.Errorf("%s: %+v, %v; want %d entries", name, v, err, 4+i)
		}
	}
	files, err := os.ReadDir(b.dir)
	if err != nil || len(files) != len(want)+len(others) {
		t.Errorf("%d files are left, want %d (%v)", len(files), len(want)+len(others), err)
	}
}

// What goes wrong costs no backup that is there, and leaves nothing behind.
func TestBackupFails(t *testing.T) {
	b, clock := scheduled(t, 1)
	if err := b.once(t.Context()); err != nil {
		t.Fatal(err)
	}
	want := b.have(t)
	fails := func(what string, ctx context.Context, b *backups) {
		t.Helper()
		clock.add(time.Hour)
		if err := b.once(ctx); err == nil {
			t.Errorf("%s: it did not fail", what)
		}
		if got := b.have(t); !slices.Equal(got, want) {
			t.Errorf("%s: %v are left, want %v", what, got, want)
		}
	}
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	fails("cut off", gone, b)

	place(t, b.store, 1)
	path := b.store.(*sqlite.Store).Path()
	if err := b.store.Close(); err != nil {
		t.Fatal(err)
	}
	fails("a closed store", t.Context(), b)
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, bytes.ReplaceAll(raw, []byte("rack 1"), []byte("rack 7")), 0o600); err != nil {
		t.Fatal(err)
	}
	bad, err := sqlite.Open(t.Context(), path, sqlite.Options{})
	if err == nil {
		defer bad.Close()
		b.store = bad
		fails("a damaged book", t.Context(), b)
	} else {
		t.Error(err)
	}
	files, err := os.ReadDir(b.dir)
	if err != nil || len(files) != 1 {
		t.Errorf("%d files are left, want 1 (%v)", len(files), err)
	}
}

// The next is due when the newest is old enough, also after a start; a newest from
// the future is no reason to wait, and is not kept in the place of a new one.
func TestBackupDue(t *testing.T) {
	b, clock := scheduled(t, 2)
	if got := b.due(); got != 0 {
		t.Errorf("without any, it is due in %s", got)
	}
	if err := b.once(t.Context()); err != nil {
		t.Fatal(err)
	}
	clock.add(20 * time.Minute)
	if got := b.due(); got != 40*time.Minute {
		t.Errorf("after 20 minutes it is due in %s", got)
	}
	clock.add(5 * time.Hour)
	if got := b.due(); got != 0 {
		t.Errorf("after hours it is due in %s", got)
	}
	if err := b.once(t.Context()); err != nil {
		t.Fatal(err)
	}
	clock.add(-48 * time.Hour)
	if got := b.due(); got != 0 {
		t.Errorf("when the clock went back it is due in %s", got)
	}
	if err := b.once(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got, want := b.have(t), []string{"book-20260228T132000Z.db", "book-20260302T132000Z.db"}; !slices.Equal(got, want) {
		t.Errorf("kept %v, want %v", got, want)
	}
}

func TestBackupFlags(t *testing.T) {
	for _, line := range []string{"--backup-to missing", "--backup-to . --backup-keep 0", "--backup-to . --backup-every 0s"} {
		var out, errs bytes.Buffer
		a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
		args := append([]string{"serve", "--db", filepath.Join(t.TempDir(), "book.db"), "--http", "127.0.0.1:0", "--grpc", "127.0.0.1:0"}, strings.Fields(line)...)
		if code := a.run(t.Context(), args); code != exitUsage || !strings.Contains(errs.String(), "--backup-") {
			t.Errorf("%s: status %d\n%s", line, code, &errs)
		}
	}
}

// Of a database a backup is a file too.
func TestBackupOfDatabase(t *testing.T) {
	postgrestest.Need(t)
	cluster, err := postgrestest.Start()
	if err != nil {
		t.Fatal(err)
	}
	defer cluster.Remove()
	url, err := cluster.Schema(t.Context(), "books")
	if err != nil {
		t.Fatal(err)
	}
	store, err := openStore(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer store.Close()
	b, _ := backupsOf(t, store, 1)
	place(t, store, 1)
	if err := b.once(t.Context()); err != nil {
		t.Fatal(err)
	}
	v, err := verifyFile(t.Context(), filepath.Join(b.dir, b.have(t)[0]), "harrow")
	if err != nil || v.Fault != nil || v.Entries != 2 {
		t.Errorf("%+v, %v", v, err)
	}
}

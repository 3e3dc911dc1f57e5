package sqlite

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

// TestBackupUnderLoad: each copy is of one moment, whole, and verifies.
func TestBackupUnderLoad(t *testing.T) {
	s := open(t, newPath(t))
	defer s.Close()
	fill(t, s, 50)
	stop := make(chan struct{})
	var wg sync.WaitGroup
	defer wg.Wait()
	defer close(stop)
	for range 4 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				select {
				case <-stop:
					return
				default:
				}
				if err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
					_, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L0", 1))
					return err
				}); err != nil {
					t.Error(err)
					return
				}
			}
		}()
	}
	last := int64(0)
	for i := range 3 {
		to := filepath.Join(t.TempDir(), "copy")
		before := heads(t, s).Seq
		if err := s.Backup(context.Background(), to); err != nil {
			t.Fatal(err)
		}
		after := heads(t, s).Seq
		if left := files(t, to); len(left) != 1 {
			t.Errorf("%d files beside the copy, want it alone: %v", len(left), keys(left))
		}
		copied := open(t, to)
		if seq := heads(t, copied).Seq; seq < before || seq > after || seq < last {
			t.Errorf("copy %d ends at %d, made between %d and %d", i, seq, before, after)
		}
		storetest.VerifyAll(t, copied)
		fill(t, copied, 1) // and is a book like any other
		copied.Close()
	}
}

func TestBackupRefuses(t *testing.T) {
	s := open(t, newPath(t))
	defer s.Close()
	fill(t, s, 3)
	taken := filepath.Join(t.TempDir(), "taken")
	writeFile(t, taken, []byte("mine"))
	for path, want := range map[string]error{
		taken:                        ledger.ErrExists,
		s.Path():                     ledger.ErrExists,
		taken + "/below/a/file":      ledger.ErrUnavailable,
		t.TempDir() + "/not/there/x": ledger.ErrUnavailable,
		"":                           ledger.ErrInvalid,
	} {
		if err := s.Backup(context.Background(), path); !errors.Is(err, want) {
			t.Errorf("Backup to %q: %v, want %v", path, err, want)
		}
	}
	if b, _ := os.ReadFile(taken); string(b) != "mine" {
		t.Error("a file was overwritten")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	to := filepath.Join(t.TempDir(), "copy")
	if err := s.Backup(ctx, to); err == nil {
		t.Error("a cancelled backup succeeded")
	}
	if left := files(t, to); len(left) != 0 {
		t.Errorf("a cancelled backup left %v", keys(left))
	}
	storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", "lot/L0", 1))
}

func TestRestore(t *testing.T) {
	ctx := context.Background()
	s := open(t, newPath(t))
	fill(t, s, 20)
	want := heads(t, s)
	copied := filepath.Join(t.TempDir(), "copy")
	if err := s.Backup(ctx, copied); err != nil {
		t.Fatal(err)
	}
	fill(t, s, 5)
	later := heads(t, s)

	to := filepath.Join(t.TempDir(), "books")
	if err := Restore(ctx, copied, to, false); err != nil {
		t.Fatal(err)
	}
	if left := files(t, to); len(left) != 1 {
		t.Errorf("files after Restore: %v", keys(left))
	}
	r := open(t, to)
	if got := heads(t, r); got != want {
		t.Errorf("restored %v, want %v", got, want)
	}
	storetest.VerifyAll(t, r)

	for name, c := range map[string]struct {
		from, to string
		replace  bool
		want     error
	}{
		"over a book in use":              {copied, s.Path(), true, ledger.ErrUnavailable},
		"from a book in use":              {s.Path(), to + "2", false, ledger.ErrUnavailable},
		"from nothing":                    {copied + "x", to + "2", false, ledger.ErrNotFound},
		"a book in use, not told to":      {copied, to, false, ledger.ErrUnavailable},
		"into a folder that is not there": {copied, to + "/x/y", false, ledger.ErrUnavailable},
	} {
		if err := Restore(ctx, c.from, c.to, c.replace); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	r.Close()
	path := s.Path()
	s.Close()

	before := files(t, path)
	if err := Restore(ctx, copied, path, false); !errors.Is(err, ledger.ErrExists) {
		t.Errorf("over a book, not told to: %v", err)
	}
	text, cut := filepath.Join(t.TempDir(), "text"), filepath.Join(t.TempDir(), "cut")
	writeFile(t, text, []byte("not a book"))
	whole, _ := os.ReadFile(copied)
	writeFile(t, cut, whole[:len(whole)-4096])
	damaged := filepath.Join(t.TempDir(), "damaged")
	clear(whole[5*4096 : 6*4096])
	writeFile(t, damaged, whole)
	for from, want := range map[string]error{text: ledger.ErrForeignFile, cut: ledger.ErrCorrupt, damaged: ledger.ErrCorrupt} {
		if err := Restore(ctx, from, path, true); !errors.Is(err, want) {
			t.Errorf("from %s: %v, want %v", filepath.Base(from), err, want)
		}
	}
	after := files(t, path)
	if len(after) != len(before) || after[filepath.Base(path)] != before[filepath.Base(path)] {
		t.Errorf("a refused restore changed something: %v", keys(after))
	}

	if err := Restore(ctx, copied, path, true); err != nil {
		t.Fatal(err)
	}
	s = open(t, path)
	if got := heads(t, s); got != want {
		t.Errorf("restored %v, want %v", got, want)
	}
	s.Close()
	aside := ""
	for name := range files(t, path) {
		if strings.Contains(name, ".replaced-") && !strings.HasSuffix(name, ".head") {
			aside = filepath.Join(filepath.Dir(path), name)
		}
	}
	s = open(t, aside)
	if got := heads(t, s); got != later {
		t.Errorf("the replaced book is at %v, was at %v", got, later)
	}
	s.Close()
}

// TestRestoreOverCrashed: the log that a dead process left belongs to the file
// that is replaced, not to the new one.
func TestRestoreOverCrashed(t *testing.T) {
	ctx := context.Background()
	s := open(t, newPath(t))
	fill(t, s, 5)
	copied := filepath.Join(t.TempDir(), "copy")
	if err := s.Backup(ctx, copied); err != nil {
		t.Fatal(err)
	}
	want := heads(t, s)
	fill(t, s, 5)
	later := heads(t, s)
	path := filepath.Join(t.TempDir(), "crashed")
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(s.Path() + end)
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, path+end, b)
	}
	s.Close()
	if err := Restore(ctx, path, path+"2", false); !errors.Is(err, ledger.ErrState) {
		t.Errorf("from a file with a log: %v, want ErrState", err)
	}
	if err := Restore(ctx, copied, path, true); err != nil {
		t.Fatal(err)
	}
	s = open(t, path)
	if got := heads(t, s); got != want {
		t.Errorf("restored %v, want %v", got, want)
	}
	storetest.VerifyAll(t, s)
	s.Close()
	found := false
	for name := range files(t, path) {
		if strings.Contains(name, ".replaced-") && !strings.HasSuffix(name, "-wal") {
			found = true
			s := open(t, filepath.Join(filepath.Dir(path), name))
			if got := heads(t, s); got != later {
				t.Errorf("the replaced book is at %v, was at %v", got, later)
			}
			s.Close()
		}
	}
	if !found {
		t.Error("the replaced book is gone")
	}
}

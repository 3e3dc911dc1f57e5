package sqlite

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
)

// left gives the files of a book as a process that was killed would leave them:
// with a log, and where the book ended.
func left(t *testing.T) (path string, head ledger.Head) {
	t.Helper()
	s := open(t, newPath(t))
	defer s.Close()
	fill(t, s, 30)
	head = heads(t, s)
	for range 500 { // until the end is noted
		if readEnds(s.Path())["harrow"].Hash == head.Hash {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	path = filepath.Join(t.TempDir(), "left")
	for _, end := range []string{"", "-wal", ".head"} {
		b, err := os.ReadFile(s.Path() + end)
		noError(t, err)
		writeFile(t, path+end, b)
	}
	return path, head
}

// TestDamagedLog: a log that is damaged, cut or gone ends the book early without
// SQLite saying so. It is not opened, and nothing of it is changed.
func TestDamagedLog(t *testing.T) {
	for name, damage := range map[string]func(log []byte) []byte{
		"a changed byte":      func(log []byte) []byte { log[len(log)/2] ^= 1; return log },
		"in its first header": func(log []byte) []byte { log[20] ^= 1; return log },
		"cut in half":         func(log []byte) []byte { return log[:len(log)/2] },
		"gone":                func([]byte) []byte { return nil },
	} {
		t.Run(name, func(t *testing.T) {
			path, head := left(t)
			log, err := os.ReadFile(path + "-wal")
			noError(t, err)
			if log = damage(log); log == nil {
				noError(t, os.Remove(path+"-wal"))
			} else {
				writeFile(t, path+"-wal", log)
			}
			_, err = Open(context.Background(), path, Options{})
			if !errors.Is(err, ledger.ErrCorrupt) || !strings.Contains(err.Error(), "went on to entry 30") {
				t.Fatalf("Open: %v", err)
			}
			noError(t, os.Remove(path+".head")) // as it says
			s := open(t, path)
			defer s.Close()
			if got := heads(t, s); got.Seq >= head.Seq {
				t.Errorf("the book ends at entry %d: the damage did not reach it", got.Seq)
			}
		})
	}
}

// TestOlderFile: an older file in the place of a newer is not gone on from, unless
// it is put there by Restore.
func TestOlderFile(t *testing.T) {
	ctx := context.Background()
	path := newPath(t)
	s := open(t, path)
	fill(t, s, 3)
	old := filepath.Join(t.TempDir(), "old")
	noError(t, s.Backup(ctx, old))
	fill(t, s, 3)
	noError(t, s.Close())
	raw, err := os.ReadFile(old)
	noError(t, err)
	writeFile(t, path, raw)
	wantOpenError(t, path, ledger.ErrCorrupt)
	noError(t, os.Remove(path))
	wantOpenError(t, path, ledger.ErrCorrupt) // an empty book would be older still

	noError(t, Restore(ctx, old, path, false))
	s = open(t, path)
	if got := heads(t, s); got.Seq != 3 {
		t.Errorf("restored, it ends at entry %d, want 3", got.Seq)
	}
	noError(t, s.Close())
}

// TestEndsNotKnown: a file of ends that is damaged says nothing and is in nobody's way.
func TestEndsNotKnown(t *testing.T) {
	path, _ := left(t)
	raw, err := os.ReadFile(path + ".head")
	noError(t, err)
	for _, b := range [][]byte{nil, raw[:len(raw)/2], []byte("sum "), append([]byte(`"harrow" 99 00`+"\n"), raw...)} {
		writeFile(t, path+".head", b)
		s := open(t, path)
		noError(t, s.Close())
	}
	s := open(t, path)
	fill(t, s, 1)
	noError(t, s.Close())
	if got := readEnds(path)["harrow"].Seq; got != 31 {
		t.Errorf("the noted end is entry %d, want 31", got)
	}
}

//go:build unix

package breaking

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"example.org/remelt/ledger/sqlite"
)

var rounds = flag.Int("rounds", 20, "how often the server is killed under load")

const (
	inOneBook = 25 // rounds, so that verifying does not take longer and longer
	clients   = 8
)

// TestKill kills the server with kill -9 at a random moment under load, also while
// it starts, and starts it again, while clients ask again until they are answered.
//
//	go test -run Kill ./cmd/remelt/breaking -rounds 5000 -timeout 5h
func TestKill(t *testing.T) {
	r := chance(t)
	answers, retries := 0, int64(0)
	for done := 0; done < *rounds && !t.Failed(); done += inOneBook {
		at, db := &address{}, filepath.Join(t.TempDir(), "book.db")
		p := start(t, at, db)
		p.await(t)
		l := dial(t, at, clients, 5*time.Second)
		l.openBook()
		l.begin(r)
		for round := done; round < min(done+inOneBook, *rounds) && !t.Failed(); round++ {
			if r.IntN(5) > 0 { // else it may still be starting
				p.await(t)
				l.turn()
				if !l.enough(1) {
					break
				}
			}
			time.Sleep(between(r, 0, 250*time.Millisecond))
			p.kill()
			if p.cmd.ProcessState.ExitCode() != -1 {
				t.Fatalf("round %d: the server ended by itself:\n%s", round, p.said())
			}
			l.copyHolds(db)
			p = start(t, at, db)
		}
		p.await(t)
		l.end()
		l.shows()
		p.stop(t)
		l.fileHolds(db, true)
		answers, retries = answers+len(l.answers), retries+l.retries.Load()
	}
	t.Logf("%d rounds: %d calls answered, %d tries failed", *rounds, answers, retries)
	if !t.Failed() && retries == 0 {
		t.Error("no client noticed anything: the test has not tested")
	}
}

// copyHolds looks at a copy of the files as the killed server left them; it starts
// again on the originals.
func (l *load) copyHolds(db string) {
	l.t.Helper()
	dir, err := os.MkdirTemp(filepath.Dir(binary), "copy-")
	if err != nil {
		l.t.Fatal(err)
	}
	defer os.RemoveAll(dir)
	copyTo := filepath.Join(dir, "book.db")
	for _, end := range ofBook {
		raw, err := os.ReadFile(db + end)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err == nil {
			err = os.WriteFile(copyTo+end, raw, 0o600)
		}
		if err != nil {
			l.t.Fatal(err)
		}
	}
	l.fileHolds(copyTo, false)
}

// ofBook are the ends of the names of a book's files that hold anything.
var ofBook = []string{"", "-wal"}

func (l *load) fileHolds(db string, all bool) {
	l.t.Helper()
	st, err := sqlite.Open(context.Background(), db, sqlite.Options{Readers: 1})
	if err != nil {
		l.t.Error(err)
		return
	}
	l.holds(st, all)
	if err := st.Close(); err != nil {
		l.t.Error(err)
	}
}

// TestStop stops the server's process for longer than clients wait, and lets it
// go on: what it was at is done then, and what clients sent again meanwhile too,
// each once. Now and then it is killed before it can go on.
func TestStop(t *testing.T) {
	r := chance(t)
	at, db := &address{}, filepath.Join(t.TempDir(), "book.db")
	p := start(t, at, db)
	p.await(t)
	l := dial(t, at, clients, 150*time.Millisecond)
	l.openBook()
	l.begin(r)
	for round := range 12 {
		l.turn()
		if !l.enough(10) {
			break
		}
		time.Sleep(between(r, 0, 30*time.Millisecond))
		p.signal(syscall.SIGSTOP)
		time.Sleep(between(r, 100*time.Millisecond, 500*time.Millisecond))
		if round%4 == 3 {
			p.kill()
			l.copyHolds(db)
			p = start(t, at, db)
			p.await(t)
			continue
		}
		p.signal(syscall.SIGCONT)
	}
	l.end()
	l.shows()
	p.stop(t)
	l.fileHolds(db, true)
	t.Logf("%d calls answered, %d tries failed", len(l.answers), l.retries.Load())
	if !t.Failed() && l.retries.Load() == 0 {
		t.Error("no client noticed anything: the test has not tested")
	}
}

// TestSecondServer: a file has one server. Another is refused and says by whom,
// also when the first is stopped, and disturbs nothing.
func TestSecondServer(t *testing.T) {
	at, db := &address{}, filepath.Join(t.TempDir(), "book.db")
	p := start(t, at, db)
	p.await(t)
	l := dial(t, at, clients, 5*time.Second)
	l.openBook()
	l.begin(chance(t))
	link := filepath.Join(t.TempDir(), "link.db")
	if err := os.Symlink(db, link); err != nil {
		t.Fatal(err)
	}
	for i, name := range []string{db, link, db} {
		l.turn()
		l.enough(5)
		if i == 2 {
			p.signal(syscall.SIGSTOP)
		}
		second := start(t, nil, name)
		if code := second.exit(t); code != 7 {
			t.Errorf("a second server ended with status %d, want 7", code)
		}
		for _, says := range []string{"[BOOK_IN_USE]", "only one server may have the book open", fmt.Sprintf("process %d has it", p.cmd.Process.Pid)} {
			if !strings.Contains(second.said(), says) {
				t.Errorf("a second server does not say %q:\n%s", says, second.said())
			}
		}
		p.signal(syscall.SIGCONT)
	}
	l.end()
	l.shows()
	p.stop(t)
	l.fileHolds(db, true)
}

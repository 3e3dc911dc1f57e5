//go:build unix

package breaking

import (
	"context"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// TestRegularBackups has the server make a backup every second under load, and
// kills it now and then. Each that is there is whole and the beginning of the book;
// the newest, put in place elsewhere by the command that people use, is served.
func TestRegularBackups(t *testing.T) {
	r := chance(t)
	const keep = 4
	at, db, dir := &address{}, filepath.Join(t.TempDir(), "book.db"), t.TempDir()
	serve := func() *program {
		p := start(t, at, db, "--backup-to", dir, "--backup-every", "1s", "--backup-keep", "4")
		p.await(t)
		return p
	}
	p := start(t, at, db)
	p.await(t)
	l := dial(t, at, clients, 5*time.Second)
	l.openBook()
	l.begin(r)
	p.kill()
	p = serve()
	for range 3 {
		l.turn()
		l.enough(20)
		time.Sleep(between(r, time.Second, 2*time.Second))
		p.kill()
		p = serve()
	}
	made := func() []string {
		all, err := filepath.Glob(filepath.Join(dir, "book-*.db"))
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	if !within(func() bool { return len(made()) >= keep }) {
		t.Fatalf("there are %d backups, want %d:\n%s", len(made()), keep, p.said())
	}
	l.turn()
	l.enough(20)
	l.end()
	if !within(func() bool { return l.newestHasAll(made()) }) {
		t.Errorf("no backup is made any more:\n%s", p.said())
	}
	p.stop(t)
	all := made()
	if len(all) != keep {
		t.Errorf("%d backups are kept, want %d", len(all), keep)
	}
	for _, file := range all {
		l.fileBegins(file)
	}
	restored := filepath.Join(t.TempDir(), "restored.db")
	newest := all[len(all)-1]
	for i, want := range []int{0, 6} { // and never over a file that is there
		out, err := exec.Command(binary, "restore", newest, "--db", restored).CombinedOutput()
		if code := exitCode(err); code != want {
			t.Errorf("restore %d: status %d, want %d\n%s", i, code, want, out)
		}
	}
	p = start(t, at, restored)
	p.await(t)
	l.shows()
	p.stop(t)
	l.fileHolds(restored, true)
}

// newestHasAll tells whether the newest backup has all that was answered.
func (l *load) newestHasAll(made []string) bool {
	st, err := sqlite.Open(context.Background(), made[len(made)-1], sqlite.Options{Readers: 1})
	if err != nil {
		return false // it may just be removed
	}
	defer st.Close()
	v, err := ledger.Verify(context.Background(), st, shopID, nil)
	return err == nil && v.Entries == setUp+int64(len(l.answers))
}

func exitCode(err error) int {
	if err == nil {
		return 0
	}
	if exit, ok := err.(*exec.ExitError); ok { //nolint:errorlint // as Run returns it
		return exit.ExitCode()
	}
	return -1
}

// fileBegins looks that a file is whole and a beginning of the book.
func (l *load) fileBegins(file string) {
	l.t.Helper()
	st, err := sqlite.Open(context.Background(), file, sqlite.Options{Readers: 1})
	if err != nil {
		l.t.Error(err)
		return
	}
	defer st.Close()
	v, err := ledger.Verify(context.Background(), st, shopID, nil)
	if err != nil || v.Fault != nil {
		l.t.Errorf("%s: %+v, %v", file, v.Fault, err)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if found := v.Entries == setUp; !found {
		for _, a := range l.answers {
			found = found || a.seq == v.Entries && a.hash == v.Head.String()
		}
		if !found {
			l.t.Errorf("%s ends with entry %d, which is not one of the book", file, v.Entries)
		}
	}
}

//go:build linux

package breaking

import (
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// TestFullDisk lets the disk run full under load and makes room again, over and
// over, on a file system of a few MiB. While it is full nothing is acknowledged
// that is not there, reading goes on and the server says that it is not ready; with
// room it goes on by itself, without a restart.
func TestFullDisk(t *testing.T) {
	dir := smallDisk(t)
	r := chance(t)
	at, db, ballast := &address{}, filepath.Join(dir, "book.db"), filepath.Join(dir, "ballast")
	p := start(t, at, db)
	p.await(t)
	l := dial(t, at, 4, 5*time.Second)
	l.openBook()
	l.begin(r)
	for round := range 6 {
		l.turn()
		if !l.enough(20) {
			break
		}
		fill(t, ballast)
		if !within(func() bool { return !isReady(p) }) {
			t.Fatalf("round %d: the disk is full and the server says it is ready", round)
		}
		if _, err := lotsOf(t.Context(), l.clients[0]); err != nil {
			t.Errorf("round %d: the disk is full and reading does not go on: %v", round, err)
		}
		time.Sleep(between(r, 0, 200*time.Millisecond))
		if round == 3 { // starting on a full disk does no harm either
			p.kill()
			l.copyHolds(db)
			p = start(t, at, db)
			time.Sleep(between(r, 0, 200*time.Millisecond))
		}
		if err := os.Remove(ballast); err != nil {
			t.Fatal(err)
		}
		<-p.ready
		for ended := false; round == 3 && !ended && !isReady(p); {
			if ended = p.endsWithin(20 * time.Millisecond); ended { // it could not start: now it can
				p = start(t, at, db)
			}
		}
		l.turn()
		if !l.enough(5) {
			t.Fatalf("round %d: there is room again and the server does not go on:\n%s", round, p.said())
		}
		if !within(func() bool { return isReady(p) }) {
			t.Errorf("round %d: there is room again and the server says it is not ready", round)
		}
	}
	l.end()
	l.shows()
	p.stop(t)
	l.fileHolds(db, true)
	if !strings.Contains(p.said(), "DISK_FULL") {
		t.Errorf("the server's log does not say that the disk was full:\n%s", p.said())
	}
	t.Logf("%d calls answered, %d tries failed", len(l.answers), l.retries.Load())
}

// TestStartOnAFullDisk: where the disk has no room, a book is served for reading if there
// is room for what readers share, and else left as it is; either way it is said why.
func TestStartOnAFullDisk(t *testing.T) {
	dir := smallDisk(t)
	db, ballast := filepath.Join(dir, "book.db"), filepath.Join(dir, "ballast")
	at := &address{}
	says := func(p *program, what string) {
		t.Helper()
		if !within(func() bool { return strings.Contains(p.said(), what) }) {
			t.Fatalf("the server does not say %q:\n%s", what, p.said())
		}
	}
	p := start(t, at, db, "--shop", "harrow")
	says(p, "this link works once")
	p.stop(t)

	fill(t, ballast)
	p = start(t, at, db)
	if code := p.exit(t); code == 0 || !strings.Contains(p.said(), "the disk is full") || !strings.Contains(p.said(), "DISK_FULL") {
		t.Errorf("status %d:\n%s", code, p.said())
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}

	if err := os.WriteFile(db+"-shm", make([]byte, 32768), 0o600); err != nil { // so much is shared
		t.Fatal(err)
	}
	fill(t, ballast)
	p = start(t, at, db)
	says(p, "harrow: no link could be made")
	says(p, "disk is full")
	says(p, "Stop it with")
	if _, err := lotsOf(t.Context(), dial(t, at, 1, 5*time.Second).clients[0]); err != nil {
		t.Errorf("reading does not go: %v", err)
	}
	if err := os.Remove(ballast); err != nil {
		t.Fatal(err)
	}
	p.stop(t)
	p = start(t, at, db)
	says(p, "/shops/harrow/join#")
	p.stop(t)
}

// smallDisk is a folder on a file system of a few MiB.
func smallDisk(t *testing.T) (dir string) {
	t.Helper()
	if os.Geteuid() != 0 {
		skip(t, "a small file system can only be mounted by root")
	}
	dir = t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, "size=6m"); err != nil {
		skip(t, "a small file system cannot be mounted here: "+err.Error())
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	return dir
}

// fill writes to a file until there is no room for more.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, size := range []int{1 << 16, 1 << 9, 1} {
		for b := make([]byte, size); err == nil; {
			_, err = f.Write(b)
		}
		if !errors.Is(err, syscall.ENOSPC) {
			t.Fatal(err)
		}
		err = nil
	}
}

// isReady asks the server whether it takes writes.
func isReady(p *program) bool {
	a, err := http.Get("http://" + p.http + "/readyz")
	if err != nil {
		return false
	}
	defer a.Body.Close()
	_, _ = io.Copy(io.Discard, a.Body)
	return a.StatusCode == http.StatusOK
}

// within waits for something to come true.
func within(is func() bool) bool {
	for range 600 {
		if is() {
			return true
		}
		time.Sleep(50 * time.Millisecond)
	}
	return false
}

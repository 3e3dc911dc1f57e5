//go:build unix

package breaking

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/remelt/client"
	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/ledger/storetest"
)

var damages = flag.Int("damages", 40, "how many damaged files the server is started on")

// TestDamage starts the server on files that were damaged while it was down: one
// that was closed, one that was left by kill -9, and its log. It does not start and
// says what is wrong, or what was damaged is of no use to anybody, and then all
// that it says of the stock is right.
func TestDamage(t *testing.T) {
	r := chance(t)
	at, db := &address{}, filepath.Join(t.TempDir(), "book.db")
	p := start(t, at, db)
	p.await(t)
	l := dial(t, at, clients, 5*time.Second)
	l.openBook()
	l.begin(r)
	l.enough(400)
	l.end()
	time.Sleep(300 * time.Millisecond) // until it is noted where the book ends
	p.kill()
	left := keep(t, db, "", "-wal", ".head")
	p = start(t, at, db)
	p.await(t)
	p.stop(t)
	closed := keep(t, db, "", ".head")

	refused, served := 0, 0
	for i := range *damages {
		files, which := maps.Clone(closed), ""
		if i%2 == 1 {
			files, which = maps.Clone(left), []string{"", "-wal"}[r.IntN(2)]
		}
		var what string
		files[which], what = damage(r, files[which])
		what = fmt.Sprintf("book.db%s: %s", which, what)
		where := filepath.Join(t.TempDir(), "book.db")
		for end, raw := range files {
			if err := os.WriteFile(where+end, raw, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		p := start(t, at, where)
		<-p.ready
		if p.grpc == "" || p.endsWithin(time.Second) { // what is not in the book, such as sign-in, is read as it starts
			refused++
			if code := p.exit(t); code == 0 || code == 2 || !saysWhy(p.said()) {
				t.Errorf("%s: status %d, and it does not say what is wrong:\n%s", what, code, p.said())
			}
			continue
		}
		served++
		// A connection that found no server several times in a row waits longer and
		// longer before it looks again, so this server gets one of its own.
		l.clients[0] = dialOne(t, at, client.Config{Tries: 50, Timeout: 5 * time.Second})
		l.shows()
		l.whole(what)
		p.kill()
		l.fileHolds(where, true)
		if t.Failed() {
			t.Fatalf("it was served with %s:\n%s", what, p.said())
		}
	}
	t.Logf("%d damaged files were refused, %d served as they were", refused, served)
	if refused == 0 {
		t.Error("no damage was seen: the test has not tested")
	}
}

func saysWhy(said string) bool {
	for _, reason := range []string{"[BOOK_DAMAGED]", "[FOREIGN_FILE]"} {
		if strings.Contains(said, reason) {
			return true
		}
	}
	return false
}

// whole asks the server to verify its book.
func (l *load) whole(what string) {
	l.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	v, err := l.clients[0].Verify(ctx, parent, nil)
	if err != nil || !v.GetWhole() {
		l.t.Errorf("%s: %v, %v", what, v.GetFault(), err)
	}
}

// keep reads the files of a book that nobody has open.
func keep(t *testing.T, db string, ends ...string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	for _, end := range ends {
		raw, err := os.ReadFile(db + end)
		if err != nil || len(raw) == 0 {
			t.Fatal(errors.Join(err, fmt.Errorf("%s: %d bytes", end, len(raw))))
		}
		files[end] = raw
	}
	return files
}

// damage damages a file as disks do: a bit, a run of bytes, a page of zeros or of
// something else, the end.
func damage(r *rand.Rand, file []byte) ([]byte, string) {
	file = append([]byte(nil), file...)
	at := r.IntN(len(file))
	page := at / 4096 * 4096
	switch r.IntN(6) {
	case 0, 1:
		file[at] ^= 1 << r.IntN(8)
		return file, fmt.Sprintf("a bit at byte %d", at)
	case 2:
		end := min(len(file), at+1+r.IntN(64))
		for i := at; i < end; i++ {
			file[i] = byte(r.Uint32())
		}
		return file, fmt.Sprintf("bytes %d to %d", at, end)
	case 3:
		clear(file[page:min(len(file), page+4096)])
		return file, fmt.Sprintf("zeros from byte %d on", page)
	case 4:
		from := r.IntN(len(file)) / 4096 * 4096
		copy(file[page:], append([]byte(nil), file[from:min(len(file), from+4096)]...))
		return file, fmt.Sprintf("the page at byte %d is that at %d", page, from)
	}
	return file[:at], fmt.Sprintf("cut after byte %d", at)
}

// TestDamageOfALargeFile starts the server on damaged files that are too large to be
// verified before they are served: it serves them at first, or not, finds the damage,
// ends, says what is wrong, and does not serve them again. Or nothing of use was damaged.
func TestDamageOfALargeFile(t *testing.T) {
	r := chance(t)
	db := filepath.Join(t.TempDir(), "large.db")
	makeBook(t, db, 90_000)
	whole := keep(t, db, "", ".head")
	if len(whole[""]) < 34<<20 {
		t.Fatalf("%d bytes are not many", len(whole[""]))
	}
	refused, served, found := 0, 0, 0
	for i := 0; i < max(4, *damages/10) || found == 0 && i < 40; i++ {
		where := filepath.Join(t.TempDir(), "book.db")
		file, what := damage(r, whole[""])
		for end, raw := range map[string][]byte{"": file, ".head": whole[".head"]} {
			if err := os.WriteFile(where+end, raw, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		p := start(t, nil, where)
		<-p.ready
		ended := false
		for !ended && !strings.Contains(p.said(), "the book is whole") {
			ended = p.endsWithin(20 * time.Millisecond)
		}
		if ended {
			if code := p.exit(t); code == 0 || code == 2 || !saysWhy(p.said()) {
				t.Errorf("%s: status %d, and it does not say what is wrong:\n%s", what, code, p.said())
			}
			if p.grpc == "" {
				refused++
				continue
			}
			found++
			again := start(t, nil, where)
			<-again.ready
			if again.grpc != "" {
				t.Errorf("%s: it is served again:\n%s", what, again.said())
				again.kill()
			} else if code := again.exit(t); code == 0 || !saysWhy(again.said()) {
				t.Errorf("%s: status %d at the next start:\n%s", what, code, again.said())
			}
			continue
		}
		served++
		p.stop(t)
	}
	t.Logf("%d damaged files were refused, of %d that were served the damage was found, %d served as they were", refused, found, served)
	if found == 0 {
		t.Error("no damage was found: the test has not tested")
	}
}

// makeBook makes a book of so many entries.
func makeBook(t *testing.T, db string, n int) {
	t.Helper()
	store, err := sqlite.Open(t.Context(), db, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	storetest.Fill(t, store, "harrow", storetest.ShopEntries(n))
	if err := store.Close(); err != nil {
		t.Fatal(err)
	}
}

package breaking

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	lib "modernc.org/sqlite/lib"
)

var images = flag.Int("images", 4_000, "how many images of a power cut are tried")

// recording is what SQLite did with the files of a book, and when each step of
// the day was acknowledged.
type recording struct {
	start  map[string][]byte // the files at its beginning
	events []Event
	acked  []int // events there were when step i was acknowledged
}

// record runs the day. The book is closed and opened again at each third of it,
// so that the log is folded into the file, and once the disk is full for one
// write, after which the store folds the log in more often.
func record(t *testing.T) *recording {
	t.Helper()
	dir := scratch(t)
	st, _, err := book(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "books"))
	if err != nil {
		t.Fatal(err)
	}
	r := &recording{start: map[string][]byte{"books": raw}}
	w := &Watcher{}
	defer Watch(dir, w)()
	keep := func(e Event) {
		switch e.Op {
		case Write, Sync, Truncate, Delete:
			e.Data = bytes.Clone(e.Data)
			r.events = append(r.events, e)
		}
	}
	full := false
	w.Set(func(e Event) Fault {
		if full && e.Op == Write && strings.HasSuffix(e.File, "-wal") {
			full = false
			return Fault{Code: lib.SQLITE_FULL, Part: e.Len / 2}
		}
		return Fault{}
	}, keep)
	st, s, err := book(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i, step := range day {
		if i%12 == 11 {
			if err := st.Close(); err != nil {
				t.Fatal(err)
			}
			if st, s, err = book(dir); err != nil {
				t.Fatal(err)
			}
			full = i == 11
		}
		if _, err := step.do(s, context.Background(), meta(i)); err != nil {
			t.Fatalf("%s: %v", step.name, err)
		}
		r.acked = append(r.acked, len(r.events))
	}
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	return r
}

// Ways in which what was not synced when the power went comes out.
const (
	kept = iota
	dropped
	mixed // each write by itself: kept, dropped or torn
)

const sector = 512 // the least that a disk writes whole

// cut gives the files as they may be found when the power goes after n events.
// What was written before a file's last sync is there; a file's name and its
// removal are as durable as its next sync.
func (r *recording) cut(n int, how int, random *rand.Rand) map[string][]byte {
	synced := map[string]int{}
	for i, e := range r.events[:n] {
		if e.Op == Sync {
			synced[e.File] = i
		}
	}
	files := map[string][]byte{}
	for name, raw := range r.start {
		files[name] = bytes.Clone(raw)
	}
	for i, e := range r.events[:n] {
		last, ok := synced[e.File]
		safe := ok && i < last
		fate := how
		if how == mixed && !safe {
			fate = random.IntN(3)
		}
		switch {
		case e.Op == Sync:
		case e.Op == Delete:
			if safe || fate == kept || fate == mixed && random.IntN(2) == 0 {
				delete(files, e.File)
			}
		case e.Op == Truncate:
			if f := files[e.File]; (safe || fate != dropped) && int64(len(f)) > e.At {
				files[e.File] = f[:e.At:e.At]
			}
		case safe || fate == kept:
			files[e.File] = put(files[e.File], e.At, e.Data)
		case fate == mixed: // torn
			for from := 0; from < len(e.Data); {
				to := min(len(e.Data), from+sector-int((e.At+int64(from))%sector))
				if random.IntN(2) == 0 {
					files[e.File] = put(files[e.File], e.At+int64(from), e.Data[from:to])
				}
				from = to
			}
		}
	}
	return files
}

func put(f []byte, at int64, data []byte) []byte {
	if need := int(at) + len(data); need > len(f) {
		f = append(f, make([]byte, need-len(f))...)
	}
	copy(f[at:], data)
	return f
}

// cutAt is one image to be tried.
type cutAt struct {
	n, how int
	seed   uint64 // the round; the first keeps all, the second drops all
}

// TestPowerCut: whenever the power goes, and whatever becomes of what was not
// synced, the book opens, verifies, and has every entry that was acknowledged.
func TestPowerCut(t *testing.T) {
	r := record(t)
	if len(r.events) < 400 || !slices.ContainsFunc(r.events, func(e Event) bool { return e.Op == Delete }) {
		t.Fatalf("%d events recorded: too little happened", len(r.events))
	}
	dir := scratch(t)
	var all []cutAt
	for round := uint64(0); len(all) < *images; round++ {
		for n := range len(r.events) + 1 {
			all = append(all, cutAt{n, min(int(round), mixed), round})
		}
	}
	seed := seeded(t)
	var mu sync.Mutex
	failed := 0
	each(all, func(worker int, c cutAt) {
		random := rand.New(rand.NewPCG(seed, c.seed<<32|uint64(c.n)))
		wrong := r.survives(filepath.Join(dir, fmt.Sprint(worker)), c, random)
		mu.Lock()
		defer mu.Unlock()
		if wrong != "" {
			if failed++; failed < 20 {
				t.Errorf("cut after %d of %d events, round %d: %s", c.n, len(r.events), c.seed, wrong)
			}
		}
	})
	t.Logf("%d images of %d events, %d failed", len(all), len(r.events), failed)
}

// survives opens an image and says what is wrong with it.
func (r *recording) survives(dir string, c cutAt, random *rand.Rand) string {
	if err := errors.Join(os.RemoveAll(dir), os.MkdirAll(dir, 0o700)); err != nil {
		return err.Error()
	}
	for name, raw := range r.cut(c.n, c.how, random) {
		if err := os.WriteFile(filepath.Join(dir, name), raw, 0o600); err != nil {
			return err.Error()
		}
	}
	acked := 0
	for acked < len(r.acked) && r.acked[acked] <= c.n {
		acked++
	}
	st, s, err := book(dir)
	if err != nil {
		return fmt.Sprintf("cannot be opened: %v", err)
	}
	defer st.Close()
	entries, wrong := check(st, acked, acked+1)
	if wrong == "" && entries < len(day) && (c.seed+uint64(c.n))%8 == 0 { // and it goes on
		if _, err := day[entries].do(s, context.Background(), meta(entries)); err != nil {
			return fmt.Sprintf("%s: %v", day[entries].name, err)
		}
		_, wrong = check(st, entries+1, entries+1)
	}
	return wrong
}

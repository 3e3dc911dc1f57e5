package breaking

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"testing"

	lib "modernc.org/sqlite/lib"

	"example.org/remelt/ledger"
)

var (
	whole = flag.Bool("whole", false, "break at every place, not at a sample of them")
	seed  = flag.Uint64("seed", 0, "of the sample; 0: another each time")
)

// sampled is how many of the faults are tried without -whole.
const sampled = 500

// kind is a way in which an I/O fails.
type kind struct {
	name string
	hits func(Op) bool
	code func(Op) int32
	half bool // a write gets half way
	on   bool // everything after it fails too, until the disk is mended
}

var codes = map[Op]int32{
	Open: lib.SQLITE_CANTOPEN, Read: lib.SQLITE_IOERR_READ, Write: lib.SQLITE_IOERR_WRITE, Sync: lib.SQLITE_IOERR_FSYNC,
	Truncate: lib.SQLITE_IOERR_TRUNCATE, Delete: lib.SQLITE_IOERR_DELETE, Size: lib.SQLITE_IOERR_FSTAT, Share: lib.SQLITE_IOERR_SHMMAP,
}

func every(Op) bool           { return true }
func writes(op Op) bool       { return op == Write }
func code(op Op) int32        { return codes[op] }
func noSpace(Op) int32        { return lib.SQLITE_FULL }
func (k kind) String() string { return k.name }

var kinds = []kind{
	{name: "one I/O fails", hits: every, code: code},
	{name: "all I/O fails from then on", hits: every, code: code, on: true},
	{name: "one write finds no space, half way", hits: writes, code: noSpace, half: true},
	{name: "no write finds space from then on", hits: writes, code: noSpace, half: true, on: true},
}

// breaker fails the n-th I/O of a kind; 0: none, it only counts.
type breaker struct {
	kind kind
	n    int
	seen int
	hit  bool
}

func (b *breaker) before(e Event) Fault {
	if !b.kind.hits(e.Op) {
		return Fault{}
	}
	b.seen++
	if b.n == 0 || b.seen < b.n || b.seen > b.n && !b.kind.on {
		return Fault{}
	}
	b.hit = true
	f := Fault{Code: b.kind.code(e.Op)}
	if b.kind.half {
		f.Part = e.Len / 2
	}
	return f
}

// fault is one thing to break.
type fault struct {
	step int
	kind kind
	n    int
}

// TestEveryFault: whichever I/O of whichever write fails, in whichever way, what
// was answered is true, asking again with the same request id ends with exactly
// one entry, without a restart and after one, and the book verifies.
func TestEveryFault(t *testing.T) {
	before := files(t)
	dir := scratch(t)
	var all []fault
	for i := range day {
		for _, k := range kinds {
			b := &breaker{kind: k}
			if wrong := try(dir, before, fault{i, k, 0}, b); wrong != "" {
				t.Fatalf("%s, unbroken: %s", day[i].name, wrong)
			}
			for n := range b.seen {
				all = append(all, fault{i, k, n + 1})
			}
		}
	}
	of := len(all)
	if !*whole {
		all = sample(t, all, sampled)
	}
	var mu sync.Mutex
	hit := 0
	each(all, func(worker int, f fault) {
		own := filepath.Join(dir, fmt.Sprint(worker))
		b := &breaker{kind: f.kind, n: f.n}
		wrong := try(own, before, f, b)
		mu.Lock()
		defer mu.Unlock()
		if wrong != "" {
			t.Errorf("%s, %s, number %d: %s", day[f.step].name, f.kind, f.n, wrong)
		}
		if b.hit {
			hit++
		}
	})
	t.Logf("%d of %d faults made in %d operations", hit, of, len(day))
	if hit < len(all)*9/10 {
		t.Errorf("only %d of %d faults came to pass", hit, len(all))
	}
}

// seeded gives the seed of a test and says it.
func seeded(t *testing.T) uint64 {
	s := *seed
	if s == 0 {
		s = rand.Uint64()
	}
	t.Logf("-seed %d", s)
	return s
}

// sample draws n of all.
func sample[T any](t *testing.T, all []T, n int) []T {
	random := rand.New(rand.NewPCG(seeded(t), 0))
	random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	return all[:min(n, len(all))]
}

// each does all things, on every processor.
func each[T any](all []T, do func(worker int, one T)) {
	todo := make(chan T)
	var wg sync.WaitGroup
	for w := range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for one := range todo {
				do(w, one)
			}
		})
	}
	for _, one := range all {
		todo <- one
	}
	close(todo)
	wg.Wait()
}

// try does a step with a fault in it, or in the close after it, and says what is
// wrong afterwards.
func try(dir string, before [][]byte, f fault, b *breaker) string {
	ctx := context.Background()
	if err := errors.Join(os.RemoveAll(dir), os.MkdirAll(dir, 0o700), os.WriteFile(filepath.Join(dir, "books"), before[f.step], 0o600)); err != nil {
		return err.Error()
	}
	w := &Watcher{}
	defer Watch(dir, w)()
	st, s, err := book(dir)
	if err != nil {
		return err.Error()
	}
	defer st.Close()
	do := func() error {
		e, err := day[f.step].do(s, ctx, meta(f.step))
		if err == nil && (e.Seq != int64(f.step+1) || e.Request != meta(f.step).Request) {
			err = fmt.Errorf("WRONG ANSWER: entry %d with request %s", e.Seq, e.Request)
		}
		return err
	}
	w.Set(b.before, nil)
	err = do()
	least, most := f.step, f.step+1
	switch {
	case err == nil:
		least = most
	case errors.Is(err, ledger.ErrUnavailable): // it says that nothing was recorded
		most = least
	case errors.Is(err, ledger.ErrCorrupt), errors.Is(err, ledger.ErrInvalid), errors.Is(err, ledger.ErrState):
		return fmt.Sprintf("a fault of the disk is called %v", err)
	}
	if b.hit {
		if again := do(); again == nil { // maybe while the disk is still broken
			least, most = f.step+1, f.step+1
		} else if !errors.Is(again, ledger.ErrUnavailable) {
			most = f.step + 1
		}
		w.Set(nil, nil)
		if _, wrong := check(st, least, most); wrong != "" {
			return fmt.Sprintf("answered %v, then: %s", err, wrong)
		}
		for range 2 {
			if err := do(); err != nil {
				return fmt.Sprintf("asked again on a sound disk: %v", err)
			}
		}
		if _, wrong := check(st, f.step+1, f.step+1); wrong != "" {
			return "after asking again: " + wrong
		}
	} else if err != nil {
		return fmt.Sprintf("without a fault: %v", err)
	}
	_ = st.Close() // what it says of the disk changes nothing of what was answered
	w.Set(nil, nil)
	st, s, err = book(dir)
	if err != nil {
		return fmt.Sprintf("opened again: %v", err)
	}
	defer st.Close()
	if _, wrong := check(st, f.step+1, f.step+1); wrong != "" {
		return "opened again: " + wrong
	}
	if err := do(); err != nil {
		return fmt.Sprintf("asked again after a restart: %v", err)
	}
	if _, wrong := check(st, f.step+1, f.step+1); wrong != "" {
		return "asked again after a restart: " + wrong
	}
	if err := st.Close(); err != nil {
		return fmt.Sprintf("closed: %v", err)
	}
	return ""
}

package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"sync/atomic"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

var errDisk = errors.New("fault made by the test")

func add(s *Store, m ledger.Mass) error {
	return s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
		_, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L0", m))
		return err
	})
}

func mass(t *testing.T, s *Store) (m ledger.Mass) {
	t.Helper()
	if err := s.View(context.Background(), "harrow", func(r ledger.Reader) (err error) {
		m, err = r.Balance("lot/L0")
		return err
	}); err != nil {
		t.Error(err)
	}
	return m
}

// TestCommitFaults: what a commit reports and what it did may differ; what is
// answered is what it did, or that nobody knows.
func TestCommitFaults(t *testing.T) {
	s := open(t, newPath(t))
	defer s.Close()
	fault := func(commit func(func() error) error, opened func(*conn) error) {
		// The writer is idle between the Updates of this test.
		s.faults.commit, s.faults.opened = commit, opened
	}
	total := ledger.Mass(0)
	check := func(what string, saved bool) {
		t.Helper()
		if saved {
			total++
		}
		if m := mass(t, s); m != total {
			t.Errorf("%s: the lot holds %d, want %d", what, m, total)
		}
		fault(nil, nil)
		if err := add(s, 1); err != nil {
			t.Errorf("after %s: %v", what, err)
		}
		total++
		storetest.VerifyAll(t, s)
	}

	fault(func(func() error) error { return errDisk }, nil)
	if err := add(s, 1); !errors.Is(err, ledger.ErrUnavailable) || !errors.Is(err, errDisk) {
		t.Errorf("not saved: %v, want ErrUnavailable", err)
	}
	check("not saved", false)

	fault(func(commit func() error) error { noError(t, commit()); return errDisk }, nil)
	if err := add(s, 1); err != nil {
		t.Errorf("saved but reported as failed: %v, want success", err)
	}
	check("saved but reported as failed", true)

	for _, saved := range []bool{true, false} {
		what := fmt.Sprintf("unknown, saved %v", saved)
		fault(func(commit func() error) error {
			if saved {
				noError(t, commit())
			}
			return errDisk
		}, func(*conn) error { return errDisk })
		var known *ledger.Error
		if err := add(s, 1); err == nil || errors.As(err, &known) {
			t.Errorf("%s: %v, want an error of unknown outcome", what, err)
		}
		if err := add(s, 1); !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("%s, still down: %v, want ErrUnavailable", what, err)
		}
		check(what, saved)
	}
}

// TestFaultHitsAll: when a group's transaction fails, each of its jobs is told,
// also one that failed for a reason of its own in a state that never was.
func TestFaultHitsAll(t *testing.T) {
	s := open(t, newPath(t))
	defer s.Close()
	fill(t, s, 1)
	before := heads(t, s)
	var failed atomic.Int64
	s.faults.commit = func(func() error) error { failed.Add(1); return errDisk }
	own := errors.New("own")
	hold, release := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	for i := range 20 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			if i > 0 {
				<-hold
			}
			err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
				if i == 0 {
					close(hold)
					<-release
				}
				if i%5 == 4 {
					if m, _ := tx.Balance("lot/L0"); m > 1 {
						return own
					}
				}
				_, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L0", 1))
				return err
			})
			if !errors.Is(err, ledger.ErrUnavailable) || errors.Is(err, own) {
				t.Errorf("job %d: %v, want ErrUnavailable", i, err)
			}
		}()
	}
	<-hold
	close(release)
	wg.Wait()
	if got := heads(t, s); got != before || failed.Load() == 0 {
		t.Errorf("head %v after %d failed commits, want %v", got, failed.Load(), before)
	}
	s.faults.commit = nil
	fill(t, s, 2)
	storetest.VerifyAll(t, s)
}

// TestDiskFull: a full disk is said to be full, loses nothing, hinders no
// reader, and writing goes on when there is room, without a restart.
func TestDiskFull(t *testing.T) {
	t.Run("by a limit", func(t *testing.T) {
		s := open(t, newPath(t))
		defer s.Close()
		fill(t, s, 1)
		var limit atomic.Int64
		limit.Store(30)
		s.faults.opened = func(c *conn) error {
			return c.set(fmt.Sprintf(`max_page_count = %d`, limit.Load()))
		}
		s.faults.commit = func(func() error) error { return errDisk } // so that it reconnects, with the limit
		if err := add(s, 1); !errors.Is(err, errDisk) {
			t.Error(err)
		}
		s.faults.commit = nil
		fillUp(t, s, func() { limit.Store(1 << 30) })
	})
	t.Run("a real one", func(t *testing.T) {
		dir := t.TempDir()
		if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=1m", "none", dir).CombinedOutput(); err != nil {
			t.Skipf("a small file system cannot be mounted here: %s", out)
		}
		defer func() { noError(t, exec.Command("umount", "-l", dir).Run()) }()
		ballast := dir + "/ballast"
		writeFile(t, ballast, make([]byte, 300<<10))
		s := open(t, dir+"/books")
		defer s.Close()
		fill(t, s, 1)
		fillUp(t, s, func() { os.Remove(ballast) })
	})
}

// fillUp writes from many sides until nothing fits, makes room and goes on.
func fillUp(t *testing.T, s *Store, makeRoom func()) {
	t.Helper()
	was := mass(t, s)
	var saved, refused atomic.Int64
	var wg sync.WaitGroup
	for w := range 8 {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for i := range 150 {
				id := fmt.Sprintf("W%d-%d", w, i)
				err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
					_, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L0", 1, storetest.Rec("note", id, "", `{"text":"`+id+`, of some length, so that it fills the disk soon"}`)))
					return err
				})
				var e *ledger.Error
				switch {
				case err == nil:
					saved.Add(1)
				case errors.Is(err, ledger.ErrUnavailable) && errors.As(err, &e) && e.Reason == "DISK_FULL":
					refused.Add(1)
				default:
					t.Errorf("on a full disk: %v", err)
				}
			}
		}()
	}
	wg.Wait()
	if saved.Load() == 0 || refused.Load() == 0 {
		t.Errorf("%d saved and %d refused, want some of each", saved.Load(), refused.Load())
	}
	if m := mass(t, s); m != was+ledger.Mass(saved.Load()) {
		t.Errorf("the lot holds %d, want %d: one for each that was acknowledged", m, was+ledger.Mass(saved.Load()))
	}
	storetest.VerifyAll(t, s)
	makeRoom()
	for range 50 {
		if err := add(s, 1); err != nil {
			t.Fatalf("with room again: %v", err)
		}
	}
	storetest.VerifyAll(t, s)
}

// TestDamageFoundLater: damage in a part that opening does not read is
// reported by whoever reads it, and nothing wrong is served.
func TestDamageFoundLater(t *testing.T) {
	path := aBook(t, 400)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	limit := smallFile
	smallFile = 0
	defer func() { smallFile = limit }()
	reported := 0
	for page := 1; page < len(whole)/4096; page++ {
		damaged := append([]byte(nil), whole...)
		for i := range 4096 {
			damaged[page*4096+i] ^= 0x5a
		}
		writeFile(t, path, damaged)
		s, err := Open(context.Background(), path, Options{})
		if err == nil {
			var v ledger.Verified
			v, err = ledger.Verify(context.Background(), s, "harrow", nil)
			if err == nil && v.Fault != nil {
				err = fmt.Errorf("%w: %+v", ledger.ErrCorrupt, v.Fault)
			}
			s.Close()
		}
		switch {
		case errors.Is(err, ledger.ErrCorrupt):
			reported++
		case err != nil:
			t.Errorf("page %d: %v, want ErrCorrupt", page+1, err)
		default:
			t.Logf("page %d: not read by Verify", page+1)
		}
	}
	if reported < len(whole)/4096*3/4 {
		t.Errorf("damage in %d of %d pages is found", reported, len(whole)/4096)
	}
}

// TestBrokenReader: after a fault a reading connection is replaced.
func TestBrokenReader(t *testing.T) {
	s, err := Open(context.Background(), newPath(t), Options{Readers: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	fill(t, s, 3)
	for range 3 {
		err := s.View(context.Background(), "harrow", func(r ledger.Reader) error {
			_, err := r.(*reader).one(`SELECT no_such_column FROM entry`, nil)
			if err == nil {
				t.Error("no error")
			}
			if _, again := r.Head(); again == nil {
				t.Error("a reader goes on after a fault")
			}
			return nil // swallowed
		})
		if !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("a swallowed fault: %v", err)
		}
		if h := heads(t, s); h.Seq != 3 {
			t.Errorf("head %v afterwards", h)
		}
	}
}

// TestLateReader: a reader kept after its transaction answers nothing, rather
// than from somebody else's transaction.
func TestLateReader(t *testing.T) {
	s := open(t, newPath(t))
	defer s.Close()
	fill(t, s, 1)
	var r ledger.Reader
	var tx ledger.Tx
	noError(t, s.View(context.Background(), "harrow", func(kept ledger.Reader) error { r = kept; return nil }))
	noError(t, s.Update(context.Background(), "harrow", func(kept ledger.Tx) error { tx = kept; return nil }))
	for _, r := range []ledger.Reader{r, tx} {
		if _, err := r.Head(); !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("Head: %v", err)
		}
		if _, err := r.Log(0, 1); !errors.Is(err, ledger.ErrUnavailable) {
			t.Errorf("Log: %v", err)
		}
	}
	if _, err := storetest.Append(tx, "harrow", storetest.Move("supplier/S1", "lot/L0", 1)); !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("Append: %v", err)
	}
}

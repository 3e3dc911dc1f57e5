//go:build unix

package breaking

import (
	"context"
	"io"
	"log/slog"
	"math/rand/v2"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/server"
)

// TestClockJumps lets the server's clock jump back and forward, by seconds and by
// years, under load and while the server is started again. The clock of the program
// cannot be reached from outside, so this server is in the test's process.
func TestClockJumps(t *testing.T) {
	r := chance(t)
	var off atomic.Int64
	now := func() time.Time { return time.Now().Add(time.Duration(off.Load())) }
	at, db := &address{}, filepath.Join(t.TempDir(), "book.db")
	stop := inside(t, at, db, now)
	l := dial(t, at, clients, 5*time.Second)
	l.openBook()
	l.begin(r)
	for range 20 {
		for range 5 {
			off.Store(int64(jump(r)))
			l.turn()
			l.enough(3)
		}
		stop()
		off.Store(int64(jump(r)))
		stop = inside(t, at, db, now)
	}
	l.end()
	l.shows()
	stop()
	l.fileHolds(db, true)
	forwardOnly(t, db)
	t.Logf("%d calls answered, %d tries failed", len(l.answers), l.retries.Load())
}

// jump is how far the clock is off now: mostly little, sometimes years.
func jump(r *rand.Rand) time.Duration {
	span := []time.Duration{time.Second, time.Minute, time.Hour, 24 * time.Hour, 365 * 24 * time.Hour}[r.IntN(5)]
	return time.Duration(r.Int64N(int64(span))) - span/2
}

// inside serves a book from this process.
func inside(t *testing.T, at *address, db string, now func() time.Time) (stop func()) {
	t.Helper()
	st, err := sqlite.Open(t.Context(), db, sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := server.New(server.Config{Store: st, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Now: now, Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	to := s.GRPCAddr()
	at.now.Store(&to)
	return func() {
		at.now.Store(nil)
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}
}

// forwardOnly looks that the times of recording never go back.
func forwardOnly(t *testing.T, db string) {
	t.Helper()
	st, err := sqlite.Open(t.Context(), db, sqlite.Options{Readers: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	if err := st.View(t.Context(), shopID, func(r ledger.Reader) error {
		log, err := r.Log(0, 100_000)
		var before time.Time
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if e.Recorded.Before(before) {
				t.Errorf("entry %d was recorded %s, before the one before it, %s", e.Seq, e.Recorded, before)
			}
			before = e.Recorded
		}
		return err
	}); err != nil {
		t.Error(err)
	}
}

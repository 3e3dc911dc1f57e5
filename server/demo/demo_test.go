package demo_test

import (
	"context"
	"io"
	"log/slog"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server"
	"example.org/remelt/server/demo"
)

// seeded runs a server on a memory store, whose clock keeps to the demo's dates,
// and makes a year in it.
func seeded(t testing.TB, o demo.Options) (ledger.Store, demo.Report) {
	t.Helper()
	st := memory.New()
	var now atomic.Int64
	ctx, cancel := context.WithCancel(context.Background())
	s, err := server.New(server.Config{Store: keep{st}, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0",
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Now: func() time.Time { return time.UnixMilli(now.Load()) }})
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	}()
	conn, err := grpc.NewClient(s.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	o.Clock = func(t time.Time) { now.Store(t.UnixMilli()) }
	if o.End.IsZero() {
		o.End = time.Date(2026, 11, 20, 18, 0, 0, 0, time.UTC)
	}
	rep, err := demo.Seed(ctx, conn, o)
	if err != nil {
		t.Fatal(err)
	}
	return st, rep
}

// keep is a store that outlives the server.
type keep struct{ ledger.Store }

func (keep) Close() error { return nil }

func TestYear(t *testing.T) {
	st, rep := seeded(t, demo.Options{Seed: 1})
	s := shop.New(st, "harrow", nil)
	ctx := context.Background()
	v, err := ledger.Verify(ctx, st, "harrow", nil)
	if err != nil || v.Fault != nil {
		t.Fatalf("verify %+v, %v", v, err)
	}
	t.Logf("%d heats, %d entries, mistakes %+v", rep.Heats, v.Entries, rep.Mistakes)
	heats, err := ledger.List[ledger.Heat](ctx, s.Book, ledger.RecHeat, "", "", 0)
	if err != nil {
		t.Fatal(err)
	}
	alloys, states := map[string]int{}, map[ledger.HeatState]int{}
	for _, h := range heats {
		alloys[h.Value.Alloy]++
		states[h.Value.State]++
		b, err := s.Balance(ctx, h.Value.ID, shop.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		if b.In() != b.Out() {
			t.Errorf("heat %s: in %d, out %d", h.Value.ID, b.In(), b.Out())
		}
	}
	if len(alloys) < 6 || states[ledger.Settled] < 50 || states[ledger.Late] == 0 || len(rep.Mistakes) < 4 {
		t.Errorf("alloys %v, states %v, %d mistakes", alloys, states, len(rep.Mistakes))
	}
	rec, err := s.Reconcile(ctx, "")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range rec.Suspects {
		t.Log(x.Sentence, x.Entry, len(x.Alike), len(x.Nearly))
	}
}

// TestSameSeedSameYear: the hash of a book depends on nothing but the seed and the dates.
func TestSameSeedSameYear(t *testing.T) {
	a, _ := seeded(t, demo.Options{Seed: 7, Heats: 12})
	b, _ := seeded(t, demo.Options{Seed: 7, Heats: 12})
	c, _ := seeded(t, demo.Options{Seed: 8, Heats: 12})
	ha, hb, hc := head(t, a), head(t, b), head(t, c)
	if ha != hb || ha == hc {
		t.Errorf("heads %s, %s and of another seed %s", ha.Hash, hb.Hash, hc.Hash)
	}
}

func head(t *testing.T, st ledger.Store) (h ledger.Head) {
	t.Helper()
	h, err := shop.New(st, "harrow", nil).HeadOf(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// TestRestOfALotThatTheBookThinksEmpty: in this year a handful is left of a lot of
// which so much was weighed out that the book has nothing of it.
func TestRestOfALotThatTheBookThinksEmpty(t *testing.T) {
	_, rep := seeded(t, demo.Options{Seed: 0, End: time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)})
	if rep.Heats != 72 {
		t.Errorf("%d heats", rep.Heats)
	}
}

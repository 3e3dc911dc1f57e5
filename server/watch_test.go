package server

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
)

// throughServer is the book as the server's handlers write to it.
func (w *world) throughServer() *shop.Shop {
	return shop.New(watchedStore{Store: w.book.Store, wrote: func(shop string, err error) {
		if err == nil {
			w.hub.wake(shop)
		}
	}}, "harrow", nil)
}

func (w *world) place(b *shop.Shop, id string) error {
	_, err := b.SetPlace(context.Background(), ledger.Meta{}, ledger.Place{ID: id, Name: id})
	return err
}

// watch reads entries after a number until it has n of them.
func (w *world) watch(ctx context.Context, after int64, n int) (seqs []int64, err error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stream, err := pb.NewEntryServiceClient(w.conn).WatchEntries(ctx, &pb.WatchEntriesRequest{Parent: "shops/harrow", AfterSequence: after})
	if err != nil {
		return nil, err
	}
	for len(seqs) < n {
		m, err := stream.Recv()
		if err != nil {
			return seqs, err
		}
		if e := m.GetEntry(); e != nil {
			seqs = append(seqs, e.GetSequence())
		}
	}
	return seqs, nil
}

// Watchers come and go while several write; each resumes from the last number it
// saw. Together each must see 1, 2, 3 … to the end: no gap, no repeat. The book's
// own numbering (promise 3) is what it is held against.
func TestWatchersResumeWithoutGapOrRepeat(t *testing.T) {
	// The look-out is off, so that a wake-up that was lost would be noticed.
	w := serve(t, func(c *Config) { c.Poll, c.Heartbeat = time.Hour, time.Hour })
	head, err := w.book.HeadOf(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	const writers, each, watchers = 4, 60, 6
	end := head.Seq + writers*each
	var wg sync.WaitGroup
	for i := range writers {
		b := w.throughServer()
		wg.Go(func() {
			for j := range each {
				if err := w.place(b, fmt.Sprintf("p%d-%d", i, j)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	for i := range watchers {
		wg.Go(func() {
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			defer cancel()
			var last int64
			for n := 1 + i*7; last < end; { // each hangs up after another number of entries
				seqs, err := w.watch(ctx, last, min(n, int(end-last)))
				for _, s := range seqs {
					if s != last+1 {
						t.Errorf("watcher %d: %d came after %d", i, s, last)
						return
					}
					last = s
				}
				if err != nil {
					t.Errorf("watcher %d at %d: %v", i, last, err)
					return
				}
			}
		})
	}
	wg.Wait()
	if head, err := w.book.HeadOf(t.Context()); err != nil || head.Seq != end {
		t.Fatalf("the book ends at %d, want %d (%v)", head.Seq, end, err)
	}
	for w.hub.watching() > 0 { // everybody has hung up
		time.Sleep(time.Millisecond)
	}
	if len(w.hub.feeds) != 0 {
		t.Error("a feed without watchers is kept")
	}
}

// A watcher that reads slowly holds nothing back and misses nothing: it reads on
// from the store when it is ready.
func TestASlowWatcherMissesNothing(t *testing.T) {
	w := serve(t, func(c *Config) { c.Poll = time.Hour })
	head, _ := w.book.HeadOf(t.Context())
	stream, err := pb.NewEntryServiceClient(w.conn).WatchEntries(t.Context(), &pb.WatchEntriesRequest{Parent: "shops/harrow", AfterSequence: head.Seq})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil { // it has caught up
		t.Fatal(err)
	}
	const n = 2000 // more than the windows of the connection hold
	b := w.throughServer()
	for i := range n {
		if err := w.place(b, fmt.Sprintf("p%d", i)); err != nil {
			t.Fatal(err)
		}
	}
	for want := head.Seq + 1; want <= head.Seq+n; {
		m, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if e := m.GetEntry(); e != nil {
			if e.GetSequence() != want {
				t.Fatalf("got %d, want %d", e.GetSequence(), want)
			}
			want++
		}
	}
}

// What another server on the same store wrote comes by looking.
func TestWritesOfOthersAreFound(t *testing.T) {
	w := serve(t, func(c *Config) { c.Poll, c.Heartbeat = 5*time.Millisecond, time.Hour })
	head, _ := w.book.HeadOf(t.Context())
	got := make(chan error, 1)
	go func() {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		seqs, err := w.watch(ctx, head.Seq, 1)
		if err == nil && seqs[0] != head.Seq+1 {
			err = fmt.Errorf("got %v", seqs)
		}
		got <- err
	}()
	for w.hub.watching() == 0 {
		time.Sleep(time.Millisecond)
	}
	if err := w.place(w.book.Shop, "elsewhere"); err != nil { // not through this server
		t.Fatal(err)
	}
	if err := <-got; err != nil {
		t.Error(err)
	}
}

func TestHeartbeats(t *testing.T) {
	w := serve(t, func(c *Config) { c.Heartbeat = 5 * time.Millisecond })
	head, _ := w.book.HeadOf(t.Context())
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	stream, err := pb.NewEntryServiceClient(w.conn).WatchEntries(ctx, &pb.WatchEntriesRequest{Parent: "shops/harrow", AfterSequence: head.Seq})
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if m, err := stream.Recv(); err != nil || m.GetEntry() != nil || m.GetLastSequence() != head.Seq {
			t.Fatalf("got %v, %v", m, err)
		}
	}
}

func TestWatchingIsRefused(t *testing.T) {
	w := serve(t, func(c *Config) { c.Watchers = 1 })
	head, _ := w.book.HeadOf(t.Context())
	watch := func(shop string, after int64) error {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		stream, err := pb.NewEntryServiceClient(w.conn).WatchEntries(ctx, &pb.WatchEntriesRequest{Parent: "shops/" + shop, AfterSequence: after})
		if err != nil {
			return err
		}
		_, err = stream.Recv()
		return client.FromStatus(err)
	}
	if err := watch("nobody", 0); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("a shop without a book: %v", err)
	}
	if err := watch("harrow", head.Seq+1); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("past the end: %v", err)
	}
	if err := watch("harrow", -1); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("before the beginning: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	first, err := pb.NewEntryServiceClient(w.conn).WatchEntries(ctx, &pb.WatchEntriesRequest{Parent: "shops/harrow"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := first.Recv(); err != nil {
		t.Fatal(err)
	}
	if err := watch("harrow", 0); status.Code(err) != codes.ResourceExhausted {
		t.Errorf("one too many: %v", err)
	}
	cancel()
	for w.hub.watching() > 0 {
		time.Sleep(time.Millisecond)
	}
	if err := watch("harrow", 0); err != nil {
		t.Errorf("after the first hung up: %v", err)
	}
}

// Over REST a stream is one JSON object a line.
func TestWatchOverREST(t *testing.T) {
	w := serve(t)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, "GET", "http://"+w.HTTPAddr()+"/v1/shops/harrow/entries:watch?afterSequence=2", nil)
	if err != nil {
		t.Fatal(err)
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if ct := resp.Header.Get("Content-Type"); ct != "application/x-ndjson" {
		t.Errorf("content type %q", ct)
	}
	lines := bufio.NewScanner(resp.Body)
	for want := 3; want < 6 && lines.Scan(); want++ {
		var line struct {
			Result struct{ Entry struct{ Sequence string } }
		}
		if err := json.Unmarshal(lines.Bytes(), &line); err != nil || line.Result.Entry.Sequence != strconv.Itoa(want) {
			t.Fatalf("want entry %d: %v: %s", want, err, lines.Text())
		}
	}
	w.refused("GET", "/v1/shops/harrow/entries:watch?afterSequence=999", "", 400, "NOT_IN_THE_BOOK", "after_sequence")
}

// When the book cannot be read the watcher hears of it, rather than waiting for ever.
func TestWatchOfABrokenStore(t *testing.T) {
	st := memory.New()
	h := newHub(time.Millisecond, time.Hour, 10)
	b := shop.New(st, "harrow", nil)
	if _, err := b.OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: "x"}); err != nil {
		t.Fatal(err)
	}
	beats := make(chan int64, 10)
	done := make(chan error, 1)
	go func() {
		done <- h.follow(t.Context(), b, 0, func(*ledger.Entry) error { return nil }, func(last int64) error { beats <- last; return nil })
	}()
	<-beats
	if err := st.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-done; !errors.Is(err, ledger.ErrUnavailable) {
		t.Errorf("got %v", err)
	}
}

package server

import (
	"context"
	"fmt"
	"sync"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/types/known/durationpb"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// hub wakes those who watch a shop's book when it grows. It carries no entries:
// a watcher that is woken reads on from the store, where it left off. So a slow
// watcher costs no memory and misses nothing, a burst of writes wakes it once,
// and what another server wrote is found by the same reading.
type hub struct {
	poll time.Duration // how often to look for what other servers wrote
	beat time.Duration // silence after which a watcher hears where the book ends
	most int           // watchers at a time

	mu    sync.Mutex
	all   int
	feeds map[string]*feed
}

// feed is the watchers of one shop.
type feed struct {
	watchers int
	grown    chan struct{} // closed, and replaced, when the book may have grown
	stop     context.CancelFunc
}

// watchPage is how many entries a watcher reads at a time.
const watchPage = 64

func newHub(poll, beat time.Duration, most int) *hub {
	return &hub{poll: poll, beat: beat, most: most, feeds: map[string]*feed{}}
}

// follow sends every entry of a book after a number, in order, each once, and
// then each new one as it is recorded, until ctx is done or a send fails. When
// it has sent all there is, and after each silence as long as the heartbeat, it
// calls beat with the number of the last, from which the caller may resume.
//
// It refuses a shop that has no book, a number past the book's end (the caller
// watched another book, or this one before it was restored from a backup), and
// more watchers than the server takes.
func (h *hub) follow(ctx context.Context, b *shop.Shop, after int64, send func(*ledger.Entry) error, beat func(last int64) error) error {
	if err := watchable(ctx, b, after); err != nil {
		return err
	}
	f, err := h.join(b)
	if err != nil {
		return err
	}
	defer h.leave(b.Book.Shop, f)
	silence := time.NewTimer(h.beat)
	defer silence.Stop()
	for caughtUp := false; ; {
		grown := h.grown(f) // taken before reading, so that nothing falls between
		last, err := sendAfter(ctx, b, after, send)
		if err != nil {
			return err
		}
		if !caughtUp {
			if err := beat(last); err != nil {
				return err
			}
		}
		if last > after || !caughtUp {
			silence.Reset(h.beat)
		}
		caughtUp, after = true, last
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-grown:
		case <-silence.C:
			if err := beat(after); err != nil {
				return err
			}
			silence.Reset(h.beat)
		}
	}
}

func watchable(ctx context.Context, b *shop.Shop, after int64) error {
	head, err := b.HeadOf(ctx)
	switch {
	case err != nil:
		return err
	case head.Seq == 0:
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_SHOP", Field: "shop", Value: b.Book.Shop,
			Want: "no book of this shop; open one first"}
	case after < 0 || after > head.Seq:
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "NOT_IN_THE_BOOK", Field: "after_sequence", Value: fmt.Sprint(after),
			Want: fmt.Sprintf("the book's last entry is %d; give the number of one of its entries, or 0 for all", head.Seq)}
	}
	return nil
}

// sendAfter sends what the book holds after a number and returns the last number sent.
func sendAfter(ctx context.Context, b *shop.Shop, after int64, send func(*ledger.Entry) error) (int64, error) {
	for {
		page, err := b.Entries(ctx, after, watchPage)
		if err != nil {
			return after, err
		}
		for _, e := range page {
			if err := send(e); err != nil {
				return after, err
			}
			after = e.Seq
		}
		if len(page) < watchPage {
			return after, nil
		}
	}
}

// wake tells a shop's watchers that its book may have grown.
func (h *hub) wake(shop string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if f := h.feeds[shop]; f != nil {
		close(f.grown)
		f.grown = make(chan struct{})
	}
}

func (h *hub) grown(f *feed) <-chan struct{} {
	h.mu.Lock()
	defer h.mu.Unlock()
	return f.grown
}

// join counts a watcher in; the first of a shop starts its look-out.
func (h *hub) join(b *shop.Shop) (*feed, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.all >= h.most {
		return nil, tooManyWatchers(h.most)
	}
	h.all++
	f := h.feeds[b.Book.Shop]
	if f == nil {
		ctx, stop := context.WithCancel(context.Background())
		f = &feed{grown: make(chan struct{}), stop: stop}
		h.feeds[b.Book.Shop] = f
		go h.lookOut(ctx, b)
	}
	f.watchers++
	return f, nil
}

func tooManyWatchers(most int) error {
	return newStatus(codes.ResourceExhausted, "TOO_MANY_WATCHERS", fmt.Sprintf("the server takes %d watchers at a time; try again later", most),
		map[string]string{"most": fmt.Sprint(most)}, &errdetails.RetryInfo{RetryDelay: durationpb.New(10 * time.Second)}).Err()
}

func (h *hub) leave(shop string, f *feed) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.all--
	if f.watchers--; f.watchers == 0 {
		f.stop()
		delete(h.feeds, shop)
	}
}

// watching is how many watch, of all shops.
func (h *hub) watching() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.all
}

// lookOut looks at a book's end now and then and wakes its watchers when it has
// moved; and when it cannot be read, so that they find out themselves.
func (h *hub) lookOut(ctx context.Context, b *shop.Shop) {
	tick := time.NewTicker(h.poll)
	defer tick.Stop()
	for seen := int64(0); ; {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		head, err := b.HeadOf(ctx)
		if ctx.Err() != nil {
			return
		}
		if err != nil || head.Seq != seen {
			h.wake(b.Book.Shop)
		}
		seen = head.Seq
	}
}

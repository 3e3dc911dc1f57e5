package shop

import (
	"context"
	"sync"

	"example.org/remelt/ledger"
)

// remembered are answers that follow from the book alone, kept between questions. The
// one rule: an answer holds while the end of the log, its number and its hash, is the
// one it was reckoned from. Everything the book knows is an entry, settings included, so
// whatever could change an answer moves that end, whichever server wrote it. An answer
// that asks the clock, or is of a past moment, must not be kept here, and all that one is
// reckoned from must be read while it is reckoned. Answers are shared: nobody may change
// one.
type remembered struct {
	mu    sync.Mutex
	about map[string]*answer
}

type answer struct {
	mu    sync.Mutex
	known bool
	head  ledger.Head
	value any
}

// mostRemembered bounds the questions that are kept: some have names in them that come
// from outside.
const mostRemembered = 256

// recall gives the answer to a question, reckoned anew only when the book has grown
// since. Who asks the same at the same time waits for one reckoning.
func recall[T any](ctx context.Context, s *Shop, question string, reckon func() (T, error)) (T, error) {
	a := s.remembered.find(question)
	a.mu.Lock()
	defer a.mu.Unlock()
	var none T
	before, err := s.end(ctx)
	if err != nil {
		return none, err
	}
	if known, ok := a.value.(T); ok && a.known && sameEnd(a.head, before) {
		return known, nil
	}
	a.known, a.value = false, nil
	v, err := reckon()
	if err != nil {
		return none, err
	}
	after, err := s.end(ctx)
	if err != nil {
		return none, err
	}
	// What was reckoned while the book grew is of one moment or the other: it is given,
	// and not kept.
	if sameEnd(before, after) {
		a.known, a.head, a.value = true, after, v
	}
	return v, nil
}

func (r *remembered) find(question string) *answer {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.about[question] == nil {
		if r.about == nil || len(r.about) >= mostRemembered {
			r.about = map[string]*answer{}
		}
		r.about[question] = &answer{}
	}
	return r.about[question]
}

func sameEnd(a, b ledger.Head) bool { return a.Seq == b.Seq && a.Hash == b.Hash }

// end is the end of the book's log.
func (s *Shop) end(ctx context.Context) (h ledger.Head, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		h, err = r.Head()
		return err
	})
	return h, err
}

package sqlite

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"

	"example.org/remelt/ledger"
)

// job is one Update on its way through the writer. fn runs in the caller's
// goroutine, when the writer hands it the transaction, so that a panic is the
// caller's own.
type job struct {
	ctx   context.Context
	shop  string
	fn    func(ledger.Tx) error
	state atomic.Int32
	turn  chan *tx   // the writer's "now run"
	back  chan error // the caller's "done"; the transaction is the writer's again
	done  chan error // the outcome, after the commit
}

// States of a job. Whoever moves it out of waiting decides.
const (
	waiting   = iota
	taken     // by the writer: it will be run and answered
	withdrawn // by the caller: it will not be run
)

// Update implements ledger.Store.
func (s *Store) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	if err := s.begin(); err != nil {
		return err
	}
	defer s.running.Done()
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	j := &job{ctx: ctx, shop: shop, fn: fn, turn: make(chan *tx), back: make(chan error), done: make(chan error, 1)}
	cancelled := ctx.Done()
	select {
	case s.queue <- j:
	case <-cancelled:
		return unavailable("CANCELLED", ctx.Err())
	}
	for {
		select {
		case t := <-j.turn:
			j.run(t)
		case err := <-j.done:
			return err
		case <-cancelled:
			if j.state.CompareAndSwap(waiting, withdrawn) {
				return unavailable("CANCELLED", ctx.Err())
			}
			cancelled = nil // too late: the outcome is what the writer says
		}
	}
}

// run runs fn and gives the transaction back whatever happens.
func (j *job) run(t *tx) {
	err := errAborted
	defer func() { j.back <- err }()
	err = j.fn(t)
}

var errAborted = errors.New("the function given to Update did not return")

// writer is the one goroutine that writes.
type writer struct {
	store *Store
	c     *conn // nil after a fault, until the next group
}

func (w *writer) connect() error {
	if w.c != nil {
		return nil
	}
	c, err := openConn(w.store.path, writing)
	if err != nil {
		return err
	}
	if hook := w.store.faults.opened; hook != nil {
		if err := hook(c); err != nil {
			c.discard()
			return err
		}
	}
	w.c = c
	return nil
}

// mostInGroup bounds how long the first of a group waits for the last.
const mostInGroup = 256

func (w *writer) run() {
	defer close(w.store.stopped)
	group := make([]*job, 0, mostInGroup)
	for first := range w.store.queue {
		group = append(group[:0], first)
	drain:
		for len(group) < mostInGroup {
			select {
			case j, open := <-w.store.queue:
				if !open {
					break drain
				}
				group = append(group, j)
			default:
				break drain
			}
		}
		w.serve(group)
	}
	w.c.discard()
}

// serve runs a group in one transaction and answers each of its jobs.
func (w *writer) serve(group []*job) {
	outcomes := make([]error, len(group))
	err := w.connect()
	if err == nil {
		err = w.c.exec(`BEGIN IMMEDIATE`)
	}
	var last appended
	for i, j := range group {
		if err != nil {
			break
		}
		if !j.state.CompareAndSwap(waiting, taken) {
			group[i] = nil
			continue
		}
		t := &tx{reader: reader{c: w.c, ctx: j.ctx}, shopName: j.shop}
		outcomes[i], err = t.stage(j)
		if outcomes[i] == nil && t.last.seq > 0 {
			last = t.last
		}
	}
	if err == nil {
		err = w.commit(last)
	}
	if err != nil || w.c.broken {
		w.c.discard()
		w.c = nil
	}
	for i, j := range group {
		if j == nil {
			continue
		}
		// What a function found out in a transaction that came to nothing is
		// not true: not even its own error.
		if err != nil {
			outcomes[i] = err
		}
		if j.state.Load() != withdrawn {
			j.done <- outcomes[i]
		}
	}
}

// appended identifies an entry.
type appended struct {
	shop int64
	seq  int64
	hash ledger.Hash
}

// commit ends the transaction. last is its last entry, if it has one.
func (w *writer) commit(last appended) error {
	if last.seq == 0 {
		return storeError(w.c.exec(`ROLLBACK`))
	}
	commit := func() error { return w.c.exec(`COMMIT`) }
	err := error(nil)
	if hook := w.store.faults.commit; hook != nil {
		err = hook(commit)
	} else {
		err = commit()
	}
	if err == nil {
		return nil
	}
	w.c.discard()
	w.c = nil
	return w.settle(last, err)
}

// settle finds out what became of a commit that reported an error, by reading
// the last entry back over a new connection. It returns nil when the entry is
// there and safe, ErrUnavailable when it is not there, and another error when
// that cannot be told.
func (w *writer) settle(last appended, cause error) error {
	unknown := func(err error) error {
		return fmt.Errorf("the outcome of a commit is unknown: %w (then: %w)", cause, err)
	}
	if err := w.connect(); err != nil {
		return unknown(err)
	}
	var hash ledger.Hash
	found, err := w.c.one(`SELECT hash FROM entry WHERE shop = ? AND seq = ?`, []any{last.shop, last.seq}, hashScan{&hash})
	switch {
	case err != nil:
		return unknown(err)
	case !found || hash != last.hash:
		return storeError(cause)
	}
	// The entry may have been read from a log whose sync has failed. Written
	// into the file itself and synced there, it is safe.
	var busy, logged, moved int64
	if _, err := w.c.one(`PRAGMA wal_checkpoint(FULL)`, nil, &busy, &logged, &moved); err != nil {
		return unknown(err)
	}
	if busy != 0 || logged != moved {
		return unknown(errors.New("the log could not be folded into the file"))
	}
	return nil
}

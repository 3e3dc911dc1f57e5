package sqlite

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
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

	// The writer's own.
	outcome error // of fn
	gone    bool  // the caller's goroutine has ended inside fn
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
	c     *conn            // nil after a fault, until the next group
	may   bool             // c can write: a file that may only be read is opened all the same
	books map[string]*book // by shop; true as long as nobody else writes and nothing is rolled back
	full  bool             // the disk was full, and the log has not been folded in since
	tight bool             // the disk was full once: keep the log small from then on
}

// Bounds of a group and of what the writer keeps in memory between groups.
const (
	mostInGroup = 256     // the first of a group waits for the last
	mostBooks   = 1_000   // shops
	mostNames   = 100_000 // of all shops together, some 20 MB, and as much again when each body was asked for
)

func (w *writer) connect() error {
	if w.c != nil {
		return nil
	}
	c, err := openConn(w.store.path, writing)
	if err != nil {
		return err
	}
	var journal string
	if err = c.onceOne(context.Background(), `PRAGMA journal_mode`, &journal); err == nil && journal != "wal" {
		err = fmt.Errorf("the file system does not allow a write-ahead log (journal mode %s)", journal)
	}
	if err == nil && w.tight {
		err = c.set(`wal_autocheckpoint = 64`)
	}
	if hook := w.store.faults.opened; hook != nil && err == nil {
		err = hook(c)
	}
	if err != nil {
		c.discard()
		return err
	}
	w.c, w.may, w.books = c, false, map[string]*book{}
	return nil
}

// mayWrite asks, in a transaction, whether the file can be written: of one that cannot,
// SQLite begins one to read, without a word.
func (w *writer) mayWrite() error {
	if w.may {
		return nil
	}
	err := w.c.exec(`UPDATE shop SET name = name WHERE 0`)
	w.may = err == nil
	return err
}

// giveUp gives up the connection and whatever was not committed over it: after
// a fault SQLite may or may not have rolled back. It returns the fault in the
// ledger's terms.
func (w *writer) giveUp(fault error) error {
	w.c.discard()
	w.c, w.books = nil, nil
	return storeError(fault)
}

// reclaim folds the log into the file after the disk was full, so that the space
// of the log can be used for the file. It tells whether that worked.
func (w *writer) reclaim() bool {
	w.full, w.tight = true, true
	if w.connect() != nil {
		return false
	}
	var busy, logged, moved int64
	err := errors.Join(
		w.c.set(`wal_autocheckpoint = 64`), // here too, in case the connection is an old one
		w.c.set(`busy_timeout = 100`),      // readers are short, and if not, the log is only not cut
		w.c.onceOne(context.Background(), `PRAGMA wal_checkpoint(TRUNCATE)`, &busy, &logged, &moved),
		w.c.set(`busy_timeout = 5000`))
	w.full = err != nil || logged != moved
	return !w.full
}

func (w *writer) run() {
	defer close(w.store.stopped)
	for first := range w.store.queue {
		w.serve(w.gather(first))
		w.forgetOld()
	}
	w.c.discard()
}

// gather takes whatever waits. Those who were answered a moment ago may be about
// to ask for more, so it lets them go first, once: without that a group of one
// alternates with a group of all the others.
func (w *writer) gather(first *job) []*job {
	group := []*job{first}
	yielded := false
	for len(group) < mostInGroup {
		select {
		case j, open := <-w.store.queue:
			if !open {
				return group
			}
			group = append(group, j)
		default:
			if yielded {
				return group
			}
			runtime.Gosched()
			yielded = true
		}
	}
	return group
}

// forgetOld keeps the memory bounded.
func (w *writer) forgetOld() {
	names := 0
	for _, b := range w.books {
		names += len(b.names)
	}
	if names > mostNames || len(w.books) > mostBooks {
		w.books = map[string]*book{}
	}
}

// serve runs a group in one transaction and answers each of its jobs.
//
// Two things make it run them again. When the disk is full, folding the log into
// the file may make room. And when a function fails that had its appends written
// to the file already, because it went on to read lists, they cannot be taken
// back alone: then each job gets a transaction of its own.
func (w *writer) serve(group []*job) {
	group = slices.DeleteFunc(group, func(j *job) bool { return !j.state.CompareAndSwap(waiting, taken) })
	if w.full {
		w.reclaim() // there may be room now, and this is the time to use it for the file
	}
	err := w.together(group)
	if isFull(err) && w.reclaim() {
		group = remaining(group)
		err = w.together(group)
	}
	if errors.Is(err, errAgain) {
		for _, j := range remaining(group) {
			j.done <- cmp.Or(w.together([]*job{j}), j.outcome)
		}
		return
	}
	// What a function found out in a transaction that came to nothing is not
	// true: not even its own error.
	for _, j := range group {
		j.done <- cmp.Or(err, j.outcome)
	}
}

// remaining drops the jobs that nobody is there any more to run.
func remaining(group []*job) []*job {
	return slices.DeleteFunc(group, func(j *job) bool { return j.gone })
}

// errAgain says that the transaction was rolled back and its jobs are to be run
// one by one.
var errAgain = errors.New("again")

// together runs jobs in one transaction. It returns what became of the
// transaction; what became of each job in it is in the jobs.
func (w *writer) together(group []*job) error {
	if len(group) == 0 {
		return nil
	}
	if err := w.connect(); err != nil {
		return unavailable("CANNOT_OPEN", err)
	}
	if err := w.c.exec(`BEGIN IMMEDIATE`); err != nil {
		return w.giveUp(err)
	}
	if err := w.mayWrite(); err != nil {
		return w.giveUp(err)
	}
	var last appended
	for _, j := range group {
		b, err := w.book(j.shop)
		if err != nil {
			return w.giveUp(err)
		}
		t := newTx(j.ctx, w.c, b)
		w.hand(j, t)
		switch {
		case t.broken != nil:
			return w.giveUp(t.broken)
		case j.outcome == nil:
			b.keep()
			if t.appended {
				last = appended{b.id, b.head.Seq, b.head.Hash}
			}
		case !t.written:
			b.forget()
		default:
			if err := w.rollback(); err != nil || len(group) == 1 {
				return err
			}
			return errAgain
		}
	}
	return w.commit(last)
}

// rollback gives up a transaction over a sound connection.
func (w *writer) rollback() error {
	if err := w.c.exec(`ROLLBACK`); err != nil {
		return w.giveUp(err)
	}
	w.books = map[string]*book{}
	return nil
}

// hand lets the job's caller run its function in t.
func (w *writer) hand(j *job, t *tx) {
	j.turn <- t
	j.outcome = <-j.back
	t.end()
	j.gone = errors.Is(j.outcome, errAborted)
	if j.outcome == nil {
		j.outcome = t.refused
	}
}

// book returns the shop's book.
func (w *writer) book(shop string) (*book, error) {
	if b, ok := w.books[shop]; ok {
		return b, nil
	}
	b, err := openBook(w.c, shop, func() (id int64, err error) {
		_, err = w.c.one(`SELECT ifnull(max(id), 0) FROM shop`, nil, &id)
		for _, b := range w.books {
			id = max(id, b.id)
		}
		return id + 1, err
	})
	if err == nil {
		w.books[shop] = b
	}
	return b, err
}

// appended identifies an entry.
type appended struct {
	shop int64
	seq  int64
	hash ledger.Hash
}

// commit writes what is left and ends the transaction. last is its last entry,
// if it has one.
func (w *writer) commit(last appended) error {
	if last.seq == 0 {
		if err := w.c.exec(`COMMIT`); err != nil { // of nothing: what the books know stays true
			return w.giveUp(err)
		}
		return nil
	}
	for _, b := range w.books {
		if err := b.write(w.c); err != nil {
			return w.giveUp(err)
		}
	}
	commit := func() error { return w.c.exec(`COMMIT`) }
	var err error
	if hook := w.store.faults.commit; hook != nil {
		err = hook(commit)
	} else {
		err = commit()
	}
	if err == nil {
		for shop, b := range w.books {
			w.store.ends.note(shop, b.head)
		}
		return nil
	}
	_ = w.giveUp(err) // what it means is not known yet
	return w.settle(last, err)
}

// settle finds out what became of a commit that reported an error, by reading
// the last entry back over a new connection. It returns nil when the entry is
// there and safe, ErrUnavailable when it is not there, and another error when
// that cannot be told.
func (w *writer) settle(last appended, cause error) error {
	unknown := func(err error) error {
		return fmt.Errorf("the outcome of a commit is unknown: %w (then: %v)", cause, err) //nolint:errorlint // its class must not pass for that of the outcome
	}
	if err := w.connect(); err != nil {
		return unknown(err)
	}
	var hash ledger.Hash
	found, err := w.c.one(`SELECT hash FROM entry WHERE id = ?`, []any{entryID(last.shop, last.seq)}, hashScan{&hash})
	switch {
	case err != nil:
		return unknown(err)
	case !found || hash != last.hash:
		return storeError(cause)
	}
	// The entry may have been read from a log whose sync has failed. Written
	// into the file itself and synced there, it is safe.
	var busy, logged, moved int64
	if err := w.c.onceOne(context.Background(), `PRAGMA wal_checkpoint(FULL)`, &busy, &logged, &moved); err != nil {
		return unknown(err)
	}
	if busy != 0 || logged != moved {
		return unknown(errors.New("the log could not be folded into the file"))
	}
	return nil
}

package postgres

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

// lane is where the writers of one shop queue. There may be more than one lane
// of a shop, as there may be more than one server: the lock in the database is
// what keeps them apart.
type lane struct {
	store   *Store
	shop    string
	turn    chan struct{} // filled by the one who has the turn
	waiting atomic.Int64  // for the turn

	mu     sync.Mutex              // for the two below
	book   *book                   // nil: nothing is known; set by whoever has the turn
	coming map[*rehearsal]struct{} // those who wait for the turn, with what they will ask

	// Of whoever has the turn.
	group *group      // nil: no transaction is open
	safe  ledger.Head // where the log ended when a group was last committed
}

// group is a transaction that several functions share.
type group struct {
	c      *pooled
	ctx    context.Context // of the connection: no one caller's
	cancel context.CancelFunc
	n      int
	fault  error         // nothing can be kept any more
	done   chan struct{} // closed when err is there
	err    error         // of the commit
}

// Bounds of a group and of what is kept in memory between groups.
const (
	mostInGroup = 256     // the first of a group waits for the last
	mostLanes   = 1_000   // shops
	mostKnown   = 100_000 // values of one shop
)

// How long is waited for the database. A function's own time counts too.
const (
	groupTime  = 60 * time.Second
	settleTime = 30 * time.Second // a database that restarts takes seconds
)

// mostTries is how often a transaction is begun that is given up in favour of
// others: some seconds.
var mostTries = 100

// errAgain says that the transaction was given up in favour of another: the
// functions in it are to be run again.
var errAgain = errors.New("again")

var errAborted = errors.New("the function given to Update did not return")

// Update implements ledger.Store.
func (s *Store) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	if err := s.begin(); err != nil {
		return err
	}
	defer s.running.Done()
	if !isText(shop) {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_ID", Field: "shop", Value: shop, Want: "must be a text"}
	}
	l := s.lane(shop)
	for try := 0; ; try++ {
		err := l.update(ctx, fn)
		if !errors.Is(err, errAgain) {
			return err
		}
		if err := pause(ctx, try); err != nil {
			return err
		}
	}
}

// pause waits before a further try, longer each time and never as long as others.
func pause(ctx context.Context, try int) error {
	if try >= mostTries {
		return unavailable("BUSY", errors.New("others keep writing to the same book"))
	}
	longest := time.Millisecond << min(try, 6)
	select {
	case <-time.After(rand.N(longest)): //nolint:gosec // nothing secret
		return nil
	case <-ctx.Done():
		return unavailable("CANCELLED", ctx.Err())
	}
}

func (s *Store) lane(shop string) *lane {
	s.mu.Lock()
	defer s.mu.Unlock()
	l := s.lanes[shop]
	if l == nil {
		if len(s.lanes) >= mostLanes {
			clear(s.lanes) // those that are in use go on beside the new ones
		}
		l = &lane{store: s, shop: shop, turn: make(chan struct{}, 1), coming: map[*rehearsal]struct{}{}}
		s.lanes[shop] = l
	}
	return l
}

// update runs fn once, when its turn comes, and returns when its group has ended.
func (l *lane) update(ctx context.Context, fn func(ledger.Tx) error) error {
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	r := l.prepare(fn)
	l.waiting.Add(1)
	select {
	case l.turn <- struct{}{}:
		l.waiting.Add(-1)
		l.gone(r)
	case <-ctx.Done():
		l.waiting.Add(-1)
		l.gone(r)
		l.leave()
		return unavailable("CANCELLED", ctx.Err())
	}
	if l.group == nil {
		if err := l.open(ctx, r); err != nil {
			<-l.turn
			return err
		}
	}
	g, t := l.group, &tx{reader: reader{c: l.group.c.Conn, ctx: l.group.ctx, caller: ctx, shop: l.shop}, d: l.book.draft()}
	own := errAborted
	func() {
		defer func() { // also when fn does not return
			own = cmp.Or(own, t.refused)
			l.after(t, own)
		}()
		l.ask(t, r)
		own = fn(t)
	}()
	<-g.done
	return cmp.Or(g.err, own)
}

// leave is called by one who gave up waiting: others may have counted on it to
// commit for them.
func (l *lane) leave() {
	l.store.running.Add(1)
	go func() {
		defer l.store.running.Done()
		l.turn <- struct{}{}
		if l.group != nil && l.waiting.Load() == 0 {
			l.finish()
		}
		<-l.turn
	}()
}

// open begins a group: it locks the shop's book and learns where it ends, and at once
// what will be asked of it.
func (l *lane) open(ctx context.Context, r *rehearsal) error {
	c, err := l.store.acquire(ctx, l.store.writing)
	if err != nil {
		return err
	}
	known, q := l.book, l.asks(r)
	if known == nil {
		known = newBook(ledger.Head{})
	}
	var a answers
	head, err := lock(ctx, c.Conn, l.shop, func(b *pgx.Batch) { a = known.ask(b, l.shop, q) })
	if err != nil {
		l.unasked()
		c.release()
		return err
	}
	if err := l.goesOn(head); err != nil {
		l.unasked()
		rollback(ctx, c.Conn)
		c.release()
		return err
	}
	if l.book == nil || l.book.head != head || l.book.size() > mostKnown {
		l.setBook(newBook(head))
	} else {
		r.asked = l.book
	}
	l.book.hear(a) // what else a new book has to know is asked when its turn comes
	g := &group{c: c, done: make(chan struct{})}
	g.ctx, g.cancel = context.WithTimeout(context.WithoutCancel(ctx), groupTime)
	l.group = g
	return nil
}

func (l *lane) setBook(b *book) {
	l.mu.Lock()
	l.book = b
	l.mu.Unlock()
}

// goesOn refuses a log that ends before what was committed already, or otherwise:
// another database answers than before, such as a primary of old that is back after
// its standby was promoted. What it would record is recorded nowhere else.
func (l *lane) goesOn(head ledger.Head) error {
	if head.Seq > l.safe.Seq || head == l.safe {
		return nil
	}
	return &ledger.Error{Class: ledger.ErrUnavailable, Reason: "BOOK_WENT_BACK", Field: "database", Value: l.store.name,
		Want: fmt.Sprintf("the book of shop %s ends at entry %d with another hash or number than entry %d, which was recorded; nothing was recorded. An old primary may be back: keep it off. After a restore on purpose, restart the server", l.shop, head.Seq, l.safe.Seq)}
}

// lock begins a transaction and locks the shop's book in it; more is asked with it in
// one round trip. Waiting for another server ends in a conflict, as what could be seen
// before it wrote is out of date.
func lock(ctx context.Context, c *pgx.Conn, shop string, more func(*pgx.Batch)) (head ledger.Head, err error) {
	for try := 0; ; try++ {
		if head, err = tryLock(ctx, c, shop, more); err == nil {
			return head, nil
		}
		if !conflicted(err) {
			return head, storeError(err)
		}
		if err := pause(ctx, try); err != nil {
			return head, err
		}
	}
}

func tryLock(ctx context.Context, c *pgx.Conn, shop string, more func(*pgx.Batch)) (head ledger.Head, err error) {
	found := false
	defer func() {
		if err != nil {
			rollback(ctx, c)
		}
	}()
	begin := &pgx.Batch{}
	begin.Queue(`BEGIN ISOLATION LEVEL SERIALIZABLE`)
	// A server that is stopped while it has a shop locked does not keep it so.
	begin.Queue(`SET LOCAL idle_in_transaction_session_timeout = '60s'`)
	ask := func(b *pgx.Batch) {
		b.Queue(headOf+` FOR UPDATE`, shop).QueryRow(func(row pgx.Row) error {
			err := row.Scan(headScan(&head)...)
			found = err == nil
			if errors.Is(err, pgx.ErrNoRows) {
				return nil
			}
			return err
		})
	}
	ask(begin)
	more(begin)
	if err := c.SendBatch(ctx, begin).Close(); err != nil || found {
		return head, err
	}
	first := &pgx.Batch{}
	first.Queue(`INSERT INTO book (shop, seq) VALUES ($1, 0) ON CONFLICT (shop) DO NOTHING`, shop)
	ask(first)
	return head, c.SendBatch(ctx, first).Close()
}

// rollback saves the connection, if it can be saved; a connection that is still
// inside a transaction is not used again.
func rollback(ctx context.Context, c *pgx.Conn) {
	if !c.IsClosed() {
		_, _ = c.Exec(ctx, `ROLLBACK`) // best effort
	}
}

// after ends a function's part: keeps or drops what it appended, and ends the
// group if nobody is there to go on with it. It gives up the turn.
func (l *lane) after(t *tx, own error) {
	g := l.group
	t.end()
	g.n++
	switch {
	case g.fault != nil:
	case t.broken != nil:
		g.fault = t.broken
	case own == nil:
		t.d.keep()
		if t.saved {
			_, err := t.c.Exec(g.ctx, `RELEASE SAVEPOINT own`)
			g.fault = err
		}
	case t.saved:
		_, err := t.c.Exec(g.ctx, `ROLLBACK TO SAVEPOINT own`)
		g.fault = err
	}
	if g.fault != nil || g.n >= mostInGroup || !l.anyWaiting() {
		l.finish()
	}
	<-l.turn
}

// anyWaiting tells whether somebody waits for the turn. Those who were answered
// a moment ago may be about to ask for more, so it lets them go first, once.
func (l *lane) anyWaiting() bool {
	if l.waiting.Load() == 0 {
		runtime.Gosched()
	}
	return l.waiting.Load() > 0
}

// finish ends the group's transaction and tells its functions how.
func (l *lane) finish() {
	g := l.group
	l.group = nil
	g.err = l.end(g)
	if g.err != nil {
		rollback(g.ctx, g.c.Conn)
		l.setBook(nil) // what was learned in a transaction that came to nothing may not be true
	}
	g.cancel()
	g.c.release()
	close(g.done)
}

// end commits, or says why not.
func (l *lane) end(g *group) error {
	if g.fault != nil {
		if conflicted(g.fault) {
			return errAgain
		}
		return storeError(g.fault)
	}
	b := l.book
	var batch pgx.Batch
	b.pending.queue(&batch, l.shop)
	appended := len(b.requests) > 0
	if appended {
		batch.Queue(`UPDATE book SET seq = $2, hash = $3, recorded = $4 WHERE shop = $1`, l.shop, b.head.Seq, b.head.Hash[:], b.head.Recorded)
	}
	// Also when nothing was appended: somebody may be told now of an entry that was
	// committed, but whose writer has not heard so yet, and committing waits until
	// that is safe.
	batch.Queue(`COMMIT`)
	commit := func() error { return g.c.Conn.SendBatch(g.ctx, &batch).Close() }
	var err error
	if hook := l.store.faults.commit; hook != nil {
		err = hook(commit)
	} else {
		err = commit()
	}
	if err != nil && appended && !conflicted(err) && !certain(err) {
		err = l.settle(g, err)
	}
	switch {
	case err == nil:
		b.pending.written()
		clear(b.requests)
		l.safe = b.head
		return nil
	case conflicted(err):
		return errAgain
	}
	return storeError(err)
}

// settle finds out what became of a commit whose answer is lost. While the
// transaction may still be committed it holds the lock, so once that is taken
// the log says what happened. It returns nil when the last entry is there and
// safe, ErrUnavailable when it is not there, and another error when that cannot
// be told.
func (l *lane) settle(g *group, cause error) error {
	ctx, cancel := context.WithTimeout(context.Background(), settleTime)
	defer cancel()
	_ = g.c.Conn.Close(ctx) // its transaction, if it is still open, ends
	for try := 0; ; try++ {
		there, err := l.isThere(ctx, l.book.head)
		switch {
		case err == nil && there:
			return nil
		case err == nil:
			return unavailable("STORE_FAULT", cause)
		}
		if tired := pause(ctx, try); tired != nil {
			return fmt.Errorf("the outcome of a commit is unknown: %w (then: %v)", cause, err) //nolint:errorlint // its class must not pass for that of the outcome
		}
	}
}

// isThere tells whether an entry is in the book, and if it is, that it is safe.
func (l *lane) isThere(ctx context.Context, last ledger.Head) (bool, error) {
	c, err := l.store.pool.Acquire(ctx)
	if err != nil {
		return false, err
	}
	defer c.Release()
	if _, err := lock(ctx, c.Conn(), l.shop, func(*pgx.Batch) {}); err != nil {
		return false, err
	}
	var hash ledger.Hash
	err = c.QueryRow(ctx, `SELECT hash FROM entry WHERE shop = $1 AND seq = $2`, l.shop, last.Seq).Scan(hashScan{&hash})
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return false, err
	}
	if _, err := c.Exec(ctx, `COMMIT`); err != nil {
		return false, err
	}
	return hash == last.Hash, nil
}

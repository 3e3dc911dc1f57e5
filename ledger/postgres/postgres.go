// Package postgres keeps metal books in a PostgreSQL database, for those who
// outgrow one machine: any number of servers may share it.
//
// It promises what [ledger.Store] promises. What Update has acknowledged is
// committed with synchronous_commit at least on: it survives a crash of the
// database's machine, and with a synchronous standby the loss of it.
//
// # Writing
//
// Whoever writes to a shop's book begins by locking the shop's row in the table
// book, which holds the end of its log. So writers of one shop, on whatever
// server, go one after another, and shops do not wait for each other. Within a
// server those who wait for the same shop share one transaction: each runs its
// function when its turn comes and hands over to the next, and the last of a
// group commits for all. What a server has read of a book it keeps, and it is
// still true when the end of the log is the one it knows.
//
// Transactions are serializable. One that is given up in favour of another is
// run again, functions and all. When the answer to a commit is lost, the lock is
// taken again and the log tells what became of it; only when that fails too is
// the outcome unknown.
//
// # What is used of the database
//
// Only what engines that speak the same protocol also have: tables, their keys
// with the shop first, row locks, savepoints, cursors. No sequences, triggers,
// advisory locks or notifications. Tried with PostgreSQL 15.
//
// It refuses a database that holds tables of something else or of a newer
// version ([ledger.ErrForeignFile]), one whose steps of the schema are not those
// this program knows ([ledger.ErrCorrupt]), and one that does not sync what it
// commits. It needs a role that may create tables when it is first started, and
// none that is a superuser.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"example.org/remelt/ledger"
)

// Options tunes a store. The zero value is good.
type Options struct {
	// Connections is how many Views run at once, and how many shops are written
	// to at once; others wait. 0 means 8 of each.
	Connections int
}

// Store is a database of metal books. It is safe for concurrent use.
type Store struct {
	name    string
	pool    *pgxpool.Pool
	writing chan struct{} // filled by groups that write
	reading chan struct{} // and by Views: apart, so that a View inside an Update finds a connection

	mu      sync.Mutex
	closed  bool
	running sync.WaitGroup
	lanes   map[string]*lane // by shop

	faults faults
}

var _ ledger.Store = (*Store)(nil)

// faults lets this package's tests break the store where the outcome matters.
type faults struct {
	commit func(commit func() error) error // in place of commit
}

// Open connects to the database that url names ("postgres://user@host/name", or
// the words of a connection string) and makes the tables if it has none.
//
// Errors: ErrInvalid when url cannot be read, ErrForeignFile and ErrCorrupt when
// the database is not to be touched, ErrUnavailable when it cannot be reached.
func Open(ctx context.Context, url string, opts Options) (*Store, error) {
	if opts.Connections <= 0 {
		opts.Connections = 8
	}
	config, err := pgxpool.ParseConfig(url)
	if err != nil { // which does not repeat the password
		return nil, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_DATABASE_URL", Field: "database",
			Want: "must be as in postgres://user@host/name", Cause: err}
	}
	s := &Store{
		name:    nameOf(config.ConnConfig),
		writing: make(chan struct{}, opts.Connections),
		reading: make(chan struct{}, opts.Connections),
		lanes:   map[string]*lane{},
	}
	config.MaxConns = int32(2 * opts.Connections) //nolint:gosec // a small number
	config.AfterConnect = keepPromises
	params := config.ConnConfig.RuntimeParams
	if params["application_name"] == "" {
		params["application_name"] = "remelt"
	}
	params["lock_timeout"] = "10s" // another server has locked the shop and does not go on
	if s.pool, err = pgxpool.NewWithConfig(ctx, config); err != nil {
		return nil, unavailable("CANNOT_OPEN", err)
	}
	if err := s.prepare(ctx); err != nil {
		s.pool.Close()
		return nil, err
	}
	return s, nil
}

// nameOf names a database in messages, without a password.
func nameOf(c *pgx.ConnConfig) string {
	return fmt.Sprintf("postgres://%s@%s:%d/%s", c.User, c.Host, c.Port, c.Database)
}

// keepPromises makes a new connection wait for its commits to be synced, where
// the database is set not to.
func keepPromises(ctx context.Context, c *pgx.Conn) error {
	_, err := c.Exec(ctx, `SELECT set_config('synchronous_commit', 'on', false)
		WHERE current_setting('synchronous_commit') IN ('off', 'local')`)
	return err
}

// String names the database, without a password.
func (s *Store) String() string { return s.name }

// View implements ledger.Store.
func (s *Store) View(ctx context.Context, shop string, fn func(ledger.Reader) error) error {
	return s.read(ctx, func(c *pgx.Conn) error {
		r := &reader{c: c, ctx: ctx, caller: ctx, shop: shop}
		defer r.end()
		if err := fn(r); err != nil {
			return err
		}
		return r.broken // a fault fn has swallowed
	})
}

// Shops implements ledger.Store.
func (s *Store) Shops(ctx context.Context) (ids []string, err error) {
	err = s.read(ctx, func(c *pgx.Conn) error {
		rows, err := c.Query(ctx, `SELECT shop FROM book WHERE seq > 0 ORDER BY shop`)
		if err == nil {
			ids, err = pgx.CollectRows(rows, pgx.RowTo[string])
		}
		return storeError(err)
	})
	return ids, err
}

// read runs fn in a reading transaction, a snapshot of one moment.
func (s *Store) read(ctx context.Context, fn func(*pgx.Conn) error) (err error) {
	defer func() { err = ledger.Unread(err) }()
	if err := s.begin(); err != nil {
		return err
	}
	defer s.running.Done()
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	p, err := s.acquire(ctx, s.reading)
	if err != nil {
		return err
	}
	defer p.release()
	c := p.Conn
	if _, err := c.Exec(ctx, `BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY`); err != nil {
		return unavailable("CANNOT_READ", err)
	}
	err = fn(c)
	_, _ = c.Exec(ctx, `COMMIT`) // of nothing; a connection that fails here is dropped
	return err
}

// Close implements ledger.Store.
func (s *Store) Close() error {
	s.mu.Lock()
	s.closed = true
	s.mu.Unlock()
	s.running.Wait()
	s.pool.Close()
	return nil
}

// pooled is a connection on loan.
type pooled struct {
	*pgx.Conn
	loan  *pgxpool.Conn
	place chan struct{}
}

// acquire lends a connection for one of the kinds of use.
func (s *Store) acquire(ctx context.Context, place chan struct{}) (*pooled, error) {
	select {
	case place <- struct{}{}:
	case <-ctx.Done():
		return nil, unavailable("CANCELLED", ctx.Err())
	}
	c, err := s.pool.Acquire(ctx)
	if err != nil {
		<-place
		return nil, unavailable("CANNOT_CONNECT", err)
	}
	return &pooled{c.Conn(), c, place}, nil
}

// release gives it back; a connection that is still inside a transaction is dropped.
func (p *pooled) release() {
	p.loan.Release()
	<-p.place
}

// begin counts a running transaction.
func (s *Store) begin() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closed {
		return unavailable("CLOSED", errors.New("the store is closed"))
	}
	s.running.Add(1)
	return nil
}

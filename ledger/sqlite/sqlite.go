// Package sqlite keeps metal books in one SQLite file. It is the store for a
// shop that runs on one machine.
//
// It promises what [ledger.Store] promises: what Update has acknowledged is in
// the file and survives a crash of the process and of the machine (write-ahead
// log, synchronous=FULL), and what it has not is wholly there or wholly absent.
//
// One goroutine writes. It takes everything that waits, runs it in one
// transaction, commits once and answers after the commit, so many writers share
// the cost of one sync and a single writer waits for nobody. Readers have
// connections of their own, each a snapshot; they and the writer never wait for
// each other.
//
// It refuses a file that is not a metal book, or is one of a newer version
// ([ledger.ErrForeignFile]), or is damaged ([ledger.ErrCorrupt]), and leaves it
// as it was, byte for byte. It refuses to share a file with another process,
// and to work on a network file system that has no locks. A new book and an
// upgraded one are made under another name and put in place by renaming, so
// neither can be met half made.
//
// It remembers beside the file where each log ended (path + ".head"), and refuses
// a book that ends before that: a damaged write-ahead log reads as one that ends
// early.
//
// Nothing else may open the file while it is in use: for a copy there is
// Backup, and a plain copy of the file misses what is still in the log beside it.
package sqlite

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"sync"

	"example.org/remelt/ledger"
)

// Options tunes a store. The zero value is good.
type Options struct {
	// Readers is how many Views run at once; others wait. 0 means 6:
	// two books may be verified at a time, by two Views each, and others read meanwhile.
	Readers int
}

// Store is an open file of metal books. It is safe for concurrent use.
type Store struct {
	path    string
	lock    *lock
	queue   chan *job
	stopped chan struct{} // closed when the writer has ended
	readers chan *conn    // idle ones; nil is one to be opened
	ends    *ends
	shops   sync.Map // name → id of each shop that was found: a shop never goes, nor changes its id

	mu      sync.Mutex
	made    bool // by Open; there was no file
	closed  bool
	running sync.WaitGroup

	faults faults
}

var _ ledger.Store = (*Store)(nil)

// faults lets this package's tests break the writer at the two places where the
// outcome matters.
type faults struct {
	opened func(*conn) error               // a writing connection was opened
	commit func(commit func() error) error // in place of commit
}

// Open opens the file of books at path, making it if it is not there or empty.
// A file of an older version is upgraded; the old one stays beside it as
// path + ".before-NNNN".
//
// Errors: ErrForeignFile and ErrCorrupt when the file is not to be touched,
// ErrUnavailable when another process has it or the file system refuses.
func Open(ctx context.Context, path string, opts Options) (*Store, error) {
	if opts.Readers <= 0 {
		opts.Readers = 6
	}
	path, err := filePath(path)
	if err != nil {
		return nil, err
	}
	lock, err := takeLock(path)
	if err != nil {
		return nil, err
	}
	_, absent := os.Lstat(path)
	if err := prepare(ctx, path); err != nil {
		return nil, errors.Join(err, lock.release())
	}
	s := &Store{
		path:    path,
		lock:    lock,
		made:    errors.Is(absent, fs.ErrNotExist),
		queue:   make(chan *job, 256),
		stopped: make(chan struct{}),
		readers: make(chan *conn, opts.Readers),
	}
	for range opts.Readers {
		s.readers <- nil
	}
	w := &writer{store: s}
	if err := w.connect(); err != nil { // now, so that Open says what is wrong
		return nil, errors.Join(storeError(err), lock.release())
	}
	known := readEnds(path)
	if err := reaches(w.c, path, known); err != nil {
		w.c.discard()
		return nil, errors.Join(storeError(err), lock.release())
	}
	s.ends = startEnds(path, known)
	go w.run()
	return s, nil
}

// Path returns the file's absolute path.
func (s *Store) Path() string { return s.path }

// View implements ledger.Store.
func (s *Store) View(ctx context.Context, shop string, fn func(ledger.Reader) error) error {
	return s.read(ctx, func(c *conn) error {
		r := &reader{c: c, ctx: ctx}
		if id, found := s.shops.Load(shop); found {
			r.shop = id.(int64)
		} else if err := r.open(shop); err != nil {
			return err
		} else if r.shop != 0 {
			s.shops.Store(shop, r.shop)
		}
		defer r.end()
		if err := fn(r); err != nil {
			return err
		}
		return r.broken // a fault fn has swallowed
	})
}

// Shops implements ledger.Store.
func (s *Store) Shops(ctx context.Context) (ids []string, err error) {
	err = s.read(ctx, func(c *conn) error {
		rows, err := c.query(`SELECT name FROM shop ORDER BY name`)
		if err != nil {
			return err
		}
		return scanAll(rows, func() error {
			var id string
			err := rows.Scan(&id)
			ids = append(ids, id)
			return err
		})
	})
	return ids, err
}

// read runs fn on an idle reading connection inside a transaction. After a
// fault of the connection another takes its place.
func (s *Store) read(ctx context.Context, fn func(*conn) error) (err error) {
	defer func() { err = ledger.Unread(err) }()
	if err := s.begin(); err != nil {
		return err
	}
	defer s.running.Done()
	if err := ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	var c *conn
	select {
	case c = <-s.readers:
	case <-ctx.Done():
		return unavailable("CANCELLED", ctx.Err())
	}
	sound := false // also when fn panics
	defer func() {
		if !sound {
			c.discard()
			c = nil
		}
		s.readers <- c
	}()
	if c == nil {
		if c, err = openConn(s.path, reading); err != nil {
			return unavailable("CANNOT_OPEN", err)
		}
	}
	if err := c.exec(`BEGIN`); err != nil {
		return unavailable("CANNOT_READ", err)
	}
	err = fn(c)
	sound = !c.broken && c.exec(`ROLLBACK`) == nil
	return err
}

// Close implements ledger.Store.
func (s *Store) Close() error { return s.close(false) }

// Unmake closes the store and, if Open made its file, removes it.
func (s *Store) Unmake() error { return s.close(s.made) }

func (s *Store) close(unmake bool) error {
	s.mu.Lock()
	if s.closed {
		s.mu.Unlock()
		<-s.stopped
		return nil
	}
	s.closed = true
	s.mu.Unlock()
	s.running.Wait()
	for range cap(s.readers) {
		(<-s.readers).discard()
	}
	close(s.queue)
	<-s.stopped // the writer's connection is the last and folds the log into the file
	s.ends.close()
	if unmake { // the book last: what is left beside none would keep another from being made
		for _, file := range []string{endsFile(s.path), s.path + "-shm", s.path + "-wal", s.path} {
			if err := os.Remove(file); err != nil && !errors.Is(err, fs.ErrNotExist) {
				return errors.Join(unavailable("CANNOT_REMOVE", err), s.lock.release())
			}
		}
	}
	return s.lock.release()
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

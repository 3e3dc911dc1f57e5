package sqlite

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net/url"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
)

// conn is one connection with its prepared statements; used by one goroutine
// at a time. It is the driver's own: database/sql would put its locks, checks
// and conversions around each statement and each row, which takes a sixth to a
// third of the time of a read and little of a group of writes.
type conn struct {
	c      driver.Conn
	stmts  map[string]*stmt
	args   []driver.NamedValue // of the statement that is started
	broken bool                // a statement failed: the connection is not to be used again
}

// mode is what a connection is for.
type mode string

// Each mode's parameters. No mmap_size: an I/O fault there is a signal, not an
// error. Checkpoints come at 16000 pages so that groups seldom pay for one.
const (
	writing mode = "mode=rw&_txlock=immediate&_journal_mode=WAL&_synchronous=FULL&_foreign_keys=1" +
		"&_pragma=wal_autocheckpoint(16000)&_pragma=journal_size_limit(67108864)&_pragma=cache_size(-32768)" + always
	reading   mode = "mode=ro&_query_only=1&_pragma=cache_size(-8192)" + always
	copying   mode = "mode=ro" + always             // query_only would not let it write the copy
	immutable mode = "mode=ro&immutable=1" + always // for a file that nobody has open; makes nothing beside it
	building  mode = "mode=rwc&_synchronous=FULL&_foreign_keys=1" + always

	always = "&_busy_timeout=5000&_defensive=1&_dqs=0&_error_rc=1" +
		"&_pragma=trusted_schema(OFF)&_pragma=cell_size_check(ON)&_pragma=temp_store(MEMORY)" +
		"&_pragma=recursive_triggers(ON)" // so that REPLACE asks the triggers that forbid deleting
)

// uri names a file so that no character of its path is taken for a parameter.
func uri(path string, m mode) string {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") { // C:/… on Windows
		p = "/" + p
	}
	return "file://" + (&url.URL{Path: p}).EscapedPath() + "?" + string(m)
}

// openConn opens a connection. Statements run without the caller's context: a
// driver that watches one starts a goroutine per statement.
func openConn(path string, m mode) (*conn, error) {
	connector, err := sqlite.NewConnector(uri(path, m))
	if err != nil {
		return nil, err
	}
	c, err := connector.Connect(context.Background())
	if err != nil {
		return nil, err
	}
	return &conn{c: c, stmts: map[string]*stmt{}}, nil
}

// discard closes the connection; an open transaction is rolled back.
func (c *conn) discard() {
	if c == nil {
		return
	}
	for _, s := range c.stmts {
		_ = s.Close() // what a statement failed with was told when it did
	}
	_ = c.c.Close()
}

// stmt is a prepared statement.
type stmt struct {
	driver.Stmt
	row []driver.Value // the last row read by it
}

func (c *conn) prepare(query string) (*stmt, error) {
	s, err := c.c.Prepare(query)
	if err != nil {
		return nil, err
	}
	return &stmt{Stmt: s}, nil
}

// stmt returns a query's statement, which is prepared once.
func (c *conn) stmt(query string) (*stmt, error) {
	if c.broken { // what goes on as if nothing was would acknowledge what is not there
		return nil, errBroken
	}
	if s, ok := c.stmts[query]; ok {
		return s, nil
	}
	s, err := c.prepare(query)
	if err != nil {
		c.broken = true
		return nil, err
	}
	c.stmts[query] = s
	return s, nil
}

var errBroken = errors.New("the connection failed before")

// bind returns the arguments as the driver wants them, until the next call.
func (c *conn) bind(args []any) []driver.NamedValue {
	c.args = c.args[:0]
	for i, a := range args {
		if n, ok := a.(int); ok {
			a = int64(n)
		}
		c.args = append(c.args, driver.NamedValue{Ordinal: i + 1, Value: a})
	}
	return c.args
}

func (c *conn) exec(query string, args ...any) error {
	s, err := c.stmt(query)
	if err != nil {
		return err
	}
	if _, err = s.Stmt.(driver.StmtExecContext).ExecContext(context.Background(), c.bind(args)); err != nil {
		c.broken = true
	}
	return err
}

// query starts a query. Its cursor is to be closed before the same query is
// asked again.
func (c *conn) query(query string, args ...any) (*cursor, error) {
	s, err := c.stmt(query)
	if err != nil {
		return nil, err
	}
	rows, err := c.start(context.Background(), s, args)
	c.broken = c.broken || err != nil
	return rows, err
}

func (c *conn) start(ctx context.Context, s *stmt, args []any) (*cursor, error) {
	r, err := s.Stmt.(driver.StmtQueryContext).QueryContext(ctx, c.bind(args))
	if err != nil {
		return nil, err
	}
	if s.row == nil {
		s.row = make([]driver.Value, len(r.Columns()))
	}
	return &cursor{c: c, rows: r, row: s.row}, nil
}

// one reads the first row into dest and tells whether there was one.
func (c *conn) one(query string, args []any, dest ...any) (bool, error) {
	rows, err := c.query(query, args...)
	if err != nil {
		return false, err
	}
	return first(rows, dest)
}

func first(rows *cursor, dest []any) (bool, error) {
	defer rows.Close()
	if !rows.Next() {
		return false, rows.err
	}
	if err := rows.Scan(dest...); err != nil {
		rows.c.broken = true
		return false, err
	}
	return true, nil
}

// once runs what is said once in the life of a connection, or takes so long that
// its caller may give up: any number of statements, none of them kept. PRAGMAs
// are said this way, since some act when they are prepared.
func (c *conn) once(ctx context.Context, script string, args ...any) error {
	_, err := c.c.(driver.ExecerContext).ExecContext(ctx, script, c.bind(args))
	return err
}

// onceOne is once for a query, of which it reads the first row into dest.
func (c *conn) onceOne(ctx context.Context, query string, dest ...any) error {
	s, err := c.prepare(query)
	if err != nil {
		return err
	}
	defer s.Close()
	rows, err := c.start(ctx, s, nil)
	if err != nil {
		return err
	}
	found, err := first(rows, dest)
	if err == nil && !found {
		err = io.ErrUnexpectedEOF
	}
	return err
}

// set runs a PRAGMA.
func (c *conn) set(pragma string) error { return c.once(context.Background(), `PRAGMA `+pragma) }

// cursor is a query under way.
type cursor struct {
	c    *conn
	rows driver.Rows
	row  []driver.Value
	err  error
}

// Next reads the next row and tells whether there was one.
func (r *cursor) Next() bool {
	err := r.rows.Next(r.row)
	if err == nil {
		return true
	}
	if !errors.Is(err, io.EOF) {
		r.err, r.c.broken = err, true
	}
	return false
}

// Err returns what ended the rows, if it was not their end.
func (r *cursor) Err() error { return r.err }

func (r *cursor) Close() {
	if err := r.rows.Close(); err != nil && r.err == nil {
		r.err, r.c.broken = err, true
	}
}

// scanner is what takes a value of the driver itself: nil, an int64, a string or
// bytes, which are its own to keep.
type scanner interface{ Scan(v any) error }

// Scan puts the row's values where dest points: to an int64, a bool, a string,
// bytes or a scanner. Tables are STRICT, so another type is damage.
func (r *cursor) Scan(dest ...any) error {
	for i, d := range dest {
		v, ok := r.row[i], false
		switch d := d.(type) {
		case *int64:
			*d, ok = v.(int64)
		case *string:
			*d, ok = v.(string)
		case *[]byte:
			*d, ok = v.([]byte)
			ok = ok || v == nil
		case *bool:
			var n int64
			n, ok = v.(int64)
			*d = n != 0
		case scanner:
			if err := d.Scan(v); err != nil {
				return err
			}
			ok = true
		default:
			return fmt.Errorf("cannot scan into a %T", d)
		}
		if !ok {
			return errDamaged("a %T where a %T should be", v, d)
		}
	}
	return nil
}

// scanAll calls scan for each row and closes rows.
func scanAll(rows *cursor, scan func() error) error {
	defer rows.Close()
	for rows.Next() {
		if err := scan(); err != nil {
			return err
		}
	}
	return rows.Err()
}

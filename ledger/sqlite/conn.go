package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"net/url"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
)

// conn is one connection with its prepared statements; used by one goroutine
// at a time.
type conn struct {
	db     *sql.DB // holds this connection only
	c      *sql.Conn
	stmts  map[string]*sql.Stmt
	broken bool // a statement failed: the connection is not to be used again
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
	db := sql.OpenDB(connector)
	db.SetMaxOpenConns(1)
	c, err := db.Conn(context.Background())
	if err != nil {
		db.Close()
		return nil, err
	}
	return &conn{db: db, c: c, stmts: map[string]*sql.Stmt{}}, nil
}

// discard closes the connection; an open transaction is rolled back.
func (c *conn) discard() {
	if c == nil {
		return
	}
	for _, s := range c.stmts {
		s.Close()
	}
	// The pool would keep a connection that is merely closed.
	_ = c.c.Raw(func(any) error { return driver.ErrBadConn })
	c.c.Close()
	c.db.Close()
}

// set runs a PRAGMA. They are not prepared: some act when they are compiled.
func (c *conn) set(pragma string) error {
	_, err := c.c.ExecContext(context.Background(), `PRAGMA `+pragma)
	return err
}

func (c *conn) stmt(query string) (*sql.Stmt, error) {
	if s, ok := c.stmts[query]; ok {
		return s, nil
	}
	s, err := c.c.PrepareContext(context.Background(), query)
	if err != nil {
		c.broken = true
		return nil, err
	}
	c.stmts[query] = s
	return s, nil
}

func (c *conn) exec(query string, args ...any) error {
	s, err := c.stmt(query)
	if err != nil {
		return err
	}
	if _, err = s.ExecContext(context.Background(), args...); err != nil {
		c.broken = true
	}
	return err
}

func (c *conn) query(query string, args ...any) (*sql.Rows, error) {
	s, err := c.stmt(query)
	if err != nil {
		return nil, err
	}
	rows, err := s.QueryContext(context.Background(), args...)
	if err != nil {
		c.broken = true
	}
	return rows, err
}

// one reads the first row into dest and tells whether there was one.
func (c *conn) one(query string, args []any, dest ...any) (bool, error) {
	rows, err := c.query(query, args...)
	if err != nil {
		return false, err
	}
	defer rows.Close()
	if !rows.Next() {
		if err := rows.Err(); err != nil {
			c.broken = true
			return false, err
		}
		return false, nil
	}
	if err := rows.Scan(dest...); err != nil {
		c.broken = true
		return false, err
	}
	return true, nil
}

// scanAll calls scan for each row and closes rows.
func scanAll(rows *sql.Rows, scan func() error) error {
	defer rows.Close()
	for rows.Next() {
		if err := scan(); err != nil {
			return err
		}
	}
	return rows.Err()
}

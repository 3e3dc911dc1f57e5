package postgrestest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"time"

	"github.com/jackc/pgx/v5"
)

// Standby makes a standby of a running cluster and starts it. When it returns, the
// cluster answers a commit only when the standby has it on disk too.
func (c *Cluster) Standby() (*Cluster, error) {
	dir, err := os.MkdirTemp("", "pg-")
	if err != nil {
		return nil, err
	}
	s := &Cluster{dir: dir, log: &bytes.Buffer{}}
	err = giveAway(dir)
	if err == nil {
		err = s.run("pg_basebackup", "-D", s.data(), "-h", c.dir, "-U", "postgres", "-R", "-X", "stream", "-c", "fast", "--no-sync")
	}
	if err == nil {
		err = s.configure()
	}
	if err == nil {
		err = s.Up()
	}
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	// Only now, so that the standby does not want one itself when it is promoted.
	if err := c.awaitStandby(); err != nil {
		s.Remove()
		return nil, err
	}
	return s, nil
}

// awaitStandby makes commits wait for a standby, and waits until there is one.
func (c *Cluster) awaitStandby() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, c.URL("postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(context.Background())
	for _, statement := range []string{`ALTER SYSTEM SET synchronous_standby_names = '*'`, `SELECT pg_reload_conf()`} {
		if _, err := conn.Exec(ctx, statement); err != nil {
			return err
		}
	}
	for {
		n := 0
		if err := conn.QueryRow(ctx, `SELECT count(*) FROM pg_stat_replication WHERE sync_state = 'sync'`).Scan(&n); err != nil {
			return fmt.Errorf("no standby follows: %w", err)
		}
		if n > 0 {
			return nil
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// Promote makes a standby a primary, and waits until it is.
func (c *Cluster) Promote() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, c.URL("postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(context.Background())
	done := false
	if err := conn.QueryRow(ctx, `SELECT pg_promote(true, 60)`).Scan(&done); err != nil || !done {
		return fmt.Errorf("not promoted: %v: %w", done, err)
	}
	return nil
}

// Kill ends the server with all its processes at once, and leaves it so.
func (c *Cluster) Kill() error { return c.kill() }

// Either is the URL of whichever of two clusters is the primary, for books in a
// schema that Schema made.
func Either(one, other *Cluster, schema string) string {
	u := url.URL{Scheme: "postgres", User: url.User("keeper"), Path: "/postgres", RawQuery: url.Values{
		"host": {one.dir + "," + other.dir}, "search_path": {schema}, "target_session_attrs": {"read-write"},
	}.Encode()}
	return u.String()
}

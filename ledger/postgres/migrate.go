package postgres

import (
	"context"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"path"
	"slices"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

//go:embed schema/*.sql
var schemaFiles embed.FS

// step is one step of the schema. What is released is never edited: a database
// remembers the checksums of its steps.
type step struct {
	version int
	script  string
}

func (s step) sum() string {
	sum := sha256.Sum256([]byte(s.script))
	return hex.EncodeToString(sum[:])
}

// steps are all of them, from 1 without gaps.
var steps = readSteps(schemaFiles)

func readSteps(files fs.FS) (all []step) {
	names, err := fs.Glob(files, "schema/*.sql")
	if err != nil {
		panic(err)
	}
	slices.Sort(names)
	for i, name := range names {
		script, err := fs.ReadFile(files, name)
		if err != nil {
			panic(err)
		}
		if path.Base(name) != fmt.Sprintf("%04d.sql", i+1) {
			panic("schema step out of order: " + name)
		}
		all = append(all, step{i + 1, string(script)})
	}
	return all
}

// prepare brings the database to the newest schema, or says why it is not to be
// touched. Servers that start at the same time wait for each other at the row
// that each step writes first.
func (s *Store) prepare(ctx context.Context) error {
	c, err := s.pool.Acquire(ctx)
	if err != nil {
		return unavailable("CANNOT_CONNECT", err)
	}
	defer c.Release()
	if err := checkDatabase(ctx, c.Conn(), s.name); err != nil {
		return storeError(err)
	}
	for try := 0; ; try++ {
		done, err := inspect(ctx, c.Conn(), s.name)
		if err != nil {
			return storeError(err)
		}
		if done == len(steps) {
			return nil
		}
		err = apply(ctx, c.Conn(), done)
		if err != nil && !overtaken(err) {
			return storeError(err)
		}
		if err != nil {
			if err := pause(ctx, try); err != nil {
				return err
			}
		}
	}
}

// overtaken tells whether another server was faster in making what a step makes.
func overtaken(err error) bool {
	switch sqlState(err) {
	case "23505", "42P07": // unique_violation, duplicate_table
		return true
	}
	return conflicted(err)
}

// checkDatabase refuses a database that cannot keep the promises.
func checkDatabase(ctx context.Context, c *pgx.Conn, name string) error {
	wanted := []struct{ setting, value string }{{"fsync", "on"}, {"full_page_writes", "on"}, {"server_encoding", "UTF8"}}
	is := make([]string, len(wanted))
	if err := c.QueryRow(ctx, `SELECT current_setting($1), current_setting($2), current_setting($3)`,
		wanted[0].setting, wanted[1].setting, wanted[2].setting).Scan(&is[0], &is[1], &is[2]); err != nil {
		return err
	}
	for i, w := range wanted {
		if is[i] != w.value {
			return &ledger.Error{Class: ledger.ErrState, Reason: "DATABASE_UNSUITABLE", Field: "database", Value: name,
				Want: fmt.Sprintf("has %s = %s; a book needs %s", w.setting, is[i], w.value)}
		}
	}
	return nil
}

// inspect returns how many steps the database has; 0 for an empty one.
func inspect(ctx context.Context, c *pgx.Conn, name string) (int, error) {
	var tables []string
	rows, err := c.Query(ctx, `SELECT tablename::text FROM pg_tables WHERE schemaname = current_schema() ORDER BY 1`)
	if err == nil {
		tables, err = pgx.CollectRows(rows, pgx.RowTo[string])
	}
	if err != nil || len(tables) == 0 {
		return 0, err
	}
	if !slices.Contains(tables, "schema_step") {
		return 0, errForeign(name, "not a metal book: holds the table %s and none of ours; give it a database of its own", tables[0])
	}
	rows, err = c.Query(ctx, `SELECT script FROM schema_step ORDER BY version`)
	if err != nil {
		return 0, err
	}
	scripts, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return 0, err
	}
	if len(scripts) > len(steps) {
		return 0, errForeign(name, "a metal book of schema %d; this program knows up to %d: use a newer program", len(scripts), len(steps))
	}
	for i, sum := range scripts {
		if sum != steps[i].sum() {
			return 0, errDamaged("schema step %d of %s is not the one this program knows", i+1, name)
		}
	}
	return len(scripts), nil
}

// apply takes the next step, in one transaction.
func apply(ctx context.Context, c *pgx.Conn, done int) error {
	return pgx.BeginFunc(ctx, c, func(tx pgx.Tx) error {
		if done == 0 {
			if _, err := tx.Exec(ctx, `CREATE TABLE IF NOT EXISTS schema_step (
				version integer PRIMARY KEY,
				script  text NOT NULL -- SHA-256 of the step
			)`); err != nil {
				return err
			}
		}
		next := steps[done]
		if _, err := tx.Exec(ctx, `INSERT INTO schema_step (version, script) VALUES ($1, $2)`, next.version, next.sum()); err != nil {
			return err
		}
		_, err := tx.Conn().PgConn().Exec(ctx, next.script).ReadAll()
		return err
	})
}

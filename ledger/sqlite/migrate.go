package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
)

//go:embed schema/*.sql
var schemaFiles embed.FS

// migration is one step of the schema. What is released is never edited: a file
// remembers the checksums of its steps.
type migration struct {
	version int
	script  string
}

func (m migration) sum() []byte {
	s := sha256.Sum256([]byte(m.script))
	return s[:]
}

// migrations are all steps, from 1 without gaps. Tests add their own.
var migrations = readMigrations(schemaFiles)

func newest() int { return migrations[len(migrations)-1].version }

func readMigrations(files fs.FS) []migration {
	names, err := fs.Glob(files, "schema/*.sql")
	if err != nil {
		panic(err)
	}
	slices.Sort(names)
	var all []migration
	for i, name := range names {
		script, err := fs.ReadFile(files, name)
		if err != nil {
			panic(err)
		}
		if base := filepath.Base(name); base != fmt.Sprintf("%04d.sql", i+1) {
			panic("schema step out of order: " + name)
		}
		all = append(all, migration{i + 1, string(script)})
	}
	return all
}

// create makes an empty file of books and puts it at path.
func create(ctx context.Context, path string) error {
	return putInPlace(path, "", func(tmp string) error { return migrate(ctx, tmp, 0) })
}

// upgrade puts an upgraded copy in the file's place. The old file stays beside
// it under another name, and until the last moment under its own.
func upgrade(ctx context.Context, path string, from int) error {
	keep := fmt.Sprintf("%s.before-%04d", path, newest())
	return putInPlace(path, keep, func(tmp string) error {
		how := immutable
		if hasLog(path) { // closing the one connection folds it in
			how = writing
		}
		if err := vacuumInto(ctx, path, how, tmp); err != nil {
			return err
		}
		if hasLog(path) {
			return errors.New("the log of the old file could not be folded into it")
		}
		return migrate(ctx, tmp, from)
	})
}

// putInPlace has build make a file under a temporary name, checks it and renames
// it to path. With keep, the file that was at path is kept under that name.
func putInPlace(path, keep string, build func(tmp string) error) (err error) {
	tmp := path + ".new"
	removeAll := func() {
		for _, end := range []string{"", "-journal", "-wal", "-shm"} {
			os.Remove(tmp + end)
		}
	}
	removeAll()                // left by a crash; the lock is ours
	mode := fs.FileMode(0o600) // a book is its shop's business
	if info, err := os.Stat(path); err == nil {
		mode = info.Mode().Perm()
	}
	if err := os.WriteFile(tmp, nil, mode); err != nil {
		return unavailable("CANNOT_CREATE", err)
	}
	defer func() {
		if err != nil {
			removeAll()
		}
	}()
	if err := build(tmp); err != nil {
		return storeError(err)
	}
	if keep != "" {
		if err := keepAs(path, keep); err != nil {
			return unavailable("CANNOT_KEEP_OLD", err)
		}
	}
	if err := os.Rename(tmp, path); err != nil {
		return unavailable("CANNOT_CREATE", err)
	}
	if err := syncDir(filepath.Dir(path)); err != nil {
		return unavailable("CANNOT_CREATE", err)
	}
	return nil
}

// keepAs gives the file at path a second name, under which it stays.
func keepAs(path, keep string) error {
	have, err := os.Stat(path)
	if err != nil {
		return err
	}
	if kept, err := os.Stat(keep); err == nil && os.SameFile(have, kept) {
		return nil // an upgrade that was cut off got so far
	}
	return os.Link(path, keep)
}

// migrate brings the file at path, which nobody else knows yet, to the newest
// schema, in one transaction.
func migrate(ctx context.Context, path string, from int) error {
	c, err := openConn(path, building)
	if err != nil {
		return err
	}
	err = applySteps(ctx, c, from)
	if err == nil {
		err = c.once(ctx, `PRAGMA journal_mode=WAL`)
	}
	c.discard()
	if err != nil {
		return err
	}
	return checkWhole(ctx, path)
}

// applySteps leaves the transaction of a step that failed to the end of c.
func applySteps(ctx context.Context, c *conn, from int) error {
	if err := c.once(ctx, `BEGIN`); err != nil {
		return err
	}
	if from == 0 {
		err := c.once(ctx, `PRAGMA application_id = `+strconv.Itoa(applicationID)+`;
			CREATE TABLE migration (
			  version INTEGER PRIMARY KEY,
			  script  BLOB NOT NULL CHECK (length(script) = 32), -- SHA-256 of the step's script
			  result  BLOB NOT NULL CHECK (length(result) = 32)  -- SHA-256 of the schema after it
			) STRICT;`)
		if err != nil {
			return err
		}
	}
	for _, m := range migrations[from:] {
		if err := c.once(ctx, m.script); err != nil {
			return fmt.Errorf("schema step %04d: %w", m.version, err)
		}
		result, err := schemaSum(c)
		if err != nil {
			return err
		}
		if err := c.once(ctx, `INSERT INTO migration (version, script, result) VALUES (?, ?, ?)`, int64(m.version), m.sum(), result); err != nil {
			return err
		}
	}
	if err := c.once(ctx, `PRAGMA user_version = `+strconv.Itoa(newest())); err != nil {
		return err
	}
	return c.once(ctx, `COMMIT`)
}

// schemaSum is the SHA-256 of everything that was created, in its own words.
func schemaSum(c *conn) ([]byte, error) {
	rows, err := c.query(`SELECT type || ' ' || name || ' ' || sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY type, name`)
	if err != nil {
		return nil, err
	}
	h := sha256.New()
	err = scanAll(rows, func() error {
		var line string
		err := rows.Scan(&line)
		fmt.Fprintf(h, "%d %s\n", len(line), line)
		return err
	})
	return h.Sum(nil), err
}

// checkSchema tells whether a file was made by the steps this program knows and
// still has the schema they left. It only reads. A log is read with the file: a
// checkpoint that was cut off leaves the file by itself half old and half new.
func checkSchema(path string, version int) error {
	how := immutable
	if hasLog(path) {
		how = copying
	}
	c, err := openConn(path, how)
	if err != nil {
		return errUnread(path, err)
	}
	defer c.discard()
	rows, err := c.query(`SELECT version, script, result FROM migration ORDER BY version`)
	if err != nil {
		return errUnread(path, err)
	}
	n := int64(0)
	var result []byte
	if err := scanAll(rows, func() error {
		var v int64
		var script []byte
		if err := rows.Scan(&v, &script, &result); err != nil {
			return err
		}
		if n++; v != n || v > int64(len(migrations)) || !bytes.Equal(script, migrations[v-1].sum()) {
			return errDamagedFile(path, "schema step %d is not the one this program knows", v)
		}
		return nil
	}); err != nil {
		return storeError(err)
	}
	if n != int64(version) {
		return errDamagedFile(path, "has %d schema steps, says %d", n, version)
	}
	now, err := schemaSum(c)
	if err != nil {
		return errUnread(path, err)
	}
	if !bytes.Equal(now, result) {
		return errDamagedFile(path, "its tables are not as this program made them")
	}
	return nil
}

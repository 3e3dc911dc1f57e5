package sqlite

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"embed"
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
	if _, err := os.Lstat(keep); err == nil {
		return unavailable("BACKUP_EXISTS", fmt.Errorf("%s is in the way of the copy made before an upgrade", keep))
	}
	return putInPlace(path, keep, func(tmp string) error {
		c, err := openConn(path, writing)
		if err != nil {
			return err
		}
		_, err = c.c.ExecContext(ctx, `VACUUM INTO ?`, tmp)
		c.discard()
		if err != nil {
			return err
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
	removeAll() // left by a crash; the lock is ours
	defer func() {
		if err != nil {
			removeAll()
		}
	}()
	if err := build(tmp); err != nil {
		return storeError(err)
	}
	if keep != "" {
		if err := os.Link(path, keep); err != nil {
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

// migrate brings the file at path, which nobody else knows yet, to the newest
// schema, in one transaction.
func migrate(ctx context.Context, path string, from int) error {
	c, err := openConn(path, building)
	if err != nil {
		return err
	}
	defer c.discard()
	if err := applySteps(ctx, c.c, from); err != nil {
		return err
	}
	for _, check := range []string{`PRAGMA integrity_check`, `SELECT 'broken reference' FROM pragma_foreign_key_check UNION ALL SELECT 'ok' LIMIT 1`} {
		var says string
		if err := c.c.QueryRowContext(ctx, check).Scan(&says); err != nil {
			return err
		}
		if says != "ok" {
			return errDamaged("after the upgrade: %s", says)
		}
	}
	_, err = c.c.ExecContext(ctx, `PRAGMA journal_mode=WAL`)
	return err
}

func applySteps(ctx context.Context, c *sql.Conn, from int) error {
	tx, err := c.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback()
	if from == 0 {
		_, err := tx.ExecContext(ctx, `PRAGMA application_id = `+strconv.Itoa(applicationID)+`;
			CREATE TABLE migration (
			  version INTEGER PRIMARY KEY,
			  sha256  BLOB NOT NULL CHECK (length(sha256) = 32) -- of the step's script
			) STRICT;`)
		if err != nil {
			return err
		}
	}
	for _, m := range migrations[from:] {
		if _, err := tx.ExecContext(ctx, m.script); err != nil {
			return fmt.Errorf("schema step %04d: %w", m.version, err)
		}
		if _, err := tx.ExecContext(ctx, `INSERT INTO migration (version, sha256) VALUES (?, ?)`, m.version, m.sum()); err != nil {
			return err
		}
	}
	if _, err := tx.ExecContext(ctx, `PRAGMA user_version = `+strconv.Itoa(newest())); err != nil {
		return err
	}
	return tx.Commit()
}

// checkSchema compares the steps and the schema a file has with those this
// program would have made. It only reads.
func checkSchema(path string, version int) error {
	c, err := openConn(path, immutable)
	if err != nil {
		return errDamagedFile(path, "cannot be read: %v", err)
	}
	defer c.discard()
	rows, err := c.query(`SELECT version, sha256 FROM migration ORDER BY version`)
	if err != nil {
		return errDamagedFile(path, "cannot be read: %v", err)
	}
	n := 0
	if err := scanAll(rows, func() error {
		var v int
		var sum []byte
		if err := rows.Scan(&v, &sum); err != nil {
			return err
		}
		if n++; v != n || v > len(migrations) || !bytes.Equal(sum, migrations[v-1].sum()) {
			return errDamagedFile(path, "schema step %d is not the one this program knows", v)
		}
		return nil
	}); err != nil {
		return storeError(err)
	}
	if n != version {
		return errDamagedFile(path, "has %d schema steps, says %d", n, version)
	}
	return nil
}

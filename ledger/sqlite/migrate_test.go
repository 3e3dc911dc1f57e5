package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

// withStep adds a schema step for the time of a test.
func withStep(t *testing.T, script string) {
	t.Helper()
	was := migrations
	migrations = append(was[:len(was):len(was)], migration{len(was) + 1, script})
	t.Cleanup(func() { migrations = was })
}

func heads(t *testing.T, s *Store) (h ledger.Head) {
	t.Helper()
	if err := s.View(context.Background(), "harrow", func(r ledger.Reader) (err error) {
		h, err = r.Head()
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return h
}

func TestUpgrade(t *testing.T) {
	path := aBook(t, 30)
	s := open(t, path)
	want := heads(t, s)
	s.Close()
	old := files(t, path)[filepath.Base(path)]

	withStep(t, `ALTER TABLE name ADD COLUMN note TEXT; UPDATE name SET note = 'upgraded';`)
	s = open(t, path)
	if got := heads(t, s); got != want {
		t.Errorf("head %v after the upgrade, was %v", got, want)
	}
	if err := s.read(context.Background(), func(c *conn) error {
		var note string
		_, err := c.one(`SELECT note FROM name`, nil, &note)
		if note != "upgraded" {
			t.Errorf("note %q", note)
		}
		return err
	}); err != nil {
		t.Error(err)
	}
	fill(t, s, 3)
	storetest.VerifyAll(t, s)
	s.Close()
	kept := path + fmt.Sprintf(".before-%04d", newest())
	if files(t, path)[filepath.Base(kept)] != old {
		t.Error("the old file is not kept as it was")
	}
	open(t, path).Close() // and there is no second upgrade

	migrations = migrations[:newest()-1] // the program from before
	wantOpenError(t, path, ledger.ErrForeignFile)
	s = open(t, kept)
	if got := heads(t, s); got != want {
		t.Errorf("head %v in the kept file, was %v", got, want)
	}
	s.Close()
}

// TestUpgradeAfterCrash: the log of a process that died is part of the book
// that is upgraded.
func TestUpgradeAfterCrash(t *testing.T) {
	path := aBook(t, 2)
	s := open(t, path)
	fill(t, s, 5)
	want := heads(t, s)
	crashed := filepath.Join(t.TempDir(), "crashed.remelt")
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(path + end)
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, crashed+end, b)
	}
	s.Close()
	withStep(t, `CREATE TABLE more (x INTEGER) STRICT`)
	s = open(t, crashed)
	if got := heads(t, s); got != want {
		t.Errorf("head %v after the upgrade, want %v", got, want)
	}
	storetest.VerifyAll(t, s)
	s.Close()
}

// TestFailedUpgrade: a step that fails, at its start or at its end, leaves the
// file as it was and nothing beside it.
func TestFailedUpgrade(t *testing.T) {
	path := filepath.Join(t.TempDir(), "copy") // a backup: opening it would switch its journal mode
	s := open(t, newPath(t))
	fill(t, s, 30)
	noError(t, s.Backup(context.Background(), path))
	noError(t, s.Close())
	before := files(t, path)
	for name, script := range map[string]string{
		"not SQL":               `CREATE TABEL x`,
		"a later statement":     `CREATE TABLE x (y INTEGER) STRICT; INSERT INTO name (shop) VALUES (1);`,
		"what it may not touch": `UPDATE entry SET hash = zeroblob(32)`,
		"a broken reference":    `PRAGMA defer_foreign_keys = ON; INSERT INTO made (shop, kind, n) VALUES (77, 'lot', 1)`,
	} {
		t.Run(name, func(t *testing.T) {
			withStep(t, script)
			s, err := Open(context.Background(), path, Options{})
			if err == nil {
				s.Close()
				t.Fatal("it was upgraded")
			}
			var e *ledger.Error
			if !errors.As(err, &e) {
				t.Errorf("error %v", err)
			}
			if diff := cmp.Diff(keys(before), keys(files(t, path))); diff != "" {
				t.Errorf("files (-before +after):\n%s", diff)
			}
			if files(t, path)[filepath.Base(path)] != before[filepath.Base(path)] {
				t.Error("the file was changed")
			}
		})
	}
	s = open(t, path)
	storetest.VerifyAll(t, s)
	s.Close()
}

func keys(m map[string]string) map[string]bool {
	out := map[string]bool{}
	for k := range m {
		out[k] = true
	}
	return out
}

// TestSchemaGuards: SQL itself refuses what must never happen.
func TestSchemaGuards(t *testing.T) {
	s := open(t, newPath(t))
	defer s.Close()
	fill(t, s, 2)
	for name, statement := range map[string]string{
		"an entry changed":           `UPDATE entry SET bytes = x'00'`,
		"an entry deleted":           `DELETE FROM entry`,
		"an entry replaced":          `INSERT OR REPLACE INTO entry SELECT id, hash, x'00' FROM entry LIMIT 1`,
		"a short hash":               `INSERT INTO entry (id, hash, bytes) VALUES (1 << 40 | 99, x'00', x'00')`,
		"an entry of no shop":        `INSERT INTO entry (id, hash, bytes) VALUES (99, zeroblob(32), x'00')`,
		"a request id used again":    `INSERT INTO request SELECT shop, id, 99 FROM request LIMIT 1`,
		"a request id cut":           `INSERT INTO request VALUES (1, x'00', 1)`,
		"a request moved":            `UPDATE request SET seq = 1`,
		"a request forgotten":        `DELETE FROM request`,
		"a lot below zero":           `UPDATE name SET mass = -1 WHERE name = 'lot/L0'`,
		"a casting below zero":       `INSERT INTO name (shop, name, mass, holds) VALUES (1, 'casting/1', -1, 1)`,
		"a supply below zero":        `INSERT INTO name (shop, name, mass, holds) VALUES (1, 'supply/1', -1, 1)`,
		"a mass that is no integer":  `UPDATE name SET mass = 1.5`,
		"a mass past int64":          `UPDATE name SET mass = 9223372036854775807 + 1 WHERE name = 'lot/L0'`,
		"a holding that holds none":  `UPDATE name SET mass = 0 WHERE name = 'lot/L0'`,
		"a holding not shown":        `UPDATE name SET holds = 0 WHERE name = 'lot/L0'`,
		"a name of no shop":          `INSERT INTO name (shop, name, holds) VALUES (9, 'lot/1', 0)`,
		"a shop with books deleted":  `DELETE FROM shop`,
		"a shop twice":               `INSERT INTO shop (name) VALUES ('harrow')`,
		"a count of text":            `UPDATE made SET n = 'many'`,
		"half a record":              `UPDATE name SET at = NULL WHERE name = 'lot/L0'`,
		"the schema without defense": `PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = ''`,
	} {
		c, err := openConn(s.Path(), writing)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.once(context.Background(), statement); err == nil {
			t.Errorf("%s: allowed", name)
		}
		c.discard()
	}
	storetest.VerifyAll(t, s)
}

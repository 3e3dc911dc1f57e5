package sqlite

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

// aBook makes a file with entries in it, closed, and returns its path.
func aBook(t testing.TB, entries int) string {
	t.Helper()
	path := newPath(t)
	s := open(t, path)
	fill(t, s, entries)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

func fill(t testing.TB, s *Store, entries int) {
	t.Helper()
	for i := range entries {
		id := fmt.Sprintf("L%d", i)
		storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", ledger.Acct("lot", id), 1, storetest.Rec("lot", id, "heat/1", `{}`)))
	}
}

func noError(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func writeFile(t testing.TB, path string, b []byte) {
	t.Helper()
	noError(t, os.WriteFile(path, b, 0o600))
}

// files returns the names and contents of all files in the folder of path.
func files(t testing.TB, path string) map[string]string {
	t.Helper()
	all := map[string]string{}
	list, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range list {
		b, err := os.ReadFile(filepath.Join(filepath.Dir(path), f.Name()))
		if err != nil {
			t.Fatal(err)
		}
		all[f.Name()] = string(b)
	}
	return all
}

// TestNotTouched: whatever is not a whole book of a known version is refused,
// and not a byte of it or beside it is changed.
func TestNotTouched(t *testing.T) {
	edit := func(fn func(b []byte) []byte) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			b, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			writeFile(t, path, fn(b))
		}
	}
	statement := func(statements ...string) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			db, err := sql.Open("sqlite", path)
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			for _, s := range statements {
				if _, err := db.Exec(s); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	for name, c := range map[string]struct {
		make func(t *testing.T, path string)
		want error
	}{
		"a text":                  {edit(func([]byte) []byte { return []byte("Zinc, 3 kg\n") }), ledger.ErrForeignFile},
		"a long text":             {edit(func([]byte) []byte { return bytes.Repeat([]byte("Zinc, 3 kg\n"), 1000) }), ledger.ErrForeignFile},
		"a folder":                {func(t *testing.T, path string) { noError(t, os.Remove(path)); noError(t, os.Mkdir(path, 0o755)) }, ledger.ErrForeignFile},
		"another SQLite program":  {func(t *testing.T, path string) { noError(t, os.Remove(path)); statement(`CREATE TABLE x (y)`)(t, path) }, ledger.ErrForeignFile},
		"an application id taken": {statement(`PRAGMA application_id = 252006673`), ledger.ErrForeignFile},
		"a newer schema":          {statement(`PRAGMA user_version = 9999`), ledger.ErrForeignFile},
		"no schema":               {statement(`PRAGMA user_version = 0`), ledger.ErrCorrupt},
		"a step it does not know": {statement(`UPDATE migration SET script = zeroblob(32)`), ledger.ErrCorrupt},
		"a step too few":          {statement(`DELETE FROM migration`), ledger.ErrCorrupt},
		"a table too many":        {statement(`CREATE TABLE x (y)`), ledger.ErrCorrupt},
		"a trigger too few":       {statement(`DROP TRIGGER entry_is_never_changed`), ledger.ErrCorrupt},
		"cut in a page":           {edit(func(b []byte) []byte { return b[:len(b)-1000] }), ledger.ErrCorrupt},
		"cut between pages":       {edit(func(b []byte) []byte { return b[:len(b)-4096] }), ledger.ErrCorrupt},
		"cut to a header":         {edit(func(b []byte) []byte { return b[:100] }), ledger.ErrCorrupt},
		"cut in the header":       {edit(func(b []byte) []byte { return b[:60] }), ledger.ErrForeignFile},
		"no schema page":          {edit(func(b []byte) []byte { clear(b[100:4096]); return b }), ledger.ErrCorrupt},
		"a page of zeros":         {edit(func(b []byte) []byte { clear(b[3*4096 : 4*4096]); return b }), ledger.ErrCorrupt},
		"a page of another":       {edit(func(b []byte) []byte { copy(b[3*4096:4*4096], b[5*4096:6*4096]); return b }), ledger.ErrCorrupt},
		"an impossible page size": {edit(func(b []byte) []byte { binary.BigEndian.PutUint16(b[16:], 4097); return b }), ledger.ErrCorrupt},
		"a log without its file":  {func(t *testing.T, path string) { noError(t, os.Rename(path, path+"-wal")) }, ledger.ErrCorrupt},
		"a newer schema and a log": {func(t *testing.T, path string) {
			statement(`PRAGMA user_version = 9999`)(t, path)
			writeFile(t, path+"-wal", []byte("log"))
		}, ledger.ErrForeignFile},
	} {
		t.Run(name, func(t *testing.T) {
			path := aBook(t, 40)
			c.make(t, path)
			if info, err := os.Stat(path); err == nil && info.IsDir() {
				wantOpenError(t, path, c.want)
				return
			}
			// What the tool that made the case left beside the file is part of it.
			before := files(t, path)
			wantOpenError(t, path, c.want)
			after := files(t, path)
			for name := range after {
				if _, was := before[name]; !was {
					t.Errorf("%s was made", name)
				}
			}
			for name, b := range before {
				if after[name] != b {
					t.Errorf("%s was changed", name)
				}
			}
		})
	}
}

func wantOpenError(t *testing.T, path string, want error) {
	t.Helper()
	s, err := Open(context.Background(), path, Options{})
	if err == nil {
		s.Close()
		t.Fatal("it was opened")
	}
	if !errors.Is(err, want) {
		t.Errorf("error %q, want class %q", err, want)
	}
	var e *ledger.Error
	if !errors.As(err, &e) || e.Reason == "" {
		t.Errorf("error %q has no reason", err)
	}
}

func TestOpenPaths(t *testing.T) {
	for _, path := range []string{"", ":memory:", "a\x00b"} {
		wantOpenError(t, path, ledger.ErrInvalid)
	}
	wantOpenError(t, filepath.Join(t.TempDir(), "no", "such", "folder"), ledger.ErrUnavailable)

	// A path means itself, whatever its characters mean to SQLite.
	for _, name := range []string{"a b.db", "a?mode=ro.db", "a%20b.db", "a#b.db", "file:x.db", "ö.db", "a&vfs=none"} {
		path := filepath.Join(t.TempDir(), name)
		s := open(t, path)
		fill(t, s, 1)
		s.Close()
		if _, err := os.Stat(path); err != nil {
			t.Errorf("%q: %v", name, err)
		}
		if left := files(t, path); len(left) != 2 { // and where it ends
			t.Errorf("%q: %d files are left after Close, want 2", name, len(left))
		}
	}

	empty := newPath(t)
	writeFile(t, empty, nil)
	open(t, empty).Close()
}

// TestOneOwner: a file has one store, in this process and among processes,
// under whatever name.
func TestOneOwner(t *testing.T) {
	if path := os.Getenv("REMELT_TEST_OPEN"); path != "" {
		s, err := Open(context.Background(), path, Options{})
		if err == nil {
			s.Close()
		}
		fmt.Println("RESULT", err)
		return
	}
	path := newPath(t)
	link := path + ".link"
	s := open(t, path)
	fill(t, s, 3)
	if err := os.Symlink(path, link); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{path, link} {
		_, err := Open(context.Background(), name, Options{})
		if !errors.Is(err, ledger.ErrUnavailable) || !inUse(err) || !strings.Contains(err.Error(), fmt.Sprint(os.Getpid())) {
			t.Errorf("a second Open: %v", err)
		}
		cmd := exec.Command(os.Args[0], "-test.run=^TestOneOwner$", "-test.v")
		cmd.Env = append(os.Environ(), "REMELT_TEST_OPEN="+name)
		out, err := cmd.CombinedOutput()
		if err != nil || !strings.Contains(string(out), "RESULT") || !strings.Contains(string(out), "only one server") {
			t.Errorf("a second process: %v %s", err, out)
		}
	}
	fill2 := func() {
		storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", "lot/X", 1))
	}
	fill2() // the refused ones have not disturbed it
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, link)
	fill2()
	storetest.VerifyAll(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	// A lock file left by a process that died is no lock.
	writeFile(t, path+".lock", []byte("1\n"))
	open(t, path).Close()
}

package sqlite

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"example.org/remelt/ledger"
)

// Backup writes a copy of all books, as they are at one moment, to a new file
// at path, while the store goes on working. The copy is compact and complete in
// one file, is checked after it was written (the structure of the file, not the
// chain of entries: ledger.Verify does that on the opened copy), and appears
// under its name only when it is whole and synced.
//
// Errors: ErrExists when there is something at path, which is never replaced;
// ErrUnavailable when it cannot be written; ErrCorrupt when the books are damaged.
func (s *Store) Backup(ctx context.Context, path string) error {
	if err := s.begin(); err != nil {
		return err
	}
	defer s.running.Done()
	path, err := filePath(path)
	if err != nil {
		return err
	}
	if err := absent(path); err != nil {
		return err
	}
	part, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*.part")
	if err != nil {
		return unavailable("CANNOT_WRITE", err)
	}
	part.Close()
	defer os.Remove(part.Name())
	if err := vacuumInto(ctx, s.path, copying, part.Name()); err != nil {
		return storeError(err)
	}
	if err := checkWhole(ctx, part.Name()); err != nil {
		return err
	}
	if err := syncFile(part.Name()); err != nil {
		return unavailable("CANNOT_WRITE", err)
	}
	return place(part.Name(), path)
}

// Place gives a finished file, such as a backup that was verified, its name on the
// same file system. A name that is taken is ErrExists.
func Place(part, path string) error {
	if err := syncFile(part); err != nil {
		return unavailable("CANNOT_WRITE", err)
	}
	return place(part, path)
}

// Restore puts a copy of the file from, which Backup made, at to. It checks the
// file first and never leaves half a file at to. With replace, what is at to is
// kept beside it as to + ".replaced-" and the time; without, it must not be there.
// No store may have either file open.
//
// Errors: ErrForeignFile and ErrCorrupt when from is not a whole file of books,
// ErrNotFound when it is not there, ErrExists when to is, ErrState when from has
// a log beside it and so is not complete in itself, ErrUnavailable when to is in
// use or cannot be written.
func Restore(ctx context.Context, from, to string, replace bool) error {
	from, err := filePath(from)
	if err != nil {
		return err
	}
	to, err = filePath(to)
	if err != nil {
		return err
	}
	if _, err := os.Stat(from); errors.Is(err, fs.ErrNotExist) {
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_FILE", Field: "from", Value: from, Want: "no file there"}
	}
	// Even looking at a book that a store of this process has open would harm it.
	// On a medium that cannot be written nobody has it open.
	if l, err := takeLock(from); err == nil {
		defer l.release() //nolint:errcheck // a lock file left behind is no lock
	} else if inUse(err) {
		return err
	}
	target, err := takeLock(to)
	if err != nil {
		return err
	}
	defer target.release() //nolint:errcheck // a lock file left behind is no lock
	if hasLog(from) {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NOT_A_BACKUP", Field: "from", Value: from,
			Want: "has a log beside it and is not complete without: make a backup of it instead"}
	}
	if version, err := inspect(from); err != nil {
		return err
	} else if version == 0 {
		return errForeign(from, "not a metal book: empty")
	}
	if !replace {
		if err := absent(to); err != nil {
			return err
		}
		if err := strayLog(to); err != nil {
			return err
		}
	}
	part := to + ".part"
	defer os.Remove(part)
	if err := copyFile(ctx, from, part); err != nil {
		return unavailable("CANNOT_WRITE", err)
	}
	if err := checkWhole(ctx, part); err != nil {
		return err
	}
	aside := to + ".replaced-" + time.Now().UTC().Format("20060102T150405.000")
	if replace {
		if err := setAside(to, aside); err != nil {
			return unavailable("CANNOT_WRITE", err)
		}
	}
	if err := forgetEnds(to, aside); err != nil { // of another state, whoever moved it away
		return unavailable("CANNOT_WRITE", err)
	}
	return place(part, to)
}

// setAside renames what is at path, with its log.
func setAside(path, aside string) error {
	// A log left behind would be taken for the new file's. Folded into its own
	// file there is none; the file of another program is moved as it is.
	if _, err := inspect(path); err == nil && hasLog(path) {
		if c, err := openConn(path, writing); err == nil {
			_ = c.exec(`SELECT count(*) FROM shop`) // what cannot be read is moved with its log
			c.discard()
		}
	}
	for _, end := range []string{"-wal", "-shm", ""} { // the file last: until then it is all there
		if err := os.Rename(path+end, aside+end); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// vacuumInto writes a compact copy of one file to another, which must be empty.
func vacuumInto(ctx context.Context, path string, m mode, to string) error {
	c, err := openConn(path, m)
	if err != nil {
		return err
	}
	defer c.discard()
	err = c.once(ctx, `VACUUM INTO ?`, to)
	return err
}

// checkWhole reads all of a file that nobody has open and says what is wrong
// with its structure.
func checkWhole(ctx context.Context, path string) error {
	if _, err := inspect(path); err != nil {
		return err
	}
	return checkStructure(ctx, path, `PRAGMA integrity_check`, `SELECT 'broken reference' FROM pragma_foreign_key_check UNION ALL SELECT 'ok' LIMIT 1`)
}

func checkStructure(ctx context.Context, path string, checks ...string) error {
	c, err := openConn(path, immutable)
	if err != nil {
		return errUnread(path, err)
	}
	defer c.discard()
	for _, check := range checks {
		var says string
		if err := c.onceOne(ctx, check, &says); err != nil {
			if ctx.Err() != nil {
				return unavailable("CANCELLED", err)
			}
			return errUnread(path, err)
		}
		if err := soundness(says); errors.Is(err, ledger.ErrCorrupt) {
			return errDamagedFile(path, "%s", says)
		} else if err != nil {
			return err
		}
	}
	return nil
}

// place gives a finished file its name, which must be free, and makes it durable.
func place(part, path string) error {
	err := os.Link(part, path)
	if err != nil && !errors.Is(err, fs.ErrExist) { // a file system without links
		if err := absent(path); err != nil {
			return err
		}
		err = os.Rename(part, path)
	}
	if err == nil {
		err = syncDir(filepath.Dir(path))
	}
	if errors.Is(err, fs.ErrExist) {
		return errExists(path)
	}
	if err != nil {
		return unavailable("CANNOT_WRITE", err)
	}
	return nil
}

func absent(path string) error {
	_, err := os.Lstat(path)
	switch {
	case err == nil:
		return errExists(path)
	case errors.Is(err, fs.ErrNotExist):
		return nil
	}
	return unavailable("CANNOT_WRITE", err)
}

func errExists(path string) error {
	return &ledger.Error{Class: ledger.ErrExists, Reason: "FILE_EXISTS", Field: "path", Value: path, Want: "there is a file already; it is not replaced"}
}

func copyFile(ctx context.Context, from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer out.Close()
	for {
		_, err := io.CopyN(out, in, 8<<20)
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = ctx.Err()
		}
		if err != nil {
			return err
		}
	}
	return out.Sync()
}

func syncFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// hasLog tells whether there is a write-ahead log with something in it.
func hasLog(path string) bool {
	info, err := os.Stat(path + "-wal")
	return err == nil && info.Size() > 0
}

// strayLog refuses a log without its file: it would be taken for that of the
// new file put there.
func strayLog(path string) error {
	if _, err := os.Stat(path); err != nil && hasLog(path) {
		return errDamagedFile(path, "the file is gone but its log %s is there: put the file back, or move the log away", filepath.Base(path)+"-wal")
	}
	return nil
}

func inUse(err error) bool {
	var e *ledger.Error
	return errors.As(err, &e) && e.Reason == "BOOK_IN_USE"
}

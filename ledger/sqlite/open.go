package sqlite

import (
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"example.org/remelt/ledger"
)

// applicationID marks a file of metal books in its header ("RMLT"), so that it
// is not taken for another program's, nor theirs for ours.
const applicationID = 0x524D4C54

// filePath returns the absolute path of the file itself, links resolved, so
// that one file has one lock.
func filePath(path string) (string, error) {
	if path == "" || path == ":memory:" || strings.ContainsRune(path, 0) {
		return "", &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PATH", Field: "path", Value: path,
			Want: "must be the path of a file; for books in memory there is another store"}
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", unavailable("BAD_PATH", err)
	}
	file, err := filepath.EvalSymlinks(abs)
	if errors.Is(err, fs.ErrNotExist) {
		dir, err := filepath.EvalSymlinks(filepath.Dir(abs))
		if err != nil {
			return "", unavailable("CANNOT_OPEN", err)
		}
		return filepath.Join(dir, filepath.Base(abs)), nil
	}
	if err != nil {
		return "", unavailable("CANNOT_OPEN", err)
	}
	return file, nil
}

// prepare makes path a file of the newest schema, or says why it is not to be
// touched. The caller holds its lock and no connection to it is open.
func prepare(ctx context.Context, path string) error {
	version, err := inspect(path)
	if err != nil {
		return err
	}
	switch {
	case version == 0:
		if err := cmp.Or(strayLog(path), strayEnds(path)); err != nil {
			return err
		}
		return create(ctx, path)
	case version < newest():
		return upgrade(ctx, path, version)
	}
	return nil
}

// inspect returns the schema version of the file at path, 0 if there is none or
// it is empty. It only reads, and makes no file beside it. That the header can
// be believed while there is a log beside the file follows from how files are
// made: the version never changes in place.
func inspect(path string) (version int, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, unavailable("CANNOT_OPEN", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return 0, unavailable("CANNOT_OPEN", err)
	}
	if !info.Mode().IsRegular() {
		return 0, errForeign(path, "not a plain file")
	}
	if info.Size() == 0 {
		return 0, nil
	}
	h := make([]byte, 100)
	if _, err := io.ReadFull(f, h); err != nil || string(h[:16]) != "SQLite format 3\x00" {
		return 0, errForeign(path, "not a metal book: no SQLite header")
	}
	// https://www.sqlite.org/fileformat2.html#the_database_header
	u32 := func(at int) int64 { return int64(binary.BigEndian.Uint32(h[at:])) }
	pageSize, pages, fresh := int64(binary.BigEndian.Uint16(h[16:])), u32(28), u32(24) == u32(92)
	if pageSize == 1 {
		pageSize = 65536
	}
	version = int(u32(60))
	switch {
	case u32(68) != applicationID:
		return 0, errForeign(path, "an SQLite file of another program")
	case version > newest():
		return 0, errForeign(path, "a metal book of schema %d; this program knows up to %d: use a newer program", version, newest())
	case version < 1:
		return 0, errDamagedFile(path, "schema version %d", version)
	case pageSize < 512 || pageSize&(pageSize-1) != 0:
		return 0, errDamagedFile(path, "page size %d", pageSize)
	}
	if err := checkSchema(path, version); err != nil {
		return 0, err
	}
	if hasLog(path) { // what it holds may be what mends the file: SQLite is to see both
		return version, nil
	}
	if info.Size()%pageSize != 0 || fresh && info.Size() < pages*pageSize {
		return 0, errDamagedFile(path, "%d bytes long, should be %d: cut short", info.Size(), pages*pageSize)
	}
	if info.Size() <= smallFile {
		return version, checkStructure(context.Background(), path, `PRAGMA integrity_check(1)`)
	}
	return version, nil
}

// smallFile is up to what size a file is read whole when it is opened, which
// takes about a tenth of a second. Damage in a larger one is found on reading
// the damaged part, or by ledger.Verify.
var smallFile int64 = 16 << 20

func errDamagedFile(path, format string, args ...any) error {
	return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Field: "path", Value: path, Want: fmt.Sprintf(format, args...)}
}

package sqlite

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"example.org/remelt/ledger"
)

const diskFull = "DISK_FULL"

func isFull(err error) bool {
	var e *ledger.Error
	return errors.As(err, &e) && e.Reason == diskFull
}

// storeError translates a fault of the file into the ledger's classes; nothing
// was recorded.
func storeError(err error) error {
	if err == nil {
		return nil
	}
	var known *ledger.Error
	if errors.As(err, &known) {
		return err
	}
	var e *sqlite.Error
	if errors.As(err, &e) {
		if e.Code() == lib.SQLITE_IOERR_SHMSIZE { // the file beside the book that readers and writers share cannot grow
			return unavailable(diskFull, fmt.Errorf("the disk is full: %w", err))
		}
		switch e.Code() & 0xff {
		case lib.SQLITE_CORRUPT, lib.SQLITE_NOTADB, lib.SQLITE_CONSTRAINT, lib.SQLITE_MISMATCH:
			return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Cause: err}
		case lib.SQLITE_FULL:
			return unavailable(diskFull, err)
		case lib.SQLITE_READONLY:
			return unavailable("CANNOT_WRITE", fmt.Errorf("the file of the book, or its folder, may only be read by whoever runs the server: %w", err))
		}
	}
	return unavailable("STORE_FAULT", err)
}

func unavailable(reason string, cause error) error {
	return &ledger.Error{Class: ledger.ErrUnavailable, Reason: reason, Want: ledger.NothingRecorded, Cause: cause}
}

func errDamaged(format string, args ...any) error {
	return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Want: fmt.Sprintf(format, args...)}
}

func errForeign(path, format string, args ...any) error {
	return &ledger.Error{Class: ledger.ErrForeignFile, Reason: "FOREIGN_FILE", Field: "path", Value: path,
		Want: fmt.Sprintf(format, args...)}
}

// errUnread is of a file that could not be read: because the disk or the system
// did not let it, or because of what is in it.
func errUnread(path string, err error) error {
	var e *sqlite.Error
	if errors.As(err, &e) {
		switch e.Code() & 0xff {
		case lib.SQLITE_IOERR, lib.SQLITE_CANTOPEN, lib.SQLITE_PERM, lib.SQLITE_READONLY, lib.SQLITE_NOMEM, lib.SQLITE_FULL, lib.SQLITE_BUSY:
			return unavailable("CANNOT_READ", err)
		}
	}
	return errDamagedFile(path, "cannot be read: %v", err)
}

// diskGave tells whether what a check of a file's structure says is about what
// is in the file, and not that the disk did not give a page of it.
func diskGave(says string) bool {
	for _, m := range unreadPage.FindAllStringSubmatch(says, -1) {
		if code, err := strconv.Atoi(m[1]); err == nil && code&0xff == lib.SQLITE_IOERR {
			return false
		}
	}
	return true
}

var unreadPage = regexp.MustCompile(`error code=(\d+)`)

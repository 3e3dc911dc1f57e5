package postgres

import (
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5/pgconn"

	"example.org/remelt/ledger"
)

// storeError translates a fault of the database into the ledger's classes;
// nothing was recorded. What each code means:
// https://www.postgresql.org/docs/15/errcodes-appendix.html
func storeError(err error) error {
	if err == nil {
		return nil
	}
	var known *ledger.Error
	if errors.As(err, &known) {
		return err
	}
	switch code := sqlState(err); {
	case code == "":
		return unavailable("STORE_FAULT", err)
	case code[:2] == "22", code[:2] == "23", code[:2] == "XX": // data, constraints, damage
		return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Cause: err}
	case code == "53100":
		return unavailable("DISK_FULL", err)
	}
	return unavailable("STORE_FAULT", err)
}

// sqlState returns the five letters by which the database names an error, "" for
// an error that is not the database's.
func sqlState(err error) string {
	var e *pgconn.PgError
	if errors.As(err, &e) && len(e.Code) == 5 {
		return e.Code
	}
	return ""
}

// conflicted tells whether a transaction was given up in favour of another and
// is to be run again from the start.
func conflicted(err error) bool {
	switch sqlState(err) {
	case "40001", "40P01": // serialization_failure, deadlock_detected
		return true
	}
	return false
}

// certain tells whether err, which came while committing, says that nothing was
// committed: the database itself refused, and is there to say so.
func certain(err error) bool {
	var e *pgconn.PgError
	return errors.As(err, &e) && e.SeverityUnlocalized == "ERROR"
}

func unavailable(reason string, cause error) error {
	return &ledger.Error{Class: ledger.ErrUnavailable, Reason: reason, Want: ledger.NothingRecorded, Cause: cause}
}

func errDamaged(format string, args ...any) error {
	return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Want: fmt.Sprintf(format, args...)}
}

func errForeign(database, format string, args ...any) error {
	return &ledger.Error{Class: ledger.ErrForeignFile, Reason: "FOREIGN_DATABASE", Field: "database", Value: database,
		Want: fmt.Sprintf(format, args...)}
}

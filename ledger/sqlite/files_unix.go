//go:build unix

package sqlite

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"syscall"

	"example.org/remelt/ledger"
)

// lock keeps other processes, and other Opens of this one, away from a file of
// books. It is held on a file beside it and ends with the process: closing any
// descriptor of the book itself would drop SQLite's own locks.
type lock struct{ f *os.File }

// takeLock takes the lock or says who has it. It does not wait.
func takeLock(path string) (*lock, error) {
	side := path + ".lock"
	for {
		f, err := os.OpenFile(side, os.O_RDWR|os.O_CREATE, 0o600)
		if err != nil {
			return nil, unavailable("CANNOT_LOCK", err)
		}
		err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if errors.Is(err, syscall.EWOULDBLOCK) {
			defer f.Close()
			return nil, errInUse(path, f)
		}
		if err != nil {
			f.Close()
			return nil, unavailable("CANNOT_LOCK", err)
		}
		// The one who had it may have removed the file before we got it.
		have, err1 := f.Stat()
		now, err2 := os.Stat(side)
		if err1 != nil || err2 != nil || !os.SameFile(have, now) {
			f.Close()
			continue
		}
		if f.Truncate(0) == nil {
			fmt.Fprintf(f, "%d\n", os.Getpid()) // for people; nothing reads it as a fact
		}
		return &lock{f}, nil
	}
}

func errInUse(path string, f *os.File) error {
	by := make([]byte, 20)
	n, _ := f.Read(by)
	return &ledger.Error{Class: ledger.ErrUnavailable, Reason: "BOOK_IN_USE", Field: "path", Value: path,
		Want: "only one server may have the book open; process " + strings.TrimSpace(string(by[:n])) + " has it"}
}

// release removes the side file while still holding it, then lets go.
func (l *lock) release() error {
	return errors.Join(os.Remove(l.f.Name()), l.f.Close())
}

// syncDir makes the names in a folder durable.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

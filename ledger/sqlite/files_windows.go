package sqlite

import (
	"errors"
	"syscall"

	"example.org/remelt/ledger"
)

// lock keeps other processes, and other Opens of this one, away from a file of
// books: a file beside it that is open to nobody else and that the system
// removes with the last handle.
type lock struct{ h syscall.Handle }

// takeLock takes the lock or says that it is taken. It does not wait.
func takeLock(path string) (*lock, error) {
	const deleteOnClose = 0x04000000 // FILE_FLAG_DELETE_ON_CLOSE
	name, err := syscall.UTF16PtrFromString(path + ".lock")
	if err != nil {
		return nil, unavailable("CANNOT_LOCK", err)
	}
	h, err := syscall.CreateFile(name, syscall.GENERIC_READ|syscall.GENERIC_WRITE, 0, nil,
		syscall.CREATE_ALWAYS, syscall.FILE_ATTRIBUTE_NORMAL|deleteOnClose, 0)
	const sharingViolation = syscall.Errno(32)
	if errors.Is(err, sharingViolation) {
		return nil, &ledger.Error{Class: ledger.ErrUnavailable, Reason: "BOOK_IN_USE", Field: "path", Value: path,
			Want: "only one server may have the book open; another process has it"}
	}
	if err != nil {
		return nil, unavailable("CANNOT_LOCK", err)
	}
	return &lock{h}, nil
}

func (l *lock) release() error { return syscall.CloseHandle(l.h) }

// syncDir does nothing: there a folder has no sync of its own.
func syncDir(string) error { return nil }

//go:build unix

package sqlite

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

const readOnlyEnv = "REMELT_TEST_READ_ONLY"

// TestAFileThatMayOnlyBeRead can be read, and says of each write, also of one that
// records nothing, that it cannot be made, and why: SQLite itself says nothing until
// something is written. Whoever may do everything is nobody else's for the while.
func TestAFileThatMayOnlyBeRead(t *testing.T) {
	if path := os.Getenv(readOnlyEnv); path != "" {
		tryWriting(t, path)
		return
	}
	dir, err := os.MkdirTemp("", "remelt-read-only-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	path := filepath.Join(dir, "book.db")
	s := open(t, path)
	storetest.Put(t, s, "harrow", storetest.Move("supplier/S1", "lot/L1", 5))
	if err := errors.Join(s.Close(), os.Chmod(path, 0o444), os.Chmod(dir, 0o777)); err != nil { // somebody else makes the lock beside it
		t.Fatal(err)
	}
	if os.Geteuid() != 0 {
		tryWriting(t, path)
		return
	}
	itself, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "test") // where somebody else may run it
	if err := errors.Join(copyFile(t.Context(), itself, program), os.Chmod(program, 0o755)); err != nil {
		t.Fatal(err)
	}
	c := exec.CommandContext(t.Context(), program, "-test.run=^TestAFileThatMayOnlyBeRead$", "-test.v")
	c.Dir, c.Env = dir, append(os.Environ(), readOnlyEnv+"="+path)
	c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	if out, err := c.CombinedOutput(); err != nil || !strings.Contains(string(out), "tried writing") {
		t.Errorf("%v\n%s", err, out)
	}
}

func tryWriting(t *testing.T, path string) {
	t.Helper()
	s, err := Open(t.Context(), path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	shops, err := s.Shops(t.Context())
	if err != nil || fmt.Sprint(shops) != "[harrow]" {
		t.Errorf("shops %v, %v", shops, err)
	}
	none := errors.New("nothing to write")
	for range 2 {
		err := s.Update(context.Background(), "probe", func(ledger.Tx) error { return none })
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != "CANNOT_WRITE" || !errors.Is(err, ledger.ErrUnavailable) || !strings.Contains(err.Error(), "may only be read") {
			t.Errorf("writing: %v", err)
		}
	}
	t.Log("tried writing")
}

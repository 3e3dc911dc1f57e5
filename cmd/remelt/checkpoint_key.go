package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"

	"github.com/spf13/cobra"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/checkpoint"
)

func (a *app) checkpointKeyCommand() *cobra.Command {
	var name string
	c := &cobra.Command{
		Use:   "key FILE",
		Short: "Make the pair of keys that notes are signed and checked with",
		Long: "Make the pair of keys that notes are signed and checked with: FILE, for its owner's eyes\n" +
			"only, signs; FILE.pub, which anybody may have, checks. Neither replaces a file that is there.",
		Args: exactly("FILE"),
	}
	c.Flags().StringVar(&name, "name", "remelt", "a name that stands on each note, without spaces")
	c.RunE = func(_ *cobra.Command, args []string) error {
		private, public, err := checkpoint.NewKey(name)
		if err != nil {
			return err
		}
		pub := args[0] + ".pub"
		if _, err := os.Lstat(pub); err == nil {
			return keyExists(pub)
		}
		if err := writeNew(args[0], private+"\n", 0o600); err != nil {
			return err
		}
		if err := writeNew(pub, public+"\n", 0o644); err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%s signs: keep it to yourself, and not where the book is.\n%s checks:\n  %s\n", args[0], pub, public)
		return nil
	}
	noFiles(c, "name")
	return c
}

// writeNew makes a file that must not be there.
func writeNew(path, content string, mode fs.FileMode) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if errors.Is(err, fs.ErrExist) {
		return keyExists(path)
	}
	if err != nil {
		return err
	}
	_, err = f.WriteString(content)
	return errors.Join(err, f.Sync(), f.Close())
}

func keyExists(path string) error {
	return &ledger.Error{Class: ledger.ErrExists, Reason: "FILE_EXISTS", Field: "FILE", Value: path,
		Want: "is there already; what it signed could not be checked without it, so it is not replaced"}
}

// readPrivateKey reads a private key that nobody else could have read.
func readPrivateKey(path string) (string, error) {
	if path == "" {
		return "", usagef("say with --key which private key to sign with; remelt checkpoint key makes one")
	}
	info, err := os.Stat(path)
	if err != nil {
		return "", noKey(path, err)
	}
	if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 { // modes say nothing there
		return "", &ledger.Error{Class: ledger.ErrInvalid, Reason: "KEY_OPEN_TO_OTHERS", Field: "--key", Value: path,
			Want: fmt.Sprintf("can be read by others (mode %04o): chmod 600 it, or make a new key", info.Mode().Perm())}
	}
	raw, err := os.ReadFile(path)
	return string(raw), err
}

func noKey(path string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_FILE", Field: "--key", Value: path, Want: "no file there"}
	}
	return err
}

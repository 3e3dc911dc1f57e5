package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// backupOf gives copies of a shop's book as a file: made while the store works,
// verified, then sent. They hold nothing of other shops of the same store: whoever
// manages one shop may have them.
func backupOf(store ledger.Store) func(ctx context.Context, shop string, w io.Writer, progress func(done, total int64)) (ledger.Verified, error) {
	return func(ctx context.Context, shop string, w io.Writer, progress func(done, total int64)) (v ledger.Verified, err error) {
		beside := os.TempDir()
		if file, ok := store.(*sqlite.Store); ok {
			beside = filepath.Dir(file.Path())
		}
		dir, err := os.MkdirTemp(beside, ".remelt-backup-")
		if err != nil {
			return v, &ledger.Error{Class: ledger.ErrUnavailable, Reason: "CANNOT_WRITE", Want: "there is no room for the copy", Cause: err}
		}
		defer os.RemoveAll(dir)
		path := filepath.Join(dir, "copy.db")
		if err := copyBooks(ctx, store, path, []string{shop}); err != nil {
			return v, err
		}
		if v, err = verifyFile(ctx, path, shop); err != nil {
			return v, err
		}
		f, err := os.Open(path)
		if err != nil {
			return v, err
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return v, err
		}
		for done := int64(0); done < info.Size(); progress(done, info.Size()) {
			n, err := io.CopyN(w, f, min(1<<20, info.Size()-done))
			if done += n; err != nil {
				return v, err
			}
		}
		return v, nil
	}
}

// copyBooks copies the books of shops to a new file, while the store works. The file
// is whole when it is closed. A file of no other shops is copied as it is.
func copyBooks(ctx context.Context, store ledger.Store, path string, shops []string) error {
	all, err := store.Shops(ctx)
	if err != nil {
		return err
	}
	if file, ok := store.(*sqlite.Store); ok && slices.Equal(all, shops) {
		return file.Backup(ctx, path)
	}
	to, err := sqlite.Open(ctx, path, sqlite.Options{Readers: 1})
	if err != nil {
		return err
	}
	for _, shop := range shops {
		if _, err = ledger.Copy(ctx, store, to, shop, nil); err != nil {
			break
		}
	}
	return errors.Join(err, to.Close())
}

// verifyFile verifies a shop's book in a file that nobody has open.
func verifyFile(ctx context.Context, path, shop string) (v ledger.Verified, err error) {
	copied, err := sqlite.Open(ctx, path, sqlite.Options{Readers: 1})
	if err != nil {
		return v, err
	}
	v, err = ledger.Verify(ctx, copied, shop, nil)
	return v, errors.Join(err, copied.Close())
}

func (a *app) backupCommand() *cobra.Command {
	var overwrite bool
	c := &cobra.Command{
		Use:   "backup FILE",
		Short: "Fetch a verified copy of the book while the server works",
		Long: "Fetch a copy of the book while the server works. The copy is verified where it is made, and\n" +
			"its checksum when it arrives; FILE appears only when it is whole. It holds the book of\n" +
			"one shop; those that a server makes by itself (serve --backup-to) hold all its shops.",
		Args: exactly("FILE"),
	}
	c.Flags().BoolVar(&overwrite, "overwrite", false, "replace FILE if it is there")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		var r *pb.BackupResult
		err = writeFile(args[0], overwrite, func(w io.Writer) (err error) {
			told, end := a.progress("backup")
			defer end()
			r, err = cl.Backup(c.Context(), parent, w, told)
			return err
		})
		if err != nil {
			return err
		}
		err = a.show(c.Context(), r, func(p *page) {
			p.printf("%s: %d bytes\n  SHA-256 %s\n", args[0], r.GetSizeBytes(), r.GetSha256())
			p.verification(r.GetVerification())
			p.printf("Keep the hash of the last entry somewhere else: it proves that nothing was cut off.\n")
		})
		if err == nil && !r.GetVerification().GetWhole() {
			err = statusError(exitUnexpected)
		}
		return err
	}
	return c
}

func (a *app) restoreCommand() *cobra.Command {
	var db string
	var overwrite bool
	c := &cobra.Command{
		Use:   "restore FILE --db NEW",
		Short: "Put a backup in place as the file of a server that is not running",
		Long: "Put a backup in place, on this machine, as the file of a server that is not running. The\n" +
			"backup is checked first. A file that is there is not replaced unless --overwrite, and then\n" +
			"it is kept beside the new one.",
		Args: exactly("FILE"),
	}
	c.Flags().StringVar(&db, "db", "", "the file to make")
	c.Flags().BoolVar(&overwrite, "overwrite", false, "put it in the place of a file that is there, which is kept beside it")
	c.RunE = func(c *cobra.Command, args []string) error {
		if db == "" {
			return usagef("say with --db which file to make")
		}
		ctx := c.Context()
		if err := sqlite.Restore(ctx, args[0], db, overwrite); errors.Is(err, ledger.ErrExists) {
			return fileExists("--db", db)
		} else if err != nil {
			return err
		}
		store, err := sqlite.Open(ctx, db, sqlite.Options{Readers: 2}) // verifying takes two
		if err != nil {
			return err
		}
		defer store.Close()
		ids, err := store.Shops(ctx)
		if err != nil {
			return err
		}
		damaged := false
		for _, id := range ids {
			v, err := ledger.Verify(ctx, store, id, nil)
			if err != nil {
				return err
			}
			r := verificationOf(v)
			damaged = damaged || v.Fault != nil
			if a.json() {
				if err := writeJSON(a.out, r); err != nil {
					return err
				}
				continue
			}
			p := a.page(units{})
			p.printf("Shop %s: ", id)
			p.verification(r)
			if err := p.Flush(); err != nil {
				return err
			}
		}
		if damaged {
			return statusError(exitUnexpected)
		}
		if !a.json() {
			fmt.Fprintf(a.out, "%s is in place; start it with remelt serve --db %s\n", db, db)
		}
		return nil
	}
	return c
}

func fileExists(field, path string) error {
	return &ledger.Error{Class: ledger.ErrExists, Reason: "FILE_EXISTS", Field: field, Value: path, Want: "is there already; it is replaced only with --overwrite"}
}

// writeFile makes a file that appears under its name only when it is whole.
func writeFile(path string, overwrite bool, write func(io.Writer) error) error {
	if _, err := os.Lstat(path); err == nil && !overwrite {
		return fileExists("FILE", path)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	part, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*.part")
	if err != nil {
		return err
	}
	defer os.Remove(part.Name())
	err = errors.Join(write(part), part.Sync(), part.Close())
	if err != nil {
		return err
	}
	return os.Rename(part.Name(), path)
}

package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"runtime/debug"
	"sync/atomic"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// verifiedFirst is up to what size in bytes a file is verified before it is served, which
// takes a quarter of a second. By its size, since what it says of itself may be wrong.
var verifiedFirst int64 = 32 << 20

// verifiedLast is how many of the last entries of a larger file are verified all the
// same: new ones are to follow them.
const verifiedLast = 100

// check verifies a file of books: it derives every book in it again, as nothing else
// would notice a balance that a bad disk has changed. A database has its own checksums,
// and servers that were looking at it all along.
type check struct {
	file      *sqlite.Store
	log       *slog.Logger
	shops     []string
	served    bool
	done, all atomic.Int64 // entries; all of those there were as it began
}

// verifyFirst verifies a file before any of it is served, unless that takes too long:
// then it returns what is to be done while it is served.
func verifyFirst(ctx context.Context, file *sqlite.Store, log *slog.Logger) (later *check, err error) {
	c := &check{file: file, log: log, served: bytesOf(file.Path()) > verifiedFirst && !exists(foundDamaged(file.Path()))}
	if c.shops, err = file.Shops(ctx); err != nil {
		return nil, err
	}
	for _, id := range c.shops {
		// What sign-ins are checked against is in no entry; that all of it can be
		// read is asked now, not when somebody signs in.
		if _, err := file.AllSecrets(ctx, id); err != nil {
			return nil, err
		}
		if c.served {
			if err := c.end(ctx, id); err != nil {
				return nil, err
			}
		}
	}
	if c.served {
		return c, nil
	}
	if err := c.rest(ctx); err != nil {
		return nil, err
	}
	if mark := foundDamaged(file.Path()); exists(mark) { // another file is in its place now
		err = os.Remove(mark)
	}
	return nil, err
}

// foundDamaged is a file that is there once damage was found while a book was served. It
// is not served again then before it is verified, also if it is started again and again.
func foundDamaged(path string) string { return path + ".damaged" }

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// bytesOf is how large a file is with its log.
func bytesOf(path string) (n int64) {
	for _, name := range []string{path, path + "-wal"} {
		if info, err := os.Stat(name); err == nil {
			n += info.Size()
		}
	}
	return n
}

// end verifies the last entries of a book and what leads to them.
func (c *check) end(ctx context.Context, id string) error {
	var head, from ledger.Head
	if err := c.file.View(ctx, id, func(r ledger.Reader) (err error) {
		if head, err = r.Head(); err != nil || head.Seq <= verifiedLast {
			return err
		}
		last, err := r.Log(head.Seq-verifiedLast-1, 1)
		if err == nil && len(last) == 1 {
			from = ledger.Head{Seq: last[0].Seq, Hash: last[0].Hash}
		}
		return err
	}); err != nil {
		return err
	}
	c.all.Add(head.Seq)
	v, err := ledger.VerifyAfter(ctx, c.file, id, from, nil)
	if err == nil && v.Fault != nil {
		err = c.damaged(id, v, "not served")
	}
	return err
}

// rest verifies the file. What is wrong with it is an error.
func (c *check) rest(ctx context.Context) error {
	defer debug.FreeOSMemory() // a book of millions of entries takes hundreds of megabytes to verify, and few to serve
	for _, id := range c.shops {
		before := c.done.Load()
		v, err := ledger.Verify(ctx, c.file, id, func(done, _ int64) { c.done.Store(before + done) })
		if err != nil {
			return err
		}
		if v.Fault != nil && c.served {
			err := c.damaged(id, v, "served no longer")
			return errors.Join(err, os.WriteFile(foundDamaged(c.file.Path()), []byte(err.Error()+"\n"), 0o600))
		}
		if v.Fault != nil {
			return c.damaged(id, v, "not served")
		}
		c.log.Info("the book is whole", "shop", id, "entries", v.Entries, "head", v.Head.String())
	}
	c.done.Store(c.all.Load())
	return nil
}

// progress tells how many entries are verified of how many, of a file that is served
// meanwhile.
func (c *check) progress() (done, all int64) {
	if c == nil {
		return 0, 0
	}
	return min(c.done.Load(), c.all.Load()), c.all.Load()
}

func (c *check) damaged(shop string, v ledger.Verified, served string) error {
	right, mend := fmt.Sprintf("; the %d before it are right", v.Entries), "put a backup in its place with remelt restore"
	wrong := fmt.Sprintf("entry %d %s", v.Fault.Seq, v.Fault.What)
	if v.Fault.Seq == 0 {
		right, mend = "; its entries are right", "remelt copy makes a new file from the entries"
		wrong = v.Fault.What
	}
	if v.After > 0 { // the others were not looked at
		right, mend = "", "put a backup in its place with remelt restore"
	}
	return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Field: "--db", Value: c.file.Path(),
		Want: fmt.Sprintf("the book of shop %s is damaged: %s%s. It is %s: %s", shop, wrong, right, served, mend)}
}

package main

import (
	"bytes"
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
	over      atomic.Bool
}

// verifyFirst verifies a file before any of it is served, unless that takes too long:
// then it returns what is to be done while it is served.
func verifyFirst(ctx context.Context, file *sqlite.Store, log *slog.Logger) (later *check, err error) {
	c := &check{file: file, log: log, served: bytesOf(file.Path()) > verifiedFirst}
	if c.served && marked(file.Path()) {
		c.served = false
		log.Warn("it was damaged when it was served last: verifying first", "file", file.Path())
	}
	if c.shops, err = file.Shops(ctx); err != nil {
		return nil, err
	}
	for _, id := range c.shops {
		// What sign-ins are checked against is in no entry; that all of it can be
		// read is asked now, not when somebody signs in.
		if _, err := file.AllSecrets(ctx, id); err != nil {
			return nil, err
		}
		if !c.served {
			continue
		}
		if sound, err := c.end(ctx, id); err != nil {
			return nil, err
		} else if !sound {
			c.served = false // all of it will say what is wrong
		}
	}
	if c.served {
		return c, nil
	}
	if err := c.rest(ctx); err != nil || !marked(file.Path()) {
		return nil, err
	}
	log.Info("it is whole again", "file", file.Path())
	return nil, os.Remove(markOf(file.Path()))
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

// markOf is a file that is there once damage was found while a book was served. It is
// not served again then before it is verified, also if it is started again and again.
func markOf(path string) string { return path + ".verify-first" }

const markWords = "remelt serve found this book damaged, and verifies it before it serves it again:\n"

// marked reports whether a book has such a file; another of its name is somebody else's.
func marked(path string) bool {
	says, err := os.ReadFile(markOf(path))
	return err == nil && bytes.HasPrefix(says, []byte(markWords))
}

// end reports whether the last entries of a book and what leads to them are right.
func (c *check) end(ctx context.Context, id string) (sound bool, err error) {
	var head, from ledger.Head
	err = c.file.View(ctx, id, func(r ledger.Reader) (err error) {
		if head, err = r.Head(); err != nil || head.Seq <= verifiedLast {
			return err
		}
		last, err := r.Log(head.Seq-verifiedLast-1, 1)
		if err == nil && len(last) == 1 {
			from = ledger.Head{Seq: last[0].Seq, Hash: last[0].Hash}
		}
		return err
	})
	c.all.Add(head.Seq)
	var v ledger.Verified
	if err == nil {
		v, err = ledger.VerifyAfter(ctx, c.file, id, from, nil)
	}
	if errors.Is(err, ledger.ErrCorrupt) {
		return false, nil
	}
	return v.Fault == nil, err
}

// rest verifies the file. What is wrong with it is an error.
func (c *check) rest(ctx context.Context) error {
	defer debug.FreeOSMemory() // a book of millions of entries takes hundreds of megabytes to verify, and few to serve
	for _, id := range c.shops {
		before := c.done.Load()
		v, err := ledger.Verify(ctx, c.file, id, func(done, _ int64) { c.done.Store(before + done) })
		if v.Fault != nil {
			err = c.damaged(id, v)
		} else if errors.Is(err, ledger.ErrCorrupt) {
			err = c.wrong(id, fmt.Sprintf("it cannot be read (%v)", err), restored)
		}
		if c.served && errors.Is(err, ledger.ErrCorrupt) {
			err = errors.Join(err, os.WriteFile(markOf(c.file.Path()), []byte(markWords+err.Error()+"\n"), 0o600))
		}
		if err != nil {
			return err
		}
		c.log.Info("the book is whole", "shop", id, "entries", v.Entries, "head", v.Head.String())
	}
	c.over.Store(true)
	return nil
}

// progress tells how many entries are verified of how many, of a file that is served
// meanwhile. The last is not until all that follows from them is.
func (c *check) progress() (done, all int64) {
	all = c.all.Load()
	if c.over.Load() {
		return all, all
	}
	return max(0, min(c.done.Load(), all-1)), all
}

func (c *check) damaged(shop string, v ledger.Verified) error {
	if v.Fault.Seq == 0 {
		return c.wrong(shop, v.Fault.What+"; its entries are right", "remelt copy makes a new file from the entries")
	}
	return c.wrong(shop, fmt.Sprintf("entry %d %s; the %d before it are right", v.Fault.Seq, v.Fault.What, v.Entries), restored)
}

const restored = "put a backup in its place with remelt restore"

func (c *check) wrong(shop, what, mend string) error {
	served := "not served"
	if c.served {
		served = "served no longer"
	}
	return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Field: "--db", Value: c.file.Path(),
		Want: fmt.Sprintf("the book of shop %s is damaged: %s. It is %s: %s", shop, what, served, mend)}
}

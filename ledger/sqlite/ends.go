package sqlite

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"example.org/remelt/ledger"
)

// ends remembers where each shop's log ended, in a small file beside the book.
//
// It is there because SQLite takes a damaged write-ahead log for one that ends
// before the damage, as it must after a power cut: entries that were acknowledged
// would be gone and what is left would be whole. An end is noted only once it is
// durable, so the book in the file is never behind it, whatever happened; a book
// that is has lost its end.
//
// The file need not be there, nor whole: then nothing is known. It is written
// soon after an entry, not with it, and is synced only on closing.
type ends struct {
	path string
	wake chan struct{} // there is something to write
	stop chan struct{}
	done chan struct{}

	mu    sync.Mutex
	of    map[string]ledger.Head // by shop; a copy is made to write it
	known bool                   // the file says the same
	noted bool                   // there was something to write since the book was opened
}

// endsEvery is how often the file is written at most: while entries follow one
// another, so much of them may be lost to a damaged log without being missed.
const endsEvery = 200 * time.Millisecond

func endsFile(path string) string { return path + ".head" }

// readEnds reads what is known of the ends of a book's logs.
func readEnds(path string) map[string]ledger.Head {
	of := map[string]ledger.Head{}
	raw, err := os.ReadFile(endsFile(path))
	if err != nil {
		return of
	}
	lines, sum, ok := bytes.Cut(raw, []byte("sum "))
	if !ok || string(sum) != checksum(lines) {
		return of
	}
	for line := range bytes.Lines(lines) {
		var shop string
		var hash []byte
		var head ledger.Head
		if _, err := fmt.Sscanf(string(line), "%q %d %x", &shop, &head.Seq, &hash); err != nil || len(hash) != len(head.Hash) {
			return map[string]ledger.Head{}
		}
		copy(head.Hash[:], hash)
		of[shop] = head
	}
	return of
}

func checksum(b []byte) string { return fmt.Sprintf("%x\n", sha256.Sum256(b)) }

// startEnds begins to keep the file, after the book was held against it.
func startEnds(path string, of map[string]ledger.Head) *ends {
	e := &ends{path: path, of: of, known: true, wake: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{})}
	go e.run()
	return e
}

func (e *ends) run() {
	defer close(e.done)
	for {
		select {
		case <-e.wake:
			_ = e.write(false) // a full disk: the next one is written again
		case <-e.stop:
			return
		}
		select {
		case <-time.After(endsEvery):
		case <-e.stop:
			return
		}
	}
}

// note is told of an end that is durable.
func (e *ends) note(shop string, head ledger.Head) {
	e.mu.Lock()
	defer e.mu.Unlock()
	if head.Seq == 0 || e.of[shop].Hash == head.Hash {
		return
	}
	e.of[shop], e.known, e.noted = ledger.Head{Seq: head.Seq, Hash: head.Hash}, false, true
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// close writes the file for the last time.
func (e *ends) close() {
	close(e.stop)
	<-e.done
	if e.noted {
		_ = e.write(true) // without it less is known
	}
}

// write puts a new file in the place of the old one, which may be read at any time.
func (e *ends) write(sync bool) error {
	e.mu.Lock()
	of, known := maps.Clone(e.of), e.known
	e.known = true
	e.mu.Unlock()
	if known && !sync {
		return nil
	}
	var b bytes.Buffer
	for _, shop := range slices.Sorted(maps.Keys(of)) {
		fmt.Fprintf(&b, "%q %d %s\n", shop, of[shop].Seq, of[shop].Hash)
	}
	b.WriteString("sum " + checksum(b.Bytes()))
	part := endsFile(e.path) + ".part"
	err := os.WriteFile(part, b.Bytes(), 0o600)
	if err == nil && sync {
		err = syncFile(part)
	}
	if err == nil {
		err = os.Rename(part, endsFile(e.path))
	}
	if err != nil {
		e.mu.Lock()
		e.known = false
		e.mu.Unlock()
		_ = os.Remove(part)
	}
	return err
}

// reaches holds a book against the ends that are known of it.
func reaches(c *conn, path string, of map[string]ledger.Head) error {
	for _, shop := range slices.Sorted(maps.Keys(of)) {
		var id int64
		var hash ledger.Hash
		found, err := c.one(`SELECT id FROM shop WHERE name = ?`, []any{shop}, &id)
		if err == nil && found {
			found, err = c.one(`SELECT hash FROM entry WHERE id = ?`, []any{entryID(id, of[shop].Seq)}, hashScan{&hash})
		}
		if err != nil {
			return err
		}
		if !found || hash != of[shop].Hash {
			return errDamagedFile(path, "the book of %s went on to entry %d, which is missing now or another: the end of its log %s was lost, or this is an older file. "+
				"Put a backup in its place with remelt restore; or, to go on with what is left, remove %s", shop, of[shop].Seq, filepath.Base(path)+"-wal", endsFile(path))
		}
	}
	return nil
}

// strayEnds refuses to begin a new book where there was one.
func strayEnds(path string) error {
	if len(readEnds(path)) == 0 {
		return nil
	}
	return errDamagedFile(path, "the file is gone or empty, but %s says that there was a book: put it back, or a backup with remelt restore; or, to begin a new one, remove %[1]s", endsFile(path))
}

// forgetEnds sets aside what is known of the book that was at path.
func forgetEnds(path, aside string) error {
	err := os.Rename(endsFile(path), endsFile(aside))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

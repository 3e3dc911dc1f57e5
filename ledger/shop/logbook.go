package shop

import (
	"context"
	"sync"

	"example.org/remelt/ledger"
)

// logbook keeps the entries of a book as they read, so that questions of the whole book
// do not read and decode them each time. An entry never changes, and each carries the hash
// of the one before: while the last one that is kept is still in the log with its hash, so
// are all before it. Entries are shared: nobody may change one.
type logbook struct {
	mu      sync.Mutex
	entries []*ledger.Entry // the first of the book, none left out
}

// mostEntries bounds what is kept, at some 2 kB an entry. Later ones are read each time.
const mostEntries = 20_000

// reading is a reader of one moment of a shop's book that knows its entries.
type reading struct {
	ledger.Reader
	log  *logbook
	head *ledger.Head // once it was asked for
}

// view reads the book as Store.View does.
func (s *Shop) view(ctx context.Context, fn func(r ledger.Reader) error) error {
	return s.Store.View(ctx, s.Book.Shop, func(r ledger.Reader) error { return fn(&reading{Reader: r, log: &s.log}) })
}

// Head implements ledger.Reader. A reader reads one moment, so its head stays.
func (r *reading) Head() (ledger.Head, error) {
	if r.head == nil {
		h, err := r.Reader.Head()
		if err != nil {
			return h, err
		}
		r.head = &h
	}
	return *r.head, nil
}

// Entries implements ledger.Walker, if only as Log does.
func (r *reading) Entries() (ledger.LogReader, error) {
	if w, ok := r.Reader.(ledger.Walker); ok {
		return w.Entries()
	}
	return r.Reader, nil
}

// upTo gives the entries of the book that r reads, as many as are kept.
func (l *logbook) upTo(r ledger.Reader) ([]*ledger.Entry, error) {
	head, err := r.Head()
	if err != nil {
		return nil, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	known := int64(len(l.entries))
	if known > 0 && known >= head.Seq { // and perhaps read at a later moment
		if head.Seq == 0 || l.entries[head.Seq-1].Hash != head.Hash {
			l.entries = nil // of another book under the same name
			return nil, nil
		}
		return l.entries[:head.Seq], nil
	}
	after := known
	if known > 0 {
		after-- // the last one again, to see that it is the same
	}
	for next := after; next < min(head.Seq, mostEntries); {
		log, err := r.Log(next, int(min(logPage, mostEntries-next)))
		if err != nil || len(log) == 0 {
			return nil, err
		}
		for _, sealed := range log {
			switch {
			case sealed.Seq == known && l.entries[known-1].Hash == sealed.Hash:
			case sealed.Seq != int64(len(l.entries))+1:
				l.entries = nil // as above
				return nil, nil
			default:
				e, err := sealed.Open()
				if err != nil {
					return nil, err
				}
				l.entries = append(l.entries, e)
			}
			next = sealed.Seq
		}
	}
	return l.entries, nil
}

// logPage is how many entries are read at once.
const logPage = 2048

// eachEntry reads the whole log in order.
func eachEntry(r ledger.Reader, fn func(*ledger.Entry) error) error {
	return eachEntryAfter(r, 0, fn)
}

// eachEntryAfter reads the log after an entry in order, until fn gives errStop.
func eachEntryAfter(r ledger.Reader, after int64, fn func(*ledger.Entry) error) error {
	if known, ok := r.(*reading); ok {
		entries, err := known.log.upTo(r)
		if err != nil {
			return err
		}
		for after < int64(len(entries)) {
			if err := fn(entries[after]); err == errStop { //nolint:errorlint // a sentinel of this package
				return nil
			} else if err != nil {
				return err
			}
			after++
		}
	}
	for {
		log, err := r.Log(after, logPage)
		if err != nil {
			return err
		}
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if err := fn(e); err == errStop { //nolint:errorlint // a sentinel of this package
				return nil
			} else if err != nil {
				return err
			}
			after = s.Seq
		}
		if len(log) < logPage {
			return nil
		}
	}
}

// errStop ends eachEntry without an error.
var errStop = &stop{}

type stop struct{}

func (*stop) Error() string { return "stop" }

package postgres

import (
	"errors"

	"example.org/remelt/ledger"
)

// rehearsal is a transaction in which a function is run before its turn comes,
// without the database, only to learn what it will ask; so that whoever has the
// turn can ask for all who wait in one round trip, or together with the lock, where
// each would have needed some of its own. It is answered by what is known of the book, and as if what is
// not known were not there. It may well take another way then; what it returns is
// thrown away, and what it did not ask is asked when it is run in its turn.
type rehearsal struct {
	book  *book // what it is answered by; nil when nothing is known
	asks  questions
	ready bool  // asks is whole
	asked *book // what holds the answers by now
	ahead int64 // how many are before it

	// What it was told, as others go on meanwhile and a function must not see a book that
	// changes under its hands, and what it would have made of it.
	head ledger.Head
	told values
}

var _ ledger.Tx = (*rehearsal)(nil)

// Rehearsal tells a function that it is only rehearsed, if it must know.
func (r *rehearsal) Rehearsal() {}

// errRehearsed ends a rehearsal where it cannot go on.
var errRehearsed = errors.New("this was a rehearsal")

// prepare rehearses a function, and puts it in the queue with what it will ask.
func (l *lane) prepare(fn func(ledger.Tx) error) *rehearsal {
	r := &rehearsal{told: newValues()}
	l.mu.Lock()
	r.book, r.ahead = l.book, int64(len(l.coming))
	l.coming[r] = struct{}{} // at once, so that those who rehearse together do not take the same place
	l.mu.Unlock()
	ran := false
	defer func() {
		l.mu.Lock()
		defer l.mu.Unlock()
		if r.ready = ran; !ran { // it ended its goroutine
			delete(l.coming, r)
		}
	}()
	r.run(fn)
	ran = true
	return r
}

func (r *rehearsal) run(fn func(ledger.Tx) error) {
	if r.book == nil {
		r.book = newBook(ledger.Head{})
	}
	r.book.mu.RLock()
	r.head = r.book.head
	r.book.mu.RUnlock()
	defer func() { _ = recover() }() // if it is not for the rehearsal alone, it happens again
	_ = fn(r)
}

// gone takes a function out of the queue.
func (l *lane) gone(r *rehearsal) {
	l.mu.Lock()
	delete(l.coming, r)
	l.mu.Unlock()
}

// ask learns what a function and all those who wait behind it will ask.
func (l *lane) ask(t *tx, r *rehearsal) {
	if r.asked != l.book {
		_ = t.learn(l.asks(r)) // a fault is remembered
	}
}

// asks are what a function will ask, and all those who wait behind it and were not
// asked for yet.
func (l *lane) asks(r *rehearsal) questions {
	var q questions
	q.add(r.asks)
	l.mu.Lock()
	defer l.mu.Unlock()
	for other := range l.coming {
		if other.ready && other.asked != l.book {
			q.add(other.asks)
			other.asked = l.book
		}
	}
	return q
}

// unasked is said when what was asked for those who wait was not answered.
func (l *lane) unasked() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for other := range l.coming {
		other.asked = nil
	}
}

func (r *rehearsal) Append(s ledger.Sealed, e *ledger.Entry) error {
	if err := texts(e); err != nil {
		return err
	}
	r.asks.before(e)
	r.head = ledger.Head{Seq: s.Seq, Hash: s.Hash, Recorded: e.Recorded}
	for _, p := range e.Postings {
		r.told.masses[p.Account] = r.mass(p.Account) + p.Mass
	}
	for _, rec := range e.Records {
		rec.Seq = s.Seq
		r.told.records[recordKey{rec.Kind, rec.ID}] = &rec
	}
	return nil
}

func (r *rehearsal) Head() (ledger.Head, error) { return r.head, nil }

func (r *rehearsal) ByRequest(id ledger.RequestID) (ledger.Sealed, bool, error) {
	r.asks.requests = append(r.asks.requests, id)
	return ledger.Sealed{}, false, nil
}

func (r *rehearsal) Balance(a ledger.Account) (ledger.Mass, error) {
	if isText(string(a)) {
		r.asks.accounts = append(r.asks.accounts, a)
	}
	return r.mass(a), nil
}

func (r *rehearsal) mass(a ledger.Account) ledger.Mass {
	if m, told := r.told.masses[a]; told {
		return m
	}
	r.book.mu.RLock()
	m := r.book.known.masses[a]
	r.book.mu.RUnlock()
	r.told.masses[a] = m
	return m
}

func (r *rehearsal) Record(kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	key := recordKey{kind, id}
	rec, told := r.told.records[key]
	if !told {
		if isText(string(kind), id) {
			r.asks.records = append(r.asks.records, key)
		}
		r.book.mu.RLock()
		rec = r.book.known.records[key]
		r.book.mu.RUnlock()
		r.told.records[key] = rec
	}
	own, found := copied(rec)
	return own, found, nil
}

// CountRecords implements ledger.Reader. Ids are made from counts: each of those
// before it is taken to make a record.
func (r *rehearsal) CountRecords(kind ledger.RecordKind) (int64, error) {
	if isText(string(kind)) {
		r.asks.kinds = append(r.asks.kinds, kind)
	}
	n, known := r.told.made[kind]
	if !known {
		r.book.mu.RLock()
		n = r.book.known.made[kind] + r.ahead
		r.book.mu.RUnlock()
		r.told.made[kind] = n
	}
	return n, nil
}

func (r *rehearsal) Log(int64, int) ([]ledger.Sealed, error) { return nil, errRehearsed }

func (r *rehearsal) History(string, int64, int) ([]ledger.Sealed, error) { return nil, errRehearsed }

func (r *rehearsal) Holdings(ledger.AccountKind, ledger.RecordKind, string, int) ([]ledger.Holding, error) {
	return nil, errRehearsed
}

func (r *rehearsal) Records(ledger.RecordKind, string, string, int) ([]ledger.Record, error) {
	return nil, errRehearsed
}

func (r *rehearsal) Kept(func(ledger.Kept) error) error { return errRehearsed }

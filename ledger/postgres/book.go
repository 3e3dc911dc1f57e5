package postgres

import (
	"bytes"
	"maps"
	"sync"

	"example.org/remelt/ledger"
)

// book is what a store knows of one shop's book, and what was appended to it
// and is not yet written. It belongs to whoever has the shop's turn. What is
// known stays true while the log ends at head.
type book struct {
	mu    sync.RWMutex // for writing head, known and used, and for reading them without the turn
	head  ledger.Head
	known values
	used  map[ledger.RequestID]bool // request ids that were asked for, and whether they are in the log

	asks int // how often the database was asked

	// Of the open group.
	requests map[ledger.RequestID]*staged
	pending  rows
}

// draft is what one function appended. It lies over the book until the function
// has succeeded.
type draft struct {
	book     *book
	head     ledger.Head
	requests map[ledger.RequestID]*staged
	pending  rows
	wrote    values // what of it is written already
}

// values are what accounts hold and what things are, absent ones too. Records are
// shared and never changed.
type values struct {
	masses  map[ledger.Account]ledger.Mass
	records map[recordKey]*ledger.Record // nil: there is none
	made    map[ledger.RecordKind]int64
}

type recordKey struct {
	kind ledger.RecordKind
	id   string
}

// rows are what is to be written to each table.
type rows struct {
	entries []*staged
	touches []ledger.Touch
	changed values
}

type staged struct {
	ledger.Sealed
	request ledger.RequestID
}

func newBook(head ledger.Head) *book {
	return &book{head: head, known: newValues(), used: map[ledger.RequestID]bool{},
		requests: map[ledger.RequestID]*staged{}, pending: rows{changed: newValues()}}
}

// size is how much is remembered.
func (b *book) size() int { return b.known.size() + len(b.used) }

func newValues() values {
	return values{map[ledger.Account]ledger.Mass{}, map[recordKey]*ledger.Record{}, map[ledger.RecordKind]int64{}}
}

func (v values) size() int { return len(v.masses) + len(v.records) + len(v.made) }

// add puts newer values over these.
func (v values) add(newer values) {
	maps.Copy(v.masses, newer.masses)
	maps.Copy(v.records, newer.records)
	maps.Copy(v.made, newer.made)
}

func (v values) clear() {
	clear(v.masses)
	clear(v.records)
	clear(v.made)
}

func (b *book) draft() *draft {
	return &draft{book: b, head: b.head, requests: map[ledger.RequestID]*staged{}, pending: rows{changed: newValues()}}
}

// keep makes the draft part of the book.
func (d *draft) keep() {
	b := d.book
	b.mu.Lock()
	b.head = d.head
	b.known.add(d.wrote)
	b.known.add(d.pending.changed)
	for id := range d.requests {
		delete(b.used, id)
	}
	b.mu.Unlock()
	maps.Copy(b.requests, d.requests)
	b.pending.entries = append(b.pending.entries, d.pending.entries...)
	b.pending.touches = append(b.pending.touches, d.pending.touches...)
	b.pending.changed.add(d.pending.changed)
}

// written forgets rows that were written.
func (r *rows) written() {
	r.entries, r.touches = r.entries[:0], r.touches[:0]
	r.changed.clear()
}

// written remembers what it is no longer to write.
func (d *draft) written() {
	if d.wrote.masses == nil {
		d.wrote = newValues()
	}
	d.wrote.add(d.pending.changed)
	d.pending.written()
}

func (d *draft) mass(a ledger.Account) (m ledger.Mass, known bool) {
	return look(a, d.pending.changed.masses, d.wrote.masses, d.book.known.masses)
}

func (d *draft) record(k recordKey) (r *ledger.Record, known bool) {
	return look(k, d.pending.changed.records, d.wrote.records, d.book.known.records)
}

func (d *draft) made(kind ledger.RecordKind) (n int64, known bool) {
	return look(kind, d.pending.changed.made, d.wrote.made, d.book.known.made)
}

func (d *draft) request(id ledger.RequestID) (s *staged, found bool) {
	return look(id, d.requests, d.book.requests)
}

// look finds what the first of the maps says that says something.
func look[K comparable, V any](k K, over ...map[K]V) (v V, found bool) {
	for _, m := range over {
		if v, found = m[k]; found {
			return v, true
		}
	}
	return v, false
}

// add adds an entry whose accounts, records and kinds are all known, or says why
// not and changes nothing.
func (d *draft) add(s ledger.Sealed, e *ledger.Entry) error {
	sums, err := e.Sums(func(a ledger.Account) (ledger.Mass, error) {
		m, _ := d.mass(a)
		return m, nil
	})
	if err != nil {
		return err
	}
	s.Bytes = bytes.Clone(s.Bytes)
	d.head = ledger.Head{Seq: s.Seq, Hash: s.Hash, Recorded: e.Recorded}
	entry := &staged{s, e.Request}
	d.requests[e.Request] = entry
	d.pending.entries = append(d.pending.entries, entry)
	changed := d.pending.changed
	for _, sum := range sums {
		changed.masses[sum.Account] = sum.Mass
	}
	for _, r := range e.Records {
		key := recordKey{r.Kind, r.ID}
		if was, _ := d.record(key); was == nil {
			n, _ := d.made(r.Kind)
			changed.made[r.Kind] = n + 1
		}
		r.Seq, r.Body = s.Seq, bytes.Clone(r.Body)
		changed.records[key] = &r
	}
	for _, subject := range e.Subjects() {
		d.pending.touches = append(d.pending.touches, ledger.Touch{Subject: subject, Seq: s.Seq})
	}
	return nil
}

package sqlite

import (
	"bytes"
	"cmp"
	"slices"
	"strings"

	"example.org/remelt/ledger"
)

// book is what the writer knows of one shop's book, and what was appended to it
// and is not yet written. Rows are looked up once and then kept from one
// transaction to the next, which only the one writer of a file may do; after a
// rollback all of it is forgotten.
type book struct {
	shop   string
	id     int64 // its row's
	isNew  bool  // the row is not written yet
	head   ledger.Head
	names  map[string]*named
	made   map[ledger.RecordKind]*made
	lastID int64 // the largest id a name has

	// Not yet written.
	entries      []staged
	requests     map[ledger.RequestID]int // index in entries
	touches      []touch
	changedNames []*named
	changedMade  []*made

	undo []func() // of the running function's appends, in order
}

type staged struct {
	ledger.Sealed
	request ledger.RequestID
}

// named is a row of the table name, or what would be one.
type named struct {
	name          string
	id            int64 // 0: no entry is about it
	mass          int64
	isAccount     bool
	seq, at, size int64 // of its record; seq 0: it is none
	parent        string
	body          []byte // of its record, once somebody asked for it

	written bool // the row is there
	held    bool // and says that it holds something
	changed bool // not yet written
	whole   bool // not only mass has changed
}

type made struct {
	kind    ledger.RecordKind
	n       int64
	changed bool
}

type touch struct{ name, seq int64 }

// openBook reads what there is of a shop's book. A shop that has none will get
// the row spare.
func openBook(c *conn, shop string, spare func() (int64, error)) (*book, error) {
	b := &book{shop: shop, names: map[string]*named{}, made: map[ledger.RecordKind]*made{}, requests: map[ledger.RequestID]int{}}
	found, err := c.one(`SELECT id FROM shop WHERE name = ?`, []any{shop}, &b.id)
	if err != nil {
		return nil, err
	}
	if !found {
		b.isNew = true
		b.id, err = spare()
		return b, err
	}
	if _, err := c.one(`SELECT ifnull(max(name), 0) FROM touch WHERE shop = ?`, []any{b.id}, &b.lastID); err != nil {
		return nil, err
	}
	b.head, err = readHead(c, b.id)
	return b, err
}

// name returns the row of a name, absent ones too.
func (b *book) name(c *conn, name string) (*named, error) {
	if n, ok := b.names[name]; ok {
		return n, nil
	}
	n := &named{name: name}
	if !b.isNew {
		var id, mass, seq, at, size nullInt
		var parent nullText
		var err error
		n.written, err = c.one(`SELECT id, mass, holds, parent, seq, at, size FROM name WHERE shop = ? AND name = ?`,
			[]any{b.id, name}, &id, &mass, &n.held, &parent, &seq, &at, &size)
		if err != nil {
			return nil, err
		}
		n.id, n.mass, n.isAccount, n.parent = id.v, mass.v, mass.valid, string(parent)
		n.seq, n.at, n.size = seq.v, at.v, size.v
	}
	b.names[name] = n
	return n, nil
}

func (b *book) count(c *conn, kind ledger.RecordKind) (*made, error) {
	if m, ok := b.made[kind]; ok {
		return m, nil
	}
	m := &made{kind: kind}
	if !b.isNew {
		if _, err := c.one(`SELECT n FROM made WHERE shop = ? AND kind = ?`, []any{b.id, string(kind)}, &m.n); err != nil {
			return nil, err
		}
	}
	b.made[kind] = m
	return m, nil
}

// append adds an entry that follows the head, or says why not and changes
// nothing.
func (b *book) append(c *conn, s ledger.Sealed, e *ledger.Entry) error {
	sums, err := e.Sums(func(a ledger.Account) (ledger.Mass, error) {
		n, err := b.name(c, string(a))
		if err != nil {
			return 0, err
		}
		return ledger.Mass(n.mass), nil
	})
	if err != nil {
		return err
	}
	places := make([]int, len(e.Records))
	for i, r := range e.Records {
		if places[i] = bytes.Index(s.Bytes, r.Body); places[i] < 0 {
			return ledger.RefuseAppend("entry %d does not have the body of %s in its bytes", e.Seq, recordName(r.Kind, r.ID))
		}
		// Look up now what is changed below, where nothing may fail.
		if _, err := b.name(c, recordName(r.Kind, r.ID)); err != nil {
			return err
		}
		if _, err := b.count(c, r.Kind); err != nil {
			return err
		}
	}
	subjects := e.Subjects()
	for _, subject := range subjects {
		if _, err := b.name(c, subject); err != nil {
			return err
		}
	}

	b.remember()
	s.Bytes = bytes.Clone(s.Bytes)
	b.requests[e.Request] = len(b.entries)
	b.entries = append(b.entries, staged{s, e.Request})
	b.head = ledger.Head{Seq: s.Seq, Hash: s.Hash, Recorded: e.Recorded}
	for _, sum := range sums {
		n := b.names[string(sum.Account)]
		b.change(n)
		n.mass, n.isAccount = int64(sum.Mass), true
	}
	for i, r := range e.Records {
		n := b.names[recordName(r.Kind, r.ID)]
		if n.seq == 0 {
			b.countOne(b.made[r.Kind])
		}
		b.change(n)
		n.seq, n.at, n.size, n.parent = s.Seq, int64(places[i]+1), int64(len(r.Body)), r.Parent
		n.whole, n.body = true, nil
	}
	for _, subject := range subjects {
		n := b.names[subject]
		if n.id == 0 {
			b.change(n)
			b.lastID++
			n.id, n.whole = b.lastID, true
		}
		b.touches = append(b.touches, touch{n.id, s.Seq})
	}
	return nil
}

// change notes that a name is about to change.
func (b *book) change(n *named) {
	was := *n
	b.undo = append(b.undo, func() { *n = was })
	if !n.changed {
		n.changed = true
		b.changedNames = append(b.changedNames, n)
	}
}

func (b *book) countOne(m *made) {
	was := *m
	b.undo = append(b.undo, func() { *m = was })
	m.n++
	if !m.changed {
		m.changed = true
		b.changedMade = append(b.changedMade, m)
	}
}

// remember notes how to undo an append.
func (b *book) remember() {
	head, lastID := b.head, b.lastID
	entries, touches, names, counts := len(b.entries), len(b.touches), len(b.changedNames), len(b.changedMade)
	b.undo = append(b.undo, func() {
		for _, s := range b.entries[entries:] {
			delete(b.requests, s.request)
		}
		b.head, b.lastID = head, lastID
		b.entries, b.touches = b.entries[:entries], b.touches[:touches]
		b.changedNames, b.changedMade = b.changedNames[:names], b.changedMade[:counts]
	})
}

// keep ends a function that succeeded, forget one that failed and whose appends
// are not written.
func (b *book) keep() { b.undo = b.undo[:0] }

func (b *book) forget() {
	for _, undo := range slices.Backward(b.undo) {
		undo()
	}
	b.keep()
}

// write writes what is not written yet, each table in the order of its key.
func (b *book) write(c *conn) error {
	if len(b.entries) == 0 {
		return nil
	}
	if b.isNew {
		if err := c.exec(`INSERT INTO shop (id, name) VALUES (?, ?)`, b.id, b.shop); err != nil {
			return err
		}
		b.isNew = false
	}
	if err := insertAll(c, intoEntry, b.entries, func(args []any, s staged) []any {
		return append(args, entryID(b.id, s.Seq), s.Hash[:], s.Bytes)
	}); err != nil {
		return err
	}
	slices.SortFunc(b.entries, func(x, y staged) int { return bytes.Compare(x.request[:], y.request[:]) })
	if err := insertAll(c, intoRequest, b.entries, func(args []any, s staged) []any {
		return append(args, b.id, s.request[:], s.Seq)
	}); err != nil {
		return err
	}
	b.entries = b.entries[:0]
	clear(b.requests)
	if err := b.writeNames(c); err != nil {
		return err
	}
	slices.SortFunc(b.touches, func(x, y touch) int {
		return cmp.Or(cmp.Compare(x.name, y.name), cmp.Compare(x.seq, y.seq))
	})
	if err := insertAll(c, intoTouch, b.touches, func(args []any, t touch) []any {
		return append(args, b.id, t.name, t.seq)
	}); err != nil {
		return err
	}
	b.touches = b.touches[:0]
	if err := insertAll(c, intoMade, b.changedMade, func(args []any, m *made) []any {
		m.changed = false
		return append(args, b.id, string(m.kind), m.n)
	}); err != nil {
		return err
	}
	b.changedMade = b.changedMade[:0]
	return nil
}

// writeNames writes the changed names: most often only a mass has changed, and
// then no index has to.
func (b *book) writeNames(c *conn) error {
	slices.SortFunc(b.changedNames, func(x, y *named) int { return strings.Compare(x.name, y.name) })
	var whole, mass []*named
	for _, n := range b.changedNames {
		if n.whole || !n.written || n.held != (n.mass != 0) {
			whole = append(whole, n)
		} else {
			mass = append(mass, n)
		}
		n.written, n.changed, n.whole, n.held = true, false, false, n.mass != 0
	}
	b.changedNames = b.changedNames[:0]
	if err := insertAll(c, intoMass, mass, func(args []any, n *named) []any {
		return append(args, b.id, n.name, n.mass, n.held)
	}); err != nil {
		return err
	}
	return insertAll(c, intoName, whole, func(args []any, n *named) []any {
		return append(args, b.id, n.name, nullInt{n.id, n.id != 0}.arg(), nullInt{n.mass, n.isAccount}.arg(), n.held,
			nullText(n.parent).arg(), nullInt{n.seq, n.seq != 0}.arg(), nullInt{n.at, n.seq != 0}.arg(), nullInt{n.size, n.seq != 0}.arg())
	})
}

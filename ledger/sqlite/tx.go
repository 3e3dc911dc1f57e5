package sqlite

import (
	"bytes"
	"strings"

	"example.org/remelt/ledger"
)

// tx is one function's part of the writer's transaction.
type tx struct {
	reader
	shopName string
	saved    bool // a savepoint is open
	head     *ledger.Head
	last     appended
	refused  error // of the first Append that was refused
}

var _ ledger.Tx = (*tx)(nil)

// stage runs the job's function so that it leaves all it appended or nothing.
// failed is the function's outcome; broken says that the whole transaction is
// to be given up.
func (t *tx) stage(j *job) (failed, broken error) {
	if err := t.open(t.shopName); err != nil {
		return nil, err
	}
	j.turn <- t
	failed = <-j.back
	t.end()
	if t.broken != nil {
		return nil, t.broken
	}
	if failed == nil {
		failed = t.refused
	}
	if !t.saved {
		return failed, nil
	}
	if failed != nil {
		if err := t.c.exec(`ROLLBACK TO job`); err != nil {
			return nil, storeError(err)
		}
	}
	return failed, storeError(t.c.exec(`RELEASE job`))
}

func (t *tx) Head() (ledger.Head, error) {
	if t.head == nil {
		h, err := t.reader.Head()
		if err != nil {
			return h, err
		}
		t.head = &h
	}
	return *t.head, t.ready()
}

// Append implements ledger.Tx.
func (t *tx) Append(s ledger.Sealed, e *ledger.Entry) error {
	if t.refused != nil {
		return t.refused
	}
	err := t.append(s, e)
	if err != nil && t.broken == nil {
		t.refused = err
	}
	return err
}

func (t *tx) append(s ledger.Sealed, e *ledger.Entry) error {
	head, err := t.Head()
	if err != nil {
		return err
	}
	if s.Seq != head.Seq+1 || e.Seq != s.Seq {
		return refuse("entry %d does not follow entry %d", s.Seq, head.Seq)
	}
	if used, err := t.one(`SELECT 1 FROM request WHERE shop = ? AND id = ?`, []any{t.shop, e.Request[:]}, new(int)); err != nil {
		return err
	} else if used {
		return refuse("request id %s was used before", e.Request)
	}
	if !t.saved {
		if err := t.exec(`SAVEPOINT job`); err != nil {
			return err
		}
		t.saved = true
	}
	if t.shop == 0 {
		if err := t.newShop(); err != nil {
			return err
		}
	}
	names, err := t.names(s, e)
	if err != nil {
		return err
	}
	if err := t.exec(`INSERT INTO entry (shop, seq, hash, bytes) VALUES (?, ?, ?, ?)`, t.shop, s.Seq, s.Hash[:], s.Bytes); err != nil {
		return err
	}
	if err := t.exec(`INSERT INTO request (shop, id, seq) VALUES (?, ?, ?)`, t.shop, e.Request[:], s.Seq); err != nil {
		return err
	}
	if err := t.keep(names, s.Seq); err != nil {
		return err
	}
	t.head = &ledger.Head{Seq: s.Seq, Hash: s.Hash, Recorded: e.Recorded}
	t.last = appended{t.shop, s.Seq, s.Hash}
	return nil
}

func (t *tx) exec(query string, args ...any) error {
	if err := t.ready(); err != nil {
		return err
	}
	return t.fault(t.c.exec(query, args...))
}

func (t *tx) newShop() error {
	if err := t.exec(`INSERT INTO shop (name, names) VALUES (?, 0)`, t.shopName); err != nil {
		return err
	}
	return t.open(t.shopName)
}

// named is what the book keeps under a name, and what an entry makes of it.
type named struct {
	name          string
	id            int64 // 0: not in the book yet
	mass          int64
	hasMass       bool  // it is an account
	seq, at, size int64 // of its record; seq 0: it is none
	parent        string

	changed bool // mass or record
	touched bool // it is a subject of the entry
	made    bool // its first record
}

// names gathers everything the entry changes, as the entry leaves it, or says
// why that cannot be. The entry counts as a whole: what one posting takes,
// another of the same entry may bring.
func (t *tx) names(s ledger.Sealed, e *ledger.Entry) ([]*named, error) {
	var all []*named
	get := func(name string) (*named, error) {
		for _, n := range all {
			if n.name == name {
				return n, nil
			}
		}
		n := &named{name: name}
		var mass, seq nullInt
		_, err := t.one(`SELECT id, mass, seq FROM name WHERE shop = ? AND name = ?`, []any{t.shop, name}, &n.id, &mass, &seq)
		n.mass, n.hasMass, n.seq = mass.v, mass.valid, seq.v
		all = append(all, n)
		return n, err
	}
	for _, p := range e.Postings {
		n, err := get(string(p.Account))
		if err != nil {
			return nil, err
		}
		sum, err := ledger.Mass(n.mass).Add(p.Mass)
		if err != nil {
			return nil, refuse("balance of %s does not fit in 64 bits", p.Account)
		}
		n.mass, n.hasMass, n.changed = int64(sum), true, true
	}
	for _, n := range all {
		if a := ledger.Account(n.name); n.mass < 0 && a.HasFloor() {
			return nil, refuse("entry %d would take %s to %d mg", e.Seq, a, n.mass)
		}
	}
	for _, r := range e.Records {
		n, err := get(recordName(r.Kind, r.ID))
		if err != nil {
			return nil, err
		}
		at := bytes.Index(s.Bytes, r.Body)
		if at < 0 {
			return nil, refuse("entry %d does not have the body of %s in its bytes", e.Seq, n.name)
		}
		n.made = n.made || n.seq == 0
		n.seq, n.at, n.size, n.parent, n.changed = s.Seq, int64(at+1), int64(len(r.Body)), r.Parent, true
	}
	for _, subject := range e.Subjects() {
		n, err := get(subject)
		if err != nil {
			return nil, err
		}
		n.touched = true
	}
	return all, nil
}

// keep writes what names gathered.
func (t *tx) keep(names []*named, seq int64) error {
	var fresh int64
	for _, n := range names {
		if n.id == 0 {
			fresh++
		}
	}
	var next int64
	if fresh > 0 {
		if _, err := t.one(`SELECT names FROM shop WHERE id = ?`, []any{t.shop}, &next); err != nil {
			return err
		}
		if err := t.exec(`UPDATE shop SET names = ? WHERE id = ?`, next+fresh, t.shop); err != nil {
			return err
		}
	}
	for _, n := range names {
		var err error
		mass := nullInt{n.mass, n.hasMass}.arg()
		switch record := n.seq == seq; {
		case n.id == 0:
			next++
			n.id = next
			if record {
				err = t.exec(`INSERT INTO name (shop, name, id, mass, parent, seq, at, size) VALUES (?, ?, ?, ?, nullif(?, ''), ?, ?, ?)`,
					t.shop, n.name, n.id, mass, n.parent, n.seq, n.at, n.size)
			} else {
				err = t.exec(`INSERT INTO name (shop, name, id, mass) VALUES (?, ?, ?, ?)`, t.shop, n.name, n.id, mass)
			}
		case record:
			err = t.exec(`UPDATE name SET mass = ?, parent = nullif(?, ''), seq = ?, at = ?, size = ? WHERE shop = ? AND name = ?`,
				mass, n.parent, n.seq, n.at, n.size, t.shop, n.name)
		case n.changed:
			err = t.exec(`UPDATE name SET mass = ? WHERE shop = ? AND name = ?`, mass, t.shop, n.name)
		}
		if err == nil && n.made {
			kind, _, _ := strings.Cut(n.name, "/")
			err = t.exec(`INSERT INTO made (shop, kind, n) VALUES (?, ?, 1) ON CONFLICT DO UPDATE SET n = n + 1`, t.shop, kind)
		}
		if err == nil && n.touched {
			err = t.exec(`INSERT INTO touch (shop, name, seq) VALUES (?, ?, ?)`, t.shop, n.id, seq)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// nullInt is an integer that may be NULL.
type nullInt struct {
	v     int64
	valid bool
}

// Scan implements sql.Scanner.
func (n *nullInt) Scan(v any) error {
	switch v := v.(type) {
	case nil:
		*n = nullInt{}
	case int64:
		*n = nullInt{v, true}
	default:
		return errDamaged("a %T where a number should be", v)
	}
	return nil
}

func (n nullInt) arg() any {
	if !n.valid {
		return nil
	}
	return n.v
}

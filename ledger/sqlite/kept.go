package sqlite

import (
	"example.org/remelt/ledger"
)

// keptLists are the lists of everything kept beside the log.
var keptLists = []struct {
	query string
	scan  func(*cursor) (ledger.Kept, error)
}{
	{`SELECT name, mass FROM name WHERE shop = ? AND mass IS NOT NULL`, func(rows *cursor) (ledger.Kept, error) {
		var account string
		var mass int64
		err := rows.Scan(&account, &mass)
		return ledger.Kept{Balance: &ledger.KeptBalance{Account: ledger.Account(account), Mass: ledger.Mass(mass)}}, err
	}},
	{`SELECT n.name, n.parent, n.seq, ` + body + ` FROM name n CROSS JOIN entry e ON e.id = n.shop << 40 | n.seq WHERE n.shop = ?`,
		func(rows *cursor) (ledger.Kept, error) {
			rec, err := scanRecord(rows)
			return ledger.Kept{Record: &rec}, err
		}},
	{`SELECT id, seq FROM request WHERE shop = ?`, func(rows *cursor) (ledger.Kept, error) {
		var q ledger.KeptRequest
		var id []byte
		err := rows.Scan(&id, &q.Seq)
		copy(q.ID[:], id)
		return ledger.Kept{Request: &q}, err
	}},
	{`SELECT n.name, t.seq FROM name n CROSS JOIN touch t ON t.shop = n.shop AND t.name = n.id WHERE n.shop = ?`,
		func(rows *cursor) (ledger.Kept, error) {
			var t ledger.Touch
			err := rows.Scan(&t.Subject, &t.Seq)
			return ledger.Kept{Touch: &t}, err
		}},
	{`SELECT kind, n FROM made WHERE shop = ?`, func(rows *cursor) (ledger.Kept, error) {
		var c ledger.KeptCount
		var kind string
		err := rows.Scan(&kind, &c.N)
		c.Kind = ledger.RecordKind(kind)
		return ledger.Kept{Count: &c}, err
	}},
}

// Kept implements ledger.Reader.
func (r *reader) Kept(fn func(ledger.Kept) error) error {
	touches := int64(0)
	for _, list := range keptLists {
		var stop error
		err := r.all(list.query, []any{r.shop}, func(rows *cursor) error {
			k, err := list.scan(rows)
			if err != nil {
				return err
			}
			if k.Touch != nil {
				touches++
			}
			if stop = r.ready(); stop == nil {
				stop = fn(k)
			}
			if stop != nil {
				return errStop
			}
			return nil
		})
		if stop != nil {
			return stop
		}
		if err != nil {
			return err
		}
	}
	// A touch of a name that is gone is in none of the lists.
	var all int64
	if _, err := r.one(`SELECT count(*) FROM touch WHERE shop = ?`, []any{r.shop}, &all); err != nil {
		return err
	}
	if all != touches {
		return r.fault(errDamaged("%d entries are filed under names that are not there", all-touches))
	}
	return nil
}

// Tally implements ledger.Tallier. Subjects are filed under the number of their name,
// so the names come first.
func (r *reader) Tally(t *ledger.Tally) error {
	var names []uint64 // by number
	err := r.all(`SELECT name, id, mass, parent, seq, at, size FROM name WHERE shop = ?`, []any{r.shop}, func(rows *cursor) error {
		var name string
		var id, mass, seq, at, size nullInt
		var parent nullText
		if err := rows.Scan(&name, &id, &mass, &parent, &seq, &at, &size); err != nil {
			return err
		}
		is := t.Name(name)
		t.Balance(is, ledger.Mass(mass.v))
		if seq.valid {
			t.Record(is, string(parent), seq.v, at.v, size.v)
		}
		if id.valid {
			for int64(len(names)) <= id.v {
				names = append(names, 0)
			}
			names[id.v] = is
		}
		return r.ready()
	})
	if err != nil {
		return err
	}
	if err := r.all(`SELECT name, seq FROM touch WHERE shop = ?`, []any{r.shop}, func(rows *cursor) error {
		var id, seq int64
		if err := rows.Scan(&id, &seq); err != nil {
			return err
		}
		is := uint64(0) // of a name that is gone
		if id > 0 && id < int64(len(names)) {
			is = names[id]
		}
		t.Touch(is, seq)
		return nil
	}); err != nil {
		return err
	}
	if err := r.all(`SELECT id, seq FROM request WHERE shop = ?`, []any{r.shop}, func(rows *cursor) error {
		var id []byte
		var seq int64
		err := rows.Scan(&id, &seq)
		t.Request(id, seq)
		return err
	}); err != nil {
		return err
	}
	return r.all(`SELECT kind, n FROM made WHERE shop = ?`, []any{r.shop}, func(rows *cursor) error {
		var kind string
		var n int64
		err := rows.Scan(&kind, &n)
		t.Count(ledger.RecordKind(kind), n)
		return err
	})
}

package sqlite

import (
	"errors"

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
	return r.sound(`PRAGMA integrity_check`)
}

// sound asks SQLite to check the structure of the file, or of one of its tables.
func (r *reader) sound(check string) error {
	if err := r.ready(); err != nil {
		return err
	}
	var says string
	err := r.c.onceOne(r.ctx, check, &says)
	if cancelled := r.ctx.Err(); cancelled != nil {
		return unavailable("CANCELLED", cancelled)
	}
	if err == nil {
		err = soundness(says)
	}
	return r.fault(err)
}

// soundness is what the answer to a check of structure means.
func soundness(says string) error {
	switch {
	case !diskGave(says):
		return unavailable("CANNOT_READ", errors.New(says))
	case says != "ok":
		return errDamaged("%s", says)
	}
	return nil
}

package sqlite

import (
	"bytes"
	"cmp"
	"errors"
	"strings"

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

// Tally implements ledger.Tallier. Subjects are filed under the number of their name,
// so the names come first.
//
// That all rows are there does not say yet that they are found: by a key, or by an
// index. A table whose rows lead to each other, as those WITHOUT ROWID do, is searched
// well when they are in order; the keys that lead to entries are SQLite's to check; and
// an index is held against its table.
func (r *reader) Tally(t *ledger.Tally) error {
	var most int64
	if _, err := r.one(`SELECT count(*) FROM name`, nil, &most); err != nil {
		return err
	}
	numbers := make([]uint64, most+1) // a name by its number; they are numbered from 1, each once
	var shop, holding, parents = int64(0), uint64(0), uint64(0)
	names := inOrder[string]{r: r, table: "name", compare: strings.Compare}
	if err := r.all(`SELECT shop, name, id, mass, holds, parent, seq, at, size FROM name WHERE shop = ? ORDER BY name`, []any{r.shop}, func(rows *cursor) error {
		var name string
		var id, mass, seq, at, size nullInt
		var holds bool
		var parent nullText
		if err := rows.Scan(&shop, &name, &id, &mass, &holds, &parent, &seq, &at, &size); err != nil {
			return err
		}
		if holds != (mass.v != 0) || id.v < 0 || id.v > most {
			return errDamaged("%s has number %d of %d, %d mg, holds: %t", name, id.v, most, mass.v, holds)
		}
		is := t.Name(name)
		t.Balance(is, ledger.Mass(mass.v))
		if seq.valid {
			t.Record(is, string(parent), seq.v, at.v, size.v)
		}
		if holds {
			holding += is
		}
		if parent != "" {
			parents += childOf(t, string(parent), name)
		}
		if id.valid {
			numbers[id.v] = is
		}
		return cmp.Or(names.next(shop, name), r.ready())
	}); err != nil {
		return err
	}

	touches := inOrder[[2]int64]{r: r, table: "touch", compare: byBoth[int64]}
	if err := r.all(`SELECT shop, name, seq FROM touch WHERE shop = ? ORDER BY name, seq`, []any{r.shop}, func(rows *cursor) error {
		var id, seq int64
		if err := rows.Scan(&shop, &id, &seq); err != nil {
			return err
		}
		is := uint64(0) // of a name that is gone
		if id > 0 && id <= most {
			is = numbers[id]
		}
		t.Touch(is, seq)
		return touches.next(shop, [2]int64{id, seq})
	}); err != nil {
		return err
	}

	requests := inOrder[[]byte]{r: r, table: "request", compare: bytes.Compare}
	if err := r.all(`SELECT shop, id, seq FROM request WHERE shop = ? ORDER BY id`, []any{r.shop}, func(rows *cursor) error {
		var id []byte
		var seq int64
		if err := rows.Scan(&shop, &id, &seq); err != nil {
			return err
		}
		t.Request(id, seq)
		return requests.next(shop, id)
	}); err != nil {
		return err
	}

	kinds := inOrder[string]{r: r, table: "made", compare: strings.Compare}
	if err := r.all(`SELECT shop, kind, n FROM made WHERE shop = ? ORDER BY kind`, []any{r.shop}, func(rows *cursor) error {
		var kind string
		var n int64
		if err := rows.Scan(&shop, &kind, &n); err != nil {
			return err
		}
		t.Count(ledger.RecordKind(kind), n)
		return kinds.next(shop, kind)
	}); err != nil {
		return err
	}
	return cmp.Or(r.indexes(t, holding, parents), r.sound(`PRAGMA integrity_check(shop)`), r.sound(`PRAGMA quick_check(entry)`))
}

// indexes holds the indexes of names against what was found in their table.
func (r *reader) indexes(t *ledger.Tally, holding, parents uint64) error {
	var shop int64
	names := inOrder[string]{r: r, table: "name_holding", compare: strings.Compare}
	if err := r.all(`SELECT shop, name FROM name INDEXED BY name_holding WHERE shop = ? AND holds = 1 ORDER BY name`, []any{r.shop}, func(rows *cursor) error {
		var name string
		if err := rows.Scan(&shop, &name); err != nil {
			return err
		}
		holding -= t.Name(name)
		return names.next(shop, name)
	}); err != nil {
		return err
	}
	children := inOrder[[2]string]{r: r, table: "name_of_parent", compare: byBoth[string]}
	if err := r.all(`SELECT shop, parent, name FROM name INDEXED BY name_of_parent WHERE shop = ? AND parent IS NOT NULL ORDER BY parent, name`,
		[]any{r.shop}, func(rows *cursor) error {
			var at [2]string
			if err := rows.Scan(&shop, &at[0], &at[1]); err != nil {
				return err
			}
			parents -= childOf(t, at[0], at[1])
			return children.next(shop, at)
		}); err != nil {
		return err
	}
	if holding != 0 || parents != 0 {
		return r.fault(errDamaged("an index of names has not what is in their table"))
	}
	return nil
}

func childOf(t *ledger.Tally, parent, name string) uint64 { return t.Name(name) * (t.Name(parent) | 1) }

// inOrder watches that the rows of a shop are the shop's, and ascend.
type inOrder[K any] struct {
	r       *reader
	table   string
	compare func(a, b K) int
	last    K
	begun   bool
}

func (o *inOrder[K]) next(shop int64, key K) error {
	if shop != o.r.shop || o.begun && o.compare(o.last, key) >= 0 {
		return errDamaged("%s is out of order at %v of shop %d", o.table, key, shop)
	}
	o.last, o.begun = key, true
	return nil
}

func byBoth[T cmp.Ordered](a, b [2]T) int {
	return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]))
}

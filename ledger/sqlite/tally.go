package sqlite

import (
	"bytes"
	"cmp"
	"errors"
	"io"

	"example.org/remelt/ledger"
)

// RecordsMade implements ledger.Tallier.
func (r *reader) RecordsMade() (n int64, err error) {
	if err := r.ready(); err != nil {
		return 0, err
	}
	_, err = r.one(`SELECT CAST(total(n) AS INTEGER) FROM made WHERE shop = ?`, []any{r.shop}, &n)
	return n, err
}

// Tally implements ledger.Tallier.
//
// That all rows are there does not say yet that they are found. A table whose rows lead
// to each other, as those WITHOUT ROWID do, is searched well when they are in order; an
// index is held against its table; Entries sees to the keys that lead to entries.
func (r *reader) Tally(t *ledger.Tally) error {
	if err := r.readable(); err != nil {
		return err
	}
	var holding, parents uint64
	numbers, err := r.numbered(t, func(is uint64, c []column) error {
		name, mass, holds, parent, seq := c[1], c[3], c[4], c[5], c[6]
		if (holds.n != 0) != (mass.n != 0) {
			return errDamaged("%q has %d mg, holds: %d", name.bytes, mass.n, holds.n)
		}
		t.Balance(is, ledger.Mass(mass.n))
		if seq.kind == isInt {
			t.Record(is, parent.bytes, seq.n, c[7].n, c[8].n)
		}
		if holds.n != 0 {
			holding += is
		}
		if parent.kind != 0 {
			parents += t.Child(parent.bytes, name.bytes)
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := r.rows("touch", 3, "iii", func(c []column) error {
		is, err := numbers.name(c[1].n)
		t.Touch(is, c[2].n)
		return err
	}); err != nil {
		return err
	}
	if err := numbers.rest(); err != nil {
		return err
	}
	if err := r.rows("request", 2, "ibi", func(c []column) error {
		t.Request(c[1].bytes, c[2].n)
		return nil
	}); err != nil {
		return err
	}
	if err := r.rows("made", 2, "iti", func(c []column) error {
		t.Count(ledger.RecordKind(c[1].bytes), c[2].n)
		return nil
	}); err != nil {
		return err
	}

	if err := r.rows("name_holding", 2, "it", func(c []column) error {
		holding -= t.Name(c[1].bytes)
		return nil
	}); err != nil {
		return err
	}
	if err := r.rows("name_of_parent", 3, "itt", func(c []column) error {
		parents -= t.Child(c[1].bytes, c[2].bytes)
		return nil
	}); err != nil {
		return err
	}
	if holding != 0 || parents != 0 {
		return r.fault(errDamaged("an index of names has not what is in their table"))
	}
	return r.sound(`PRAGMA integrity_check(shop)`)
}

// names gives how many names the file has, of all shops. As nothing is verified yet, it
// may be nonsense that takes for ever to count.
func (r *reader) names() (n int64, err error) {
	var pages int64
	if _, err := r.one(`SELECT page_count FROM pragma_page_count`, nil, &pages); err != nil {
		return 0, err
	}
	err = r.c.onceOne(r.ctx, `SELECT count(*) FROM name`, &n)
	if cancelled := r.ctx.Err(); cancelled != nil {
		return 0, unavailable("CANCELLED", cancelled)
	}
	if err == nil && n > pages*(pageSize/6) { // a cell takes that much at least
		err = errDamaged("%d names on %d pages", n, pages)
	}
	return n, r.fault(err)
}

// readable tells whether SQLite reads the file as a walk does.
func (r *reader) readable() error {
	var encoding string
	var size int64
	if _, err := r.one(`SELECT encoding, page_size FROM pragma_encoding, pragma_page_size`, nil, &encoding, &size); err != nil {
		return err
	}
	if encoding != "UTF-8" || size != pageSize {
		return r.fault(errDamaged("encoding %s, pages of %d bytes", encoding, size))
	}
	return nil
}

// rows reads the shop's rows of a table WITHOUT ROWID, or of an index, and watches that
// they are the shop's and in order. The first key columns are the key, the shop before
// all. Kinds says what each column is: i an integer, t a text, b bytes; as a capital, or
// nothing. What fn is given is its own until the next.
func (r *reader) rows(name string, key int, kinds string, fn func([]column) error) error {
	if err := r.ready(); err != nil {
		return err
	}
	now, last := make([]column, len(kinds)), make([]column, len(kinds))
	w, err := walkFrom(r.c, name, false, func(_ int64, payload []byte) bool {
		return columns(payload, now) == nil && now[0].kind == isInt && now[0].n < r.shop
	})
	for n := 0; err == nil; n++ {
		var payload []byte
		if _, payload, err = w.next(); err != nil {
			break
		}
		if err = columns(payload, now); err != nil {
			break
		}
		switch {
		case now[0].kind == isInt && now[0].n > r.shop:
			if err = w.rest(func(_ int64, payload []byte) bool {
				return columns(payload, now) == nil && now[0].kind == isInt && now[0].n > r.shop
			}); err == nil {
				err = io.EOF
			}
		case now[0].kind != isInt || now[0].n != r.shop || n > 0 && !ascends(last[1:key], now[1:key]):
			err = errDamaged("%s is out of order", name)
		case !areOf(kinds, now):
			err = errDamaged("%s has what does not belong there", name)
		default:
			err = fn(now)
		}
		if n%1000 == 0 {
			err = cmp.Or(err, r.ready())
		}
		now, last = last, now
	}
	if errors.Is(err, io.EOF) {
		return nil
	}
	return r.fault(err)
}

func areOf(kinds string, c []column) bool {
	for i := range c {
		switch kind := kinds[i]; c[i].kind {
		case isInt:
			if kind|' ' != 'i' {
				return false
			}
		case isText:
			if kind|' ' != 't' {
				return false
			}
		case isBytes:
			if kind|' ' != 'b' {
				return false
			}
		default:
			if kind >= 'a' {
				return false
			}
		}
	}
	return true
}

// ascends tells whether a key is after another, both of the same kinds.
func ascends(last, now []column) bool {
	for i := range last {
		a, b := &last[i], &now[i]
		if a.kind != b.kind || a.kind == 0 {
			return false
		}
		if a.kind == isInt {
			if a.n != b.n {
				return a.n < b.n
			}
		} else if c := bytes.Compare(a.bytes, b.bytes); c != 0 {
			return c < 0
		}
	}
	return false
}

// Entries implements ledger.Tallier.
func (r *reader) Entries() (ledger.LogReader, error) {
	if err := r.ready(); err != nil {
		return nil, err
	}
	from := entryID(r.shop, 1)
	w, err := walkFrom(r.c, "entry", true, func(number int64, _ []byte) bool { return number < from })
	return &walkedLog{r, w}, r.fault(err)
}

// walkedLog reads the log by a walk.
type walkedLog struct {
	r *reader
	w *walk
}

// Log implements ledger.LogReader; it goes on where it stopped.
func (l *walkedLog) Log(_ int64, limit int) (out []ledger.Sealed, err error) {
	if err := l.r.ready(); err != nil {
		return nil, err
	}
	out = make([]ledger.Sealed, 0, min(limit, ledger.Batch))
	var c [3]column
	for len(out) < limit {
		number, payload, err := l.w.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil && number > entryID(l.r.shop, mostEntries) {
			if err = l.w.rest(func(later int64, _ []byte) bool { return later >= number }); err == nil {
				break
			}
		}
		if err == nil {
			err = columns(payload, c[:])
		}
		if s := (ledger.Sealed{Seq: number & mostEntries, Bytes: c[2].bytes}); err == nil && c[0].kind == 0 && c[1].kind == isBytes && c[2].kind == isBytes && len(c[1].bytes) == len(s.Hash) {
			copy(s.Hash[:], c[1].bytes)
			out = append(out, s)
			continue
		}
		return nil, l.r.fault(cmp.Or(err, errDamaged("entry %d is none", number&mostEntries)))
	}
	return out, nil
}

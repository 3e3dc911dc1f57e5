package ledger

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
)

// change is a record that an entry wrote, what it was before, and what became of it.
type change struct {
	wrote, before, cur Record
	had                bool  // it was there before
	same               bool  // it is as the entry left it
	later              int64 // the newest entry that stands and wrote it since, or 0
}

// changes are what an entry wrote, as it is by now.
func (d *draft) changes(old *Entry) ([]change, error) {
	out := make([]change, len(old.Records))
	for i, r := range old.Records {
		c := &out[i]
		c.wrote = r
		found, err := false, error(nil)
		if c.cur, found, err = d.Record(r.Kind, r.ID); err != nil {
			return nil, err
		} else if !found {
			return nil, corruptf("record %s/%s of entry %d is missing", r.Kind, r.ID, old.Seq)
		}
		if c.before, c.had, err = d.before(r.Kind, r.ID, old.Seq); err != nil {
			return nil, err
		}
		if c.same = c.cur.Seq == old.Seq; c.same {
			continue
		}
		if c.later, err = d.wroteSince(r, old.Seq); err != nil {
			return nil, err
		}
		c.same = c.later == 0 && c.cur.Parent == r.Parent && bytes.Equal(c.cur.Body, r.Body)
	}
	return out, nil
}

// wroteSince is the newest entry after another one that wrote a record and stands, or 0.
func (d *draft) wroteSince(r Record, seq int64) (int64, error) {
	return d.newestSince(Account(string(r.Kind)+"/"+r.ID), seq, func(e *Entry) bool {
		return slices.ContainsFunc(e.Records, func(x Record) bool { return x.Kind == r.Kind && x.ID == r.ID })
	})
}

// newestSince is the newest entry about something that is later than another one, was not
// reversed, is no reversal itself, and is of some sort; or 0.
func (d *draft) newestSince(about Account, seq int64, is func(*Entry) bool) (int64, error) {
	for e, err := range d.back(about) {
		if err != nil || e.Seq <= seq {
			return 0, err
		}
		if e.Kind == KindReverse || !is(e) {
			continue
		}
		if reversed, err := d.reversed(e.Seq); err != nil || !reversed {
			return e.Seq, err
		}
	}
	return 0, nil
}

// undoes reports whether the reversal being drafted takes back what wrote a record.
func (d *draft) undoes(kind RecordKind, id string) bool {
	return d.old != nil && slices.ContainsFunc(d.old.Records, func(r Record) bool { return r.Kind == kind && r.ID == id })
}

// used refuses to take back what was changed since.
func (c *change) used(old *Entry) error {
	what, seq := fmt.Sprintf("%s %s", c.wrote.Kind, c.wrote.ID), fmt.Sprint(old.Seq)
	if c.later == 0 {
		return badState("USED_SINCE", "entry", seq, fmt.Sprintf("%s is no longer as this left it, by entry %d, which took another back; say what is so now instead", what, c.cur.Seq))
	}
	return badState("USED_SINCE", "entry", seq, fmt.Sprintf("%s was changed since, by entry %d; reverse that first, or say what is so now instead", what, c.later))
}

// voidable are the kinds of record that say of themselves that they never were. Others,
// once there, are changed and stay.
var voidable = []RecordKind{RecLot, RecHeat, RecMold, RecCasting, RecReading, RecAddition, RecOffer, RecFuel, RecLabour, RecBoughtIn,
	RecQuote, RecRates, RecCosting, RecClosed, RecMarket, RecOrder, RecCount}

// mayUnput refuses what cannot be put back to what it was before an entry, so that no
// entry is marked as taken back of which something stands.
func (d *draft) mayUnput(old *Entry, c *change) error {
	kind := c.wrote.Kind
	switch {
	case kind == RecOrder:
		if c.same || old.Kind != KindWriteOrder && old.Kind != KindChangeOrder { // else by what it did
			return nil
		}
	case !c.had && !slices.Contains(voidable, kind):
		return badState("NOT_REVERSIBLE", "entry", fmt.Sprint(old.Seq), fmt.Sprintf("added %s %s, and nothing is taken out of the book; change what it says instead", kind, c.wrote.ID))
	case kind == RecMarket, kind == RecPot && old.Kind == KindOpenHeat, kind == RecHeat && old.Kind == KindPlanHeat && c.had:
		return nil
	case c.same:
		return d.mayUnputSame(old, c)
	case kind == RecLot:
		if moved, err := c.movedLot(old); err != nil || moved {
			return err
		}
		if _, still, err := d.lotBefore(old, c); err != nil || still {
			return err
		}
	case kind == RecMold:
		if poured, err := c.poured(); err != nil || poured != 0 || old.Kind != KindSetMold && old.Kind != KindPour {
			return err
		}
	case kind == RecPot:
		if _, counted, err := c.potBefore(); err != nil || counted {
			return err
		}
	}
	return c.used(old)
}

// mayUnputSame is mayUnput of a record that nothing changed since, on which other things
// may hang.
func (d *draft) mayUnputSame(old *Entry, c *change) error {
	switch c.wrote.Kind {
	case RecShop:
		var was Shop
		if err := c.before.Into(&was); err != nil || was.Currency == d.shop.Currency {
			return err
		}
		if err := d.noCostsYet(was.Currency); err != nil {
			return err
		}
		return d.noAgreedPrices(was.Currency)
	case RecHeat:
		if old.Kind != KindOpenHeat {
			return nil
		}
		later, err := d.newestSince(Account(heatKey(c.wrote.ID)), old.Seq, func(e *Entry) bool { return e.Kind != KindSetMold })
		if err != nil || later == 0 {
			return err
		}
		return badState("USED_SINCE", "entry", fmt.Sprint(old.Seq), fmt.Sprintf("heat %s has been melted since, by entry %d; reverse that first", c.wrote.ID, later))
	case RecCosting:
		return d.mayUnsetCosting(c)
	case RecClosed:
		var k Closed
		if err := c.wrote.Into(&k); err != nil {
			return err
		}
		if end, err := closedUntil(d); err != nil {
			return err
		} else if end.After(k.To) {
			return badState("USED_SINCE", "entry", fmt.Sprint(old.Seq), "a later period is closed, and begins with what this one was reported with; reverse that first")
		}
	}
	return nil
}

// movedLot reports whether an entry put metal or pieces into a lot or took them out:
// then that share can be taken back, whatever became of the rest.
func (c *change) movedLot(old *Entry) (bool, error) {
	var b, w Lot
	if err := c.both(&b, &w); err != nil {
		return false, err
	}
	a := Acct(OfLot, c.wrote.ID)
	return b.Pieces != w.Pieces || !slices.Equal(b.From, w.From) ||
		slices.ContainsFunc(old.Postings, func(p Posting) bool { return p.Account == a }), nil
}

// lotBefore is a lot with what an entry that moved nothing said of it put back, and all
// that was said of it otherwise since; false when a later entry speaks of the same.
func (d *draft) lotBefore(old *Entry, c *change) (now Lot, ok bool, err error) {
	var b, w Lot
	if err := c.both(&b, &w); err != nil {
		return now, false, err
	}
	if err := c.cur.Into(&now); err != nil {
		return now, false, err
	}
	was, wrote := reflect.ValueOf(b), reflect.ValueOf(w)
	field := func(v reflect.Value, i int) any { return v.Field(i).Interface() }
	says := func(l Lot) bool {
		for i := range wrote.NumField() {
			if !reflect.DeepEqual(field(was, i), field(wrote, i)) && !reflect.DeepEqual(field(reflect.ValueOf(l), i), field(wrote, i)) {
				return false
			}
		}
		return true
	}
	later, err := d.newestSince(Acct(OfLot, w.ID), old.Seq, func(e *Entry) bool {
		var l Lot
		found, err := e.Find(RecLot, w.ID, &l)
		return found && (err != nil || !says(l))
	})
	if err != nil || later != 0 || !says(now) {
		if later != 0 {
			c.later = later
		}
		return now, false, err
	}
	back := reflect.ValueOf(&now).Elem()
	for i := range wrote.NumField() {
		if !reflect.DeepEqual(field(was, i), field(wrote, i)) {
			back.Field(i).Set(was.Field(i))
		}
	}
	return now, true, nil
}

// poured is what an entry noted as poured into a mold.
func (c *change) poured() (Mass, error) {
	var b, w Mold
	err := c.both(&b, &w)
	return w.Poured - b.Poured, err
}

// potBefore is a pot as it was before an entry, with the heats that were counted since;
// false when something else was changed since.
func (c *change) potBefore() (b Pot, ok bool, err error) {
	var w, now Pot
	if err := c.both(&b, &w); err != nil {
		return b, false, err
	}
	if err := c.cur.Into(&now); err != nil {
		return b, false, err
	}
	b.Heats += now.Heats - w.Heats
	return b, sameBut(now, w), nil
}

// sameBut reports whether two pots differ in no more than the heats that were counted.
func sameBut(a, b Pot) bool {
	pa, pb := a.Price, b.Price
	a.Heats, a.Price, b.Price = b.Heats, nil, nil
	return a == b && (pa == pb || pa != nil && pb != nil && *pa == *pb)
}

// both reads what a record was and what the entry made of it.
func (c *change) both(before, wrote any) error {
	if c.had {
		if err := c.before.Into(before); err != nil {
			return err
		}
	}
	return c.wrote.Into(wrote)
}

package ledger

import (
	"fmt"
	"time"
)

// A date that is typed is wrong more often than not when what it is about was not there
// yet: the year, the month or the day is another. Metal would move at a time, and so at a
// cost, that it had not.

// earlyGrace is how much earlier something may be dated than what it is about: who writes
// down a day in the evening does not know which came first.
const earlyGrace = 24 * time.Hour

// longBefore is how long before a book was opened something may have happened.
const longBefore = 366 * 24 * time.Hour

// backdated reports whether an entry is dated that much before it is recorded.
func (d *draft) backdated() bool { return d.now.Sub(d.e.Happened) > earlyGrace }

// askLongAgo flags a date long before the book was opened.
func (d *draft) askLongAgo(head int64) error {
	if head == 0 || d.now.Sub(d.e.Happened) <= longBefore {
		return nil
	}
	first, err := d.Log(0, 1)
	if err != nil || len(first) == 0 {
		return err
	}
	e, err := first[0].Open()
	if err != nil {
		return err
	}
	if e.Recorded.Sub(d.e.Happened) > longBefore {
		d.flag(FlagTooEarly, fmt.Sprintf("it is dated %s, more than a year before the book was opened on %s", day(d.e.Happened), day(e.Recorded)))
	}
	return nil
}

// askHeatBegan flags what is dated before its heat was opened.
func (d *draft) askHeatBegan(h *Heat) {
	if d.backdated() && h.Opened.Sub(d.e.Happened) > earlyGrace {
		d.flag(FlagTooEarly, fmt.Sprintf("it is dated %s, and heat %s was opened on %s", day(d.e.Happened), h.ID, day(h.Opened)))
	}
}

// askLotBegan flags what is dated before all that the book says of a lot.
func (d *draft) askLotBegan(lot string) error {
	if !d.backdated() {
		return nil
	}
	var first *Entry
	for e, err := range d.back(Acct(OfLot, lot)) {
		if err != nil || e.Happened.Sub(d.e.Happened) <= earlyGrace {
			return err
		}
		first = e
	}
	if first != nil {
		d.flag(FlagTooEarly, fmt.Sprintf("it is dated %s, and lot %s came on %s", day(d.e.Happened), lot, day(first.Happened)))
	}
	return nil
}

func day(t time.Time) string { return t.Format("2006-01-02") }

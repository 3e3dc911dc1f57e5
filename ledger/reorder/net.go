package reorder

import (
	"cmp"
	"fmt"
	"slices"
)

// Heat is a planned charge.
type Heat struct {
	ID     string
	Day    int   // before 0: overdue, and wanted today
	Gross  int64 // all of the charge
	Most   int64 // of it, returns at most
	Back   int64 // returns that it will give
	BackOn int   // and when they are on the shelf
}

// Arrival is an amount that comes.
type Arrival struct {
	Day    int
	Amount int64
}

// Metal is what there is and what comes, new metal and returns apart.
type Metal struct {
	New, Returns         int64
	NewComing, BackAgain []Arrival
}

// NetLine is what a heat takes and what is missing for it.
type NetLine struct {
	Heat    string
	Day     int
	Gross   int64
	Returns int64 // of it from returns
	New     int64 // of it from new metal here or coming by then
	Short   int64 // of it to be bought
}

// Netting is what planned heats take.
type Netting struct {
	Lines        []NetLine // by day
	Short        int64     // to be bought, in all
	By           int       // the day of the first shortage
	New, Returns int64     // left of what there is and comes by the last heat
	Capped       int64     // returns that were there when heats had to be short, and were not allowed
}

// Net deals metal to planned heats in the order of their days: returns first, as many as
// are there and allowed, then new metal. Taking returns as early as they are allowed leaves
// the least to be bought by any day, since none spoil and what one heat may not take
// another may. What a heat is short of counts as bought for it.
func Net(heats []Heat, m Metal) (out Netting, err error) {
	if err := checkNet(heats, m); err != nil {
		return out, err
	}
	heats = slices.Clone(heats)
	slices.SortStableFunc(heats, func(a, b Heat) int { return cmp.Compare(a.Day, b.Day) })
	newIn, backIn := sorted(m.NewComing), slices.Clone(m.BackAgain)
	out.New, out.Returns = m.New, m.Returns
	for i, h := range heats {
		newIn = arrive(newIn, max(h.Day, 0), &out.New)
		backIn = arrive(sorted(backIn), max(h.Day, 0), &out.Returns)
		l := NetLine{Heat: h.ID, Day: h.Day, Gross: h.Gross}
		l.Returns = min(out.Returns, h.Most)
		l.New = min(out.New, h.Gross-l.Returns)
		l.Short = h.Gross - l.Returns - l.New
		out.Returns -= l.Returns
		out.New -= l.New
		if l.Short > 0 {
			if out.Short == 0 {
				out.By = h.Day
			}
			out.Short += l.Short
			out.Capped = max(out.Capped, min(out.Returns, l.Short))
		}
		out.Lines = append(out.Lines, l)
		backIn = append(backIn, Arrival{max(h.BackOn, heats[i].Day+1), h.Back})
	}
	return out, nil
}

func checkNet(heats []Heat, m Metal) error {
	for i, h := range heats {
		at := fmt.Sprintf("heats[%d].", i)
		if err := amount(at+"gross", h.Gross); err != nil {
			return err
		}
		if err := need(h.Most >= 0 && h.Most <= h.Gross, at+"most", h.Most, "no more than the charge"); err != nil {
			return err
		}
		if err := need(h.Back >= 0 && h.Back <= h.Gross, at+"back", h.Back, "no more than the charge"); err != nil {
			return err
		}
	}
	for _, v := range [][]Arrival{{{0, m.New}, {0, m.Returns}}, m.NewComing, m.BackAgain} {
		for _, a := range v {
			if err := amount("metal", a.Amount); err != nil {
				return err
			}
		}
	}
	return nil
}

func sorted(a []Arrival) []Arrival {
	a = slices.Clone(a)
	slices.SortStableFunc(a, func(x, y Arrival) int { return cmp.Compare(x.Day, y.Day) })
	return a
}

// arrive adds what comes by a day and gives what comes later.
func arrive(in []Arrival, day int, to *int64) []Arrival {
	for len(in) > 0 && in[0].Day <= day {
		*to += in[0].Amount
		in = in[1:]
	}
	return in
}

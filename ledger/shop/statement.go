package shop

import (
	"cmp"
	"context"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
)

// Statement is a period's money. Its lines sum: what was here at the start, what
// closed periods before it turned out to have been wrong by, and what came in are what
// left and what is here at the end.
type Statement struct {
	From, To         time.Time
	Opening, Closing cost.Where
	Stock            []ledger.ClosedStock // at its end, by alloy
	Kept             *ledger.Closed       // it is closed: as it was reported
	Changes          []Change             // what the book says otherwise now than closed periods reported
	Currency         string
	Seq              int64

	before *ledger.Closed // the closed period that ended where this one begins
}

// Change is a figure as it was told once and as it is now.
type Change struct {
	Name     string
	Was, Now int64
}

// Figures are the lines of the statement, as they were reported if it is closed.
func (s Statement) Figures() []ledger.CostLine {
	if s.Kept != nil {
		return s.Kept.Figures
	}
	return s.reckoned()
}

func (s Statement) reckoned() (out []ledger.CostLine) {
	opening := sum(here(s.Opening))
	if s.before != nil {
		reported := int64(0)
		for _, l := range here(cost.Where{Theirs: 1}) { // every line of it
			reported += figure(s.before.Figures, l.Name)
		}
		out = append(out, ledger.CostLine{Name: "opening", Minor: reported}, ledger.CostLine{Name: "corrections of closed periods", Minor: opening - reported})
	} else {
		out = append(out, ledger.CostLine{Name: "opening", Minor: opening})
	}
	was := ever(s.Opening)
	for i, l := range ever(s.Closing) {
		out = append(out, ledger.CostLine{Name: l.Name, Minor: l.Minor - was[i].Minor})
	}
	closing := here(s.Closing)
	return append(append(out, closing...), ledger.CostLine{Name: "here at the end", Minor: sum(closing)})
}

// ever is what came and went since the book began: the first line came.
func ever(w cost.Where) []ledger.CostLine {
	return []ledger.CostLine{
		{Name: "bought and spent", Minor: w.In},
		{Name: "castings that left", Minor: w.Shipped},
		{Name: "lots that left", Minor: w.Left},
		{Name: "abnormal loss", Minor: w.Abnormal},
		{Name: "differences and supplies used", Minor: w.Expensed},
	}
}

// here is where the money is that came and did not leave.
func here(w cost.Where) []ledger.CostLine {
	out := []ledger.CostLine{
		{Name: "metal in stock", Minor: w.Stock},
		{Name: "supplies in stock", Minor: w.Supplies},
		{Name: "in process", Minor: w.InProcess},
		{Name: "castings here", Minor: w.Castings},
	}
	if w.Theirs != 0 {
		out = append(out, ledger.CostLine{Name: "own metal in customers' lots", Minor: w.Theirs})
	}
	return out
}

func sum(lines []ledger.CostLine) (out int64) {
	for _, l := range lines {
		out += l.Minor
	}
	return out
}

func figure(lines []ledger.CostLine, name string) int64 {
	for _, l := range lines {
		if l.Name == name {
			return l.Minor
		}
	}
	return 0
}

// changes are the figures that differ, those of now first.
func changes(was, now []ledger.CostLine) (out []Change) {
	for _, n := range now {
		if w := figure(was, n.Name); w != n.Minor {
			out = append(out, Change{n.Name, w, n.Minor})
		}
	}
	for _, w := range was {
		if w.Minor != 0 && !slices.ContainsFunc(now, func(n ledger.CostLine) bool { return n.Name == w.Name }) {
			out = append(out, Change{w.Name, w.Minor, 0})
		}
	}
	return out
}

// CostStatement is a period's money. One that is closed is told as it was reported,
// with what the book says otherwise now; the first open one after closed ones begins
// with what was reported and takes their corrections in.
func (s *Shop) CostStatement(ctx context.Context, from, to time.Time) (out Statement, err error) {
	if !from.Before(to) {
		return out, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PERIOD", Field: "end_time", Value: to.Format(time.RFC3339), Want: "must be after the start"}
	}
	err = s.view(ctx, func(r ledger.Reader) error {
		if out, err = statementIn(r, from, to); err != nil {
			return err
		}
		recs, err := kept{r}.records(ledger.RecClosed, "")
		if err != nil {
			return err
		}
		for _, rec := range recs {
			var c ledger.Closed
			if err := rec.Into(&c); err != nil {
				return err
			}
			if c.Void {
				continue
			}
			if c.To.Equal(from) {
				out.before = &c
			}
			if c.From.Equal(from) && c.To.Equal(to) {
				out.Kept = &c
			}
		}
		switch {
		case out.Kept != nil:
			out.Changes = changes(out.Kept.Figures, out.reckoned())
			out.Stock = out.Kept.Stock
		case out.before != nil:
			now := here(out.Opening)
			var was []ledger.CostLine
			for _, l := range now {
				was = append(was, ledger.CostLine{Name: l.Name, Minor: figure(out.before.Figures, l.Name)})
			}
			out.Changes = append(changes(out.before.Ever, ever(out.Opening)), changes(was, now)...)
		}
		return nil
	})
	return out, err
}

func statementIn(r ledger.Reader, from, to time.Time) (out Statement, err error) {
	opening, err := costsIn(r, AsOf{Happened: from.Add(-time.Nanosecond)})
	if err != nil {
		return out, err
	}
	closing, err := costsIn(r, AsOf{Happened: to.Add(-time.Nanosecond)})
	out = Statement{From: from, To: to, Opening: opening.Where(), Closing: closing.Where(), Currency: closing.Currency, Seq: closing.Seq}
	for _, p := range closing.Stock() {
		out.Stock = append(out.Stock, ledger.ClosedStock{Alloy: p.Pool, Mass: ledger.Mass(p.Mass), Free: ledger.Mass(p.Free), Minor: p.Cost})
	}
	slices.SortFunc(out.Stock, func(a, b ledger.ClosedStock) int { return cmp.Compare(a.Alloy, b.Alloy) })
	return out, err
}

// CloseMonth closes a period with the figures of now.
func (s *Shop) CloseMonth(ctx context.Context, m ledger.Meta, from, to time.Time) (*ledger.Entry, error) {
	st, err := s.CostStatement(ctx, from, to)
	if err != nil {
		return nil, err
	}
	return s.ClosePeriod(ctx, m, ledger.ClosePeriod{From: from, To: to},
		ledger.Closed{Seq: st.Seq, Figures: st.Figures(), Ever: ever(st.Closing), Stock: st.Stock})
}

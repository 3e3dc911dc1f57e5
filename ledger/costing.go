package ledger

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/remelt/ledger/unit"
)

// Kinds of entry about money.
const (
	KindSetCosting  Kind = "set-costing"
	KindClosePeriod Kind = "close-period"
)

// Kinds of record about money.
const (
	RecCosting RecordKind = "costing"       // how cost is reckoned from a date on
	RecClosed  RecordKind = "closed-period" // what a period was reported as
)

// CostMethods are the ways stock is costed when it is used: each lot its own, first
// in first out, a moving average, one average for each month.
var CostMethods = []string{"by-lot", "first-in", "moving-average", "month-average"}

// Costing is how a shop reckons cost, from a date on.
type Costing struct {
	ID        string       `json:"id"` // the date: 2026-01-01
	From      time.Time    `json:"from"`
	Method    string       `json:"method"`
	Recovered []AlloyPrice `json:"recovered,omitempty"` // what returns and pigs are worth; else the cost of the metal charged
	Skimmings []AlloyPrice `json:"skimmings,omitempty"` // what the metal in skimmings would fetch; else nothing
	Normal    []AlloyShare `json:"normal,omitempty"`    // loss that is normal, of the charge
	Wear      []PotWear    `json:"wear,omitempty"`      // what a heat wears off a crucible
	Void      bool         `json:"void,omitempty"`
}

// AlloyPrice is a price of an alloy by mass, as typed and for one tonne.
type AlloyPrice struct {
	Alloy    string `json:"alloy"`
	Typed    string `json:"typed"`
	PerTonne int64  `json:"minor_per_tonne"`
}

// AlloyShare is a share of an alloy's charge.
type AlloyShare struct {
	Alloy   string `json:"alloy"`
	PPM     PPM    `json:"ppm"`
	Learned bool   `json:"learned,omitempty"` // instead: what the shop's heats before it let expect of a heat, once it is settled
}

// PotWear is what one heat wears off a crucible or furnace.
type PotWear struct {
	Pot   string `json:"pot"`
	Typed string `json:"typed"`
	Minor int64  `json:"minor"`
}

// Tonne is the mass that AlloyPrice.PerTonne is for.
const Tonne Mass = 1_000_000_000

// SetCosting keeps how cost is reckoned from the start of a day on. A policy of the
// same day replaces it; one dated inside a closed period is refused, and so is another
// method from before a heat that is settled already. What else a policy says holds for
// heats that are not settled when it is recorded.
func (b *Book) SetCosting(ctx context.Context, m Meta, c Costing) (*Entry, error) {
	return b.write(ctx, m, KindSetCosting, c, func(d *draft) error {
		c := c
		c.Recovered, c.Skimmings, c.Normal, c.Wear = slices.Clone(c.Recovered), slices.Clone(c.Skimmings), slices.Clone(c.Normal), slices.Clone(c.Wear)
		if c.From.IsZero() {
			return invalid("REQUIRED", "from", "", "say the day from which it holds, such as 2026-01-01")
		}
		if !slices.Contains(CostMethods, c.Method) {
			return invalid("BAD_METHOD", "method", c.Method, "must be one of "+strings.Join(CostMethods, ", "))
		}
		closed, err := closedUntil(d)
		if err != nil {
			return err
		}
		if c.From.Before(closed) {
			return badState("PERIOD_CLOSED", "from", c.From.Format(time.DateOnly), "periods are closed until "+closed.Format(time.DateOnly)+"; a change holds from then on or later")
		}
		if err := d.keepsMethod(c); err != nil {
			return err
		}
		if err := d.alloyPrices("recovered", c.Recovered); err != nil {
			return err
		}
		if err := d.alloyPrices("skimmings", c.Skimmings); err != nil {
			return err
		}
		for i := range c.Normal {
			n, field := &c.Normal[i], fmt.Sprintf("normal[%d]", i)
			if n.Alloy, _, err = d.alloy(field+".alloy", n.Alloy); err != nil {
				return err
			}
			if n.Learned && n.PPM != 0 {
				return invalid("CONTRADICTION", field+".percent", fmt.Sprint(n.PPM), "is learned or a figure, not both")
			}
			if err := checkShare(field+".percent", n.PPM); err != nil {
				return err
			}
		}
		for i := range c.Wear {
			w, field := &c.Wear[i], fmt.Sprintf("wear[%d]", i)
			if err := d.must(RecPot, field+".pot", w.Pot, &Pot{}); err != nil {
				return err
			}
			p, err := d.price(field+".price", w.Typed, 0)
			if err != nil {
				return err
			}
			w.Minor = p.InBook().Minor
		}
		c.ID = c.From.Format(time.DateOnly)
		return d.put(RecCosting, c.ID, "", c)
	})
}

// keepsMethod refuses another method of costing stock from before a settled heat was
// poured: it would change what the heat's metal cost. The first choice is free.
func (d *draft) keepsMethod(c Costing) error {
	held, err := d.methodFrom(c.From, "")
	if err != nil || held == "" {
		return err
	}
	return d.sameMethod("from", c.From.Format(time.DateOnly), c.From, held, c.Method, 0)
}

// methodFrom is the method that holds from a day on, as policies but one say; "" when none
// does.
func (d *draft) methodFrom(from time.Time, but string) (held string, err error) {
	err = eachRecord(d, RecCosting, func(old Costing) error {
		if !old.Void && old.ID != but && (held == "" || !old.From.After(from)) { // before the first one's day the first holds
			held = old.Method
		}
		return nil
	})
	return held, err
}

// sameMethod refuses another method from before a heat that was settled after an entry.
func (d *draft) sameMethod(field, value string, from time.Time, held, method string, after int64) error {
	if held == method {
		return nil
	}
	return eachRecord(d, RecHeat, func(h Heat) error {
		if h.State != Settled || h.Poured.Before(from) {
			return nil
		}
		if r, _, err := d.Record(RecHeat, h.ID); err != nil || r.Seq <= after {
			return err
		}
		return badState("HEAT_SETTLED", field, value,
			fmt.Sprintf("heat %s, poured on %s, is settled with its metal costed %s; change the method from a later day on", h.ID, h.Poured.Format(time.DateOnly), held))
	})
}

// mayUnsetCosting asks of a policy that is taken back what SetCosting asks of a new one.
func (d *draft) mayUnsetCosting(c *change) error {
	var b, w Costing
	if err := c.both(&b, &w); err != nil {
		return err
	}
	entry := fmt.Sprint(d.old.Seq)
	if closed, err := closedUntil(d); err != nil {
		return err
	} else if w.From.Before(closed) {
		return badState("PERIOD_CLOSED", "entry", entry, "periods are closed until "+closed.Format(time.DateOnly)+", with what this says; set another from then on or later")
	}
	then := b.Method
	if !c.had || b.Void {
		var err error
		if then, err = d.methodFrom(w.From, w.ID); err != nil {
			return err
		}
	}
	after := int64(0)
	if then == "" { // the first choice was free, and is until a heat was settled by it
		after = d.old.Seq
	}
	return d.sameMethod("entry", entry, w.From, w.Method, then, after)
}

// eachRecord reads all current records of a kind, by id.
func eachRecord[T any](r Reader, kind RecordKind, fn func(T) error) error {
	for after := ""; ; {
		recs, err := r.Records(kind, "", after, MaxPage)
		if err != nil {
			return err
		}
		for _, rec := range recs {
			var v T
			if err := rec.Into(&v); err != nil {
				return err
			}
			if err := fn(v); err != nil {
				return err
			}
			after = rec.ID
		}
		if len(recs) < MaxPage {
			return nil
		}
	}
}

func (d *draft) ownCurrency(field, typed, currency string) error {
	if currency != d.shop.Currency {
		return invalid("OTHER_CURRENCY", field, typed, "the book is kept in "+d.shop.Currency+"; say it in that")
	}
	return nil
}

// alloyPrices reads prices by mass.
func (d *draft) alloyPrices(field string, prices []AlloyPrice) (err error) {
	for i := range prices {
		p, at := &prices[i], fmt.Sprintf("%s[%d]", field, i)
		if p.Alloy, _, err = d.alloy(at+".alloy", p.Alloy); err != nil {
			return err
		}
		rate, err := unit.ParseRate(p.Typed, "", unit.MassUnit(d.shop.MassUnit))
		if err != nil {
			return wrapUnit(at+".price", err)
		}
		if rate.Amount < 0 {
			return invalid("NEGATIVE", at+".price", p.Typed, "a price must not be negative")
		}
		if err := d.ownCurrency(at+".price", p.Typed, rate.Currency); err != nil {
			return err
		}
		p.PerTonne = rate.Cost(int64(Tonne))
	}
	return nil
}

// Closed is a period as it was reported. Its figures never change; what is learned
// later shows as a difference.
type Closed struct {
	ID      string        `json:"id"` // the first day after it: 2026-02-01
	From    time.Time     `json:"from"`
	To      time.Time     `json:"to"` // the first moment after it
	Seq     int64         `json:"seq"`
	Figures []CostLine    `json:"figures"`
	Ever    []CostLine    `json:"ever,omitempty"`  // what came and went since the book began
	Stock   []ClosedStock `json:"stock,omitempty"` // metal in stock at its end, by alloy
	Void    bool          `json:"void,omitempty"`  // it is open again
}

// ClosedStock is an alloy's stock at the end of a closed period.
type ClosedStock struct {
	Alloy string `json:"alloy"`
	Mass  Mass   `json:"mg"`
	Free  Mass   `json:"without_price_mg,omitempty"`
	Minor int64  `json:"minor"`
}

// CostLine is a named figure in minor units.
type CostLine struct {
	Name  string `json:"name"`
	Minor int64  `json:"minor"`
}

// ClosePeriod names the period to close.
type ClosePeriod struct{ From, To time.Time }

// ClosePeriod keeps a period's figures as they are reported; those in c were reckoned
// from the book. It must end before now and begin where the last closed one ended.
func (b *Book) ClosePeriod(ctx context.Context, m Meta, p ClosePeriod, c Closed) (*Entry, error) {
	return b.write(ctx, m, KindClosePeriod, p, func(d *draft) error {
		c := c
		c.From, c.To = p.From, p.To
		if !c.From.Before(c.To) {
			return invalid("BAD_PERIOD", "end_time", c.To.Format(time.DateOnly), "must be after "+c.From.Format(time.DateOnly))
		}
		if c.To.After(d.now) {
			return invalid("FUTURE", "end_time", c.To.Format(time.DateOnly), "the period is not over yet")
		}
		last, err := closedUntil(d)
		if err != nil {
			return err
		}
		if !last.IsZero() && !c.From.Equal(last) {
			return badState("PERIOD_GAP", "start_time", c.From.Format(time.DateOnly), "the last closed period ended on "+last.Format(time.DateOnly)+"; the next begins there")
		}
		c.ID = c.To.Format(time.DateOnly)
		return d.put(RecClosed, c.ID, "", c)
	})
}

// closedUntil is the end of the last closed period.
func closedUntil(r Reader) (end time.Time, err error) {
	err = eachRecord(r, RecClosed, func(c Closed) error {
		if c.To.After(end) && !c.Void {
			end = c.To
		}
		return nil
	})
	return end, err
}

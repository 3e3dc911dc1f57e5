package shop

import (
	"context"
	"fmt"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
	"example.org/remelt/ledger/quote"
)

// CommissionCost is what a commission has really cost, beside its quote.
type CommissionCost struct {
	Commission  ledger.Commission
	Quote       *ledger.Quote // nil when none was made
	Castings    []CommissionCasting
	Labour      []ledger.Labour
	Bought      []ledger.BoughtIn
	Lines       []CostBeside       // by cause; both columns add up
	Differences []quote.Difference // add up to Cost less the quote's cost; nil without a quote
	Copies      int64              // to be cast
	Good        int64              // cast and here, or shipped
	Cost        int64
	Provisional bool        // a heat of it is not settled
	Free        ledger.Mass // of its castings' metal, what came without a price
	NoFuel      []string    // its heats of which no fuel was booked
	Currency    string
	Seq         int64
}

// CostBeside is a cause with what was quoted and what it came to.
type CostBeside struct {
	What           string
	Quoted, Really int64
}

// CommissionCasting is a casting of a commission and what it cost.
type CommissionCasting struct {
	ID, Heat, Name string
	Mass           ledger.Mass
	Failed         bool
	Metal          int64 // the metal charged less what came back
	Fuel           int64
	Melt           int64       // flux, additions, wear of the crucible
	Recovered      int64       // of one that failed
	Ground         ledger.Mass // from cut off to finished: kerf and grinding, whether its heat was settled or not
	GroundCost     int64       // of Metal, what of it that metal bore
}

// CommissionCost reckons it against a version of its quote; the last one for version 0.
func (s *Shop) CommissionCost(ctx context.Context, id string, version int64) (out CommissionCost, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		c := &commissionCoster{kept: kept{r}}
		if err := c.read(id, version); err != nil {
			return err
		}
		if err := c.rates(s.clock()); err != nil {
			return err
		}
		if err := c.castings(); err != nil {
			return err
		}
		out = c.out
		return c.settle(&out)
	})
	return out, err
}

type commissionCoster struct {
	kept
	out      CommissionCost
	actual   quote.Actual
	mold     int64 // consumables of a mold, at the rate
	overhead ledger.PPM
}

func (c *commissionCoster) read(id string, version int64) error {
	rec, found, err := c.r.Record(ledger.RecCommission, id)
	if err != nil {
		return err
	}
	if !found {
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "commission", Value: id, Want: "no commission of this name in the book"}
	}
	if err := rec.Into(&c.out.Commission); err != nil {
		return err
	}
	for _, p := range c.out.Commission.Patterns {
		c.out.Copies += p.Copies
	}
	quotes, err := recordsOf[ledger.Quote](c.kept, ledger.RecQuote, ledger.OfCommission(id))
	if err != nil {
		return err
	}
	for _, q := range quotes {
		if !q.Void && (version == 0 && (c.out.Quote == nil || q.Version > c.out.Quote.Version) || q.Version == version) {
			c.out.Quote = &q
		}
	}
	if version != 0 && c.out.Quote == nil {
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "version", Value: fmt.Sprint(version), Want: "no version of this number of the quote"}
	}
	labour, err := recordsOf[ledger.Labour](c.kept, ledger.RecLabour, ledger.OfCommission(id))
	if err != nil {
		return err
	}
	bought, err := recordsOf[ledger.BoughtIn](c.kept, ledger.RecBoughtIn, ledger.OfCommission(id))
	c.out.Labour = slices.DeleteFunc(labour, func(l ledger.Labour) bool { return l.Void })
	c.out.Bought = slices.DeleteFunc(bought, func(x ledger.BoughtIn) bool { return x.Void })
	return err
}

// recordsOf reads all records of a kind under a parent.
func recordsOf[T any](k kept, kind ledger.RecordKind, parent string) (out []T, err error) {
	recs, err := k.records(kind, parent)
	for _, rec := range recs {
		var v T
		if err := rec.Into(&v); err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, err
}

// rates are those of the quote, else those of today: molds and overhead are reckoned at
// their rate, since nobody weighs them out to a commission.
func (c *commissionCoster) rates(now time.Time) error {
	if q := c.out.Quote; q != nil {
		c.mold, c.overhead = q.Basis.Mold.Likely, q.Basis.Overhead
		return nil
	}
	rates, _, err := ledger.RatesAt(c.r, now)
	c.mold, c.overhead = rates.Mold.Likely, rates.Overhead
	return err
}

// castings takes from each heat what its castings of this commission bear.
func (c *commissionCoster) castings() error {
	all, err := costsIn(c.r, AsOf{})
	if err != nil {
		return err
	}
	c.out.Currency, c.out.Seq = all.Currency, all.Seq
	castings, err := recordsOf[ledger.Casting](c.kept, ledger.RecCasting, "")
	if err != nil {
		return err
	}
	gave := map[string]bool{}
	for _, k := range castings {
		if k.Commission == c.out.Commission.ID && k.Gone != ledger.GoneByMistake {
			gave[k.Mold] = true
			c.casting(k, all.Heat(k.Heat))
		}
	}
	molds, err := recordsOf[ledger.Mold](c.kept, ledger.RecMold, "")
	for _, m := range molds { // a mold that gave nothing is a casting that failed
		if m.Commission == c.out.Commission.ID && (m.State == ledger.MoldShort || m.State == ledger.MoldLeaked) && !gave[m.ID] {
			c.out.Castings = append(c.out.Castings, CommissionCasting{Heat: m.Heat, Name: m.Name, Failed: true})
			c.actual.Castings = append(c.actual.Castings, quote.Cast{Failed: true, Waste: c.mold})
		}
	}
	return err
}

func (c *commissionCoster) casting(k ledger.Casting, h cost.Heat) {
	x := CommissionCasting{ID: k.ID, Heat: k.Heat, Name: k.Name, Failed: k.Gone == brokenUp}
	c.out.Provisional = c.out.Provisional || h.Provisional
	for _, b := range h.Castings {
		if b.ID != k.ID {
			continue
		}
		fuel, melt, burned := int64(0), int64(0), false
		for _, l := range h.Conversion {
			if l.Name == string(ledger.KindFuel) {
				fuel, burned = fuel+l.Cost, true
			} else {
				melt += l.Cost
			}
		}
		if !burned && !slices.Contains(c.out.NoFuel, k.Heat) {
			c.out.NoFuel = append(c.out.NoFuel, k.Heat)
		}
		c.out.Free += ledger.Mass(b.Free)
		parts := cost.Share(b.Cost, []int64{h.Metal - cost.Sum(h.Credits), fuel, melt})
		x.Mass, x.Metal, x.Fuel, x.Melt, x.Recovered = ledger.Mass(b.Mass), parts[0], parts[1], parts[2], b.Credit
		if last, ok := k.Weights[ledger.Finished]; ok && k.Weights[ledger.CutOff] > last {
			x.Ground = min(k.Weights[ledger.CutOff]-last, x.Mass)
			x.GroundCost = cost.Part(x.Metal, int64(x.Ground), max(b.Mass, 1))
		}
	}
	cast := quote.Cast{Alloy: k.Alloy, Mass: int64(x.Mass), Metal: x.Metal, Failed: x.Failed,
		Price: cost.Part(h.Metal, int64(ledger.Tonne), h.Charged), Lost: cost.Part(h.Normal, int64(ledger.Whole), h.Charged)}
	if x.Failed {
		cast.Waste = x.Metal + x.Fuel + x.Melt - x.Recovered + c.mold
	} else {
		c.out.Good++
		c.actual.Fuel += x.Fuel
		c.actual.Consumables += x.Melt + c.mold
	}
	c.actual.Castings = append(c.actual.Castings, cast)
	c.out.Castings = append(c.out.Castings, x)
}

// settle adds up, and sets it beside the quote.
func (c *commissionCoster) settle(out *CommissionCost) (err error) {
	labour, wasted, metal, ground := int64(0), int64(0), int64(0), int64(0)
	for _, l := range out.Labour {
		labour += l.Minor
		c.actual.Work = append(c.actual.Work, quote.Hours{Kind: l.Kind, Minutes: l.Minutes, Cost: l.Minor})
	}
	for _, x := range out.Bought {
		c.actual.Bought += x.Minor
	}
	for _, k := range c.actual.Castings {
		if k.Failed {
			wasted += k.Waste
		} else {
			metal += k.Metal
		}
	}
	for _, k := range out.Castings {
		if !k.Failed {
			ground += k.GroundCost
		}
	}
	c.actual.Overhead = int64(c.overhead.Of(ledger.Mass(labour)))
	out.Cost = c.actual.Cost()
	was := func(causes ...quote.Cause) (sum int64) {
		if out.Quote != nil {
			for _, x := range causes {
				sum += lineOf(*out.Quote, x)
			}
		}
		return sum
	}
	out.Lines = []CostBeside{
		{"metal and melt loss, less what comes back", was(quote.OfMetal, quote.OfGating, quote.OfReturns, quote.OfLoss), metal - ground},
		{"metal lost from cut off to finished", 0, ground},
		{quote.Consumables.String(), was(quote.Consumables), c.actual.Consumables},
		{quote.Fuel.String(), was(quote.Fuel), c.actual.Fuel},
		{quote.Labour.String(), was(quote.Labour), labour},
		{quote.Overhead.String(), was(quote.Overhead), c.actual.Overhead},
		{quote.BoughtIn.String(), was(quote.BoughtIn), c.actual.Bought},
		{quote.Recasts.String(), was(quote.Recasts), wasted},
		{quote.Contingency.String(), was(quote.Contingency), 0},
	}
	if out.Quote != nil {
		if out.Differences, err = quote.Compare(jobOf(out.Quote.Basis), quoted(*out.Quote), c.actual); err != nil {
			return quoteError(err)
		}
	}
	return nil
}

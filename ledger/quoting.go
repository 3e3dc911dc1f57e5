package ledger

import (
	"context"
	"fmt"
	"slices"
	"time"

	"example.org/remelt/ledger/unit"
)

// MakeQuote asks for a quote of a commission. What is not said is taken from the shop's
// rates and its past.
type MakeQuote struct {
	Commission string
	Prices     []NamedRange `json:",omitempty"` // by alloy: minor units for a tonne
	Hours      []NamedRange `json:",omitempty"` // by kind of work: minutes, for the whole commission
	Bought     []NamedRange `json:",omitempty"` // what is bought in: minor units
	Margin     *PPM         `json:",omitempty"` // instead of the rates'
	Seed       uint64       `json:",omitempty"` // of the simulation
	Until      string       `json:",omitempty"` // the last day on which it holds: 2026-12-24
	Note       string       `json:",omitempty"`
}

// NamedRange is a range of something.
type NamedRange struct {
	Name  string `json:"name"`
	Range Range  `json:"range"`
}

// Quote is a version of a quote: what was assumed and what came of it, as it was given.
type Quote struct {
	ID         string      `json:"id"` // otter-1
	Commission string      `json:"commission"`
	Version    int64       `json:"version"`
	Currency   string      `json:"currency"`
	Basis      QuoteBasis  `json:"basis"`
	Assumed    []string    `json:"assumed,omitempty"` // where the figures are from, in words
	Low        int64       `json:"low"`               // the price that is enough in 10 of 100 outcomes, minor units
	Likely     int64       `json:"likely"`            // in 50
	High       int64       `json:"high"`              // in 90
	Average    int64       `json:"average"`
	Cost       int64       `json:"cost"`  // of Likely, without margin
	Lines      []QuoteLine `json:"lines"` // add up to Likely
	Until      string      `json:"until,omitempty"`
	Note       string      `json:"note,omitempty"`
	Void       bool        `json:"void,omitempty"`
}

// QuoteLine is a part of a quoted price.
type QuoteLine struct {
	Cause string `json:"cause"`
	Minor int64  `json:"minor"`
}

// QuoteBasis is every figure that a quote was reckoned from.
type QuoteBasis struct {
	Metals   []QuoteMetal   `json:"metals,omitempty"`
	Castings []QuoteCasting `json:"castings,omitempty"`
	Work     []QuoteWork    `json:"work,omitempty"`
	Bought   []NamedRange   `json:"bought,omitempty"`
	Mold     Range          `json:"mold,omitzero"`
	PerMass  Range          `json:"per_mass,omitzero"`
	Fuel     Range          `json:"fuel,omitzero"`
	Failed   int64          `json:"failed,omitempty"` // of the castings the shop has made
	Cast     int64          `json:"cast,omitempty"`
	Overhead PPM            `json:"overhead_ppm,omitempty"`
	Margin   PPM            `json:"margin_ppm,omitempty"`
	Seed     uint64         `json:"seed"`
}

// QuoteMetal is what was assumed of an alloy.
type QuoteMetal struct {
	Alloy     string `json:"alloy"`
	Price     Range  `json:"price"`              // minor units for a tonne
	Source    string `json:"source,omitempty"`   // of the price, in words
	AtCost    bool   `json:"at_cost,omitempty"`  // returns are worth what went in
	Recovered Range  `json:"recovered,omitzero"` // else minor units for a tonne
	Loss      Range  `json:"loss"`               // ppm of the charge
}

// QuoteCasting is what was assumed of a pattern.
type QuoteCasting struct {
	Name   string `json:"name"`
	Alloy  string `json:"alloy"`
	Copies int64  `json:"copies"`
	Metal  Range  `json:"metal"`  // mg of one
	Gating Range  `json:"gating"` // mg beside one
	Own    bool   `json:"own,omitempty"`
}

// QuoteWork is what was assumed of a kind of work.
type QuoteWork struct {
	Kind    string `json:"kind"`
	Minutes Range  `json:"minutes"`
	Rate    int64  `json:"minor_per_hour"`
	Again   bool   `json:"again,omitempty"`
}

// MakeQuote keeps a version of a quote as it was reckoned.
func (b *Book) MakeQuote(ctx context.Context, m Meta, c MakeQuote, q Quote) (*Entry, error) {
	return b.write(ctx, m, KindQuote, c, func(d *draft) error {
		q := q
		if err := d.must(RecCommission, "commission", c.Commission, &Commission{}); err != nil {
			return err
		}
		if err := checkText("note", c.Note, maxReason); err != nil {
			return err
		}
		if c.Until != "" {
			if err := CheckDay("until_day", c.Until); err != nil {
				return err
			}
			if day := d.shop.DayOf(d.e.Happened); c.Until < day {
				return invalid("BAD_PERIOD", "until_day", c.Until, "must not be before "+day+", on which the quote is made")
			}
		}
		made, err := d.Records(RecQuote, OfCommission(c.Commission), "", MaxPage)
		if err != nil {
			return err
		}
		q.Commission, q.Version, q.Currency, q.Until, q.Note = c.Commission, int64(len(made))+1, d.shop.Currency, c.Until, c.Note
		n := q.Version - 1
		if q.ID, err = d.fresh(RecQuote, "", func(int64) string { n++; return fmt.Sprintf("%s-%d", c.Commission, n) }); err != nil {
			return err
		}
		return d.put(RecQuote, q.ID, OfCommission(c.Commission), q)
	})
}

// ReadQuote reads what was typed of a request for a quote, in the shop's units.
func (b *Book) ReadQuote(ctx context.Context, c MakeQuote) (out MakeQuote, rates Rates, err error) {
	out = c
	out.Prices, out.Hours, out.Bought = slices.Clone(c.Prices), slices.Clone(c.Hours), slices.Clone(c.Bought)
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		d := &draft{Tx: readOnly{r}, book: b}
		s, err := b.shop(r)
		if err != nil {
			return err
		}
		d.shop = s.Value
		if rates, _, err = RatesAt(r, b.now()); err != nil {
			return err
		}
		for i := range out.Prices {
			p, at := &out.Prices[i], fmt.Sprintf("prices[%d]", i)
			if p.Name, _, err = d.alloy(at+".what", p.Name); err != nil {
				return err
			}
			if p.Range, err = d.rateRange(at+".figure", p.Range); err != nil {
				return err
			}
		}
		for i := range out.Hours {
			h, at := &out.Hours[i], fmt.Sprintf("hours[%d]", i)
			rate, err := rates.WorkKind(at+".what", h.Name)
			if err != nil {
				return err
			}
			h.Name = rate.Kind
			if h.Range, err = hourRange(at+".figure", h.Range); err != nil {
				return err
			}
		}
		for i := range out.Bought {
			x, at := &out.Bought[i], fmt.Sprintf("bought_in[%d]", i)
			if err := needText(at+".what", x.Name, maxName); err != nil {
				return err
			}
			if x.Range, err = d.moneyRange(at+".figure", x.Range); err != nil {
				return err
			}
		}
		return nil
	})
	return out, rates, err
}

// readOnly lets a draft read where nothing is written.
type readOnly struct{ Reader }

// Append implements Tx; it is never called.
func (readOnly) Append(Sealed, *Entry) error {
	return &Error{Class: ErrUnavailable, Reason: "READ_ONLY", Want: "nothing is written here"}
}

// Labour is work done on a commission.
type Labour struct {
	ID         string    `json:"id"`
	Commission string    `json:"commission"`
	Kind       string    `json:"kind"`
	Person     string    `json:"person,omitempty"`
	Typed      string    `json:"typed"`
	Minutes    int64     `json:"minutes"`
	Rate       int64     `json:"minor_per_hour"` // as it was that day
	Minor      int64     `json:"minor"`
	Currency   string    `json:"currency"`
	Done       time.Time `json:"done"`
	Void       bool      `json:"void,omitempty"`
}

// RecordLabour is hours of work on a commission.
type RecordLabour struct {
	Commission string
	Kind       string
	Person     string `json:",omitempty"`
	Hours      string
}

// RecordLabour records it, at the rate of the day it was done.
func (b *Book) RecordLabour(ctx context.Context, m Meta, c RecordLabour) (*Entry, error) {
	return b.write(ctx, m, KindLabour, c, func(d *draft) error {
		if err := d.must(RecCommission, "commission", c.Commission, &Commission{}); err != nil {
			return err
		}
		minutes, err := unit.ParseHours(c.Hours)
		if err != nil {
			return wrapUnit("hours", err)
		}
		if minutes == 0 {
			return invalid("ZERO", "hours", c.Hours, "must be more than nothing")
		}
		if c.Person != "" {
			if err := d.must(RecParty, "person", c.Person, &Party{}); err != nil {
				return err
			}
		}
		rates, _, err := RatesAt(d, d.e.Happened)
		if err != nil {
			return err
		}
		rate, err := rates.WorkKind("kind", c.Kind)
		if err != nil {
			return err
		}
		l := Labour{Commission: c.Commission, Kind: rate.Kind, Person: c.Person, Typed: c.Hours, Minutes: minutes, Rate: rate.Minor,
			Minor: mulDiv(rate.Minor, minutes, 60), Currency: d.shop.Currency, Done: d.e.Happened}
		if l.ID, err = d.fresh(RecLabour, "", func(n int64) string { return "W" + plainNumber(n) }); err != nil {
			return err
		}
		return d.put(RecLabour, l.ID, OfCommission(c.Commission), l)
	})
}

// BoughtIn is something bought for one commission: welding rod, a stone for the base.
type BoughtIn struct {
	ID         string    `json:"id"`
	Commission string    `json:"commission"`
	What       string    `json:"what"`
	Price      Price     `json:"price"`
	Minor      int64     `json:"minor"` // in the book's currency
	Bought     time.Time `json:"bought"`
	Void       bool      `json:"void,omitempty"`
}

// BuyIn is a thing bought for a commission.
type BuyIn struct{ Commission, What, Price string }

// BuyIn records it. It is money of the commission alone and never passes through the
// stock of metal or supplies; what a supply item on the shelf is used for is UseSupply.
func (b *Book) BuyIn(ctx context.Context, m Meta, c BuyIn) (*Entry, error) {
	return b.write(ctx, m, KindBuyIn, c, func(d *draft) error {
		if err := d.must(RecCommission, "commission", c.Commission, &Commission{}); err != nil {
			return err
		}
		if err := needText("what", c.What, maxName); err != nil {
			return err
		}
		p, err := d.price("price", c.Price, 0)
		if err != nil {
			return err
		}
		if p.Minor == 0 {
			return invalid("ZERO", "price", c.Price, "say what all of it cost, such as 18.50 "+d.shop.Currency)
		}
		x := BoughtIn{Commission: c.Commission, What: c.What, Price: *p, Minor: p.InBook().Minor, Bought: d.e.Happened}
		if x.ID, err = d.fresh(RecBoughtIn, "", func(n int64) string { return "B" + plainNumber(n) }); err != nil {
			return err
		}
		return d.put(RecBoughtIn, x.ID, OfCommission(c.Commission), x)
	})
}

package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.org/remelt/ledger/unit"
)

// KindMarketPrices is an entry that keeps prices of a market.
const KindMarketPrices Kind = "market-prices"

// RecMarket is the kind of record of a [MarketYear].
const RecMarket RecordKind = "market-year"

// MarketYear is what a market asked for a metal on the days of a year. A year is one
// record so that thousands of days fit in one entry. Days are "01-02"; a price is
// "4.85" in the units of the record, with a rate of exchange "4.10 at 1.0832", or
// written out where it has others.
type MarketYear struct {
	ID       string            `json:"id"` // C87300.2026
	Metal    string            `json:"metal"`
	Year     int               `json:"year"`
	Unit     string            `json:"unit"`               // "USD/lb"
	Exchange string            `json:"exchange,omitempty"` // "USD/EUR"
	Days     map[string]string `json:"days"`
}

// MarketPrice is what a market asked for a metal on a day.
type MarketPrice struct {
	Metal string // an alloy, or the symbol or name of a pure metal
	Day   string // 2026-11-02
	Price string // as typed: "4.85 USD/lb", "4.10 EUR/kg at 1.0832 USD/EUR"
}

// Key is what prices are ordered by: the metal, and then the day.
func (p MarketPrice) Key() string { return p.Metal + "." + p.Day }

// MarketPrices are prices to keep. All are kept or none.
type MarketPrices struct{ Prices []MarketPrice }

// MaxMarketPrices is the most that are kept at once.
const MaxMarketPrices = 10_000

// metals are the pure metals that a market may have prices of.
var metals = [][]string{
	{"Cu", "copper"}, {"Sn", "tin"}, {"Zn", "zinc"}, {"Al", "aluminium", "aluminum"}, {"Si", "silicon"}, {"Pb", "lead"}, {"Ni", "nickel"},
	{"Mn", "manganese"}, {"Mg", "magnesium"}, {"Fe", "iron"}, {"Ag", "silver"}, {"Bi", "bismuth"}, {"Sb", "antimony"}, {"Cr", "chromium"}, {"Ti", "titanium"},
}

// metal gives the id of an alloy by any of its names, or the symbol of a pure metal.
func (b *Book) metal(r Reader, field, name string) (string, error) {
	for _, m := range metals {
		if slices.ContainsFunc(m, func(n string) bool { return strings.EqualFold(n, strings.TrimSpace(name)) }) {
			return m[0], nil
		}
	}
	id, _, err := b.alloy(r, field, name)
	var refused *Error
	if err == nil && id == UnknownAlloy || errors.As(err, &refused) && refused.Reason == "UNKNOWN_ALLOY" {
		err = invalid("UNKNOWN_ALLOY", field, name, "no alloy or metal of this name: write such as C87300, copper or Cu")
	}
	return id, err
}

// KeepMarketPrices keeps what a market asked. A second price of a metal and day in the
// book replaces the first. When prices cannot be, the error is about the first of them
// and has the others, up to a hundred, in More; nothing is kept.
func (b *Book) KeepMarketPrices(ctx context.Context, m Meta, c MarketPrices) (*Entry, error) {
	return b.write(ctx, m, KindMarketPrices, c, func(d *draft) error {
		if len(c.Prices) == 0 || len(c.Prices) > MaxMarketPrices {
			return invalid("OUT_OF_RANGE", "prices", fmt.Sprint(len(c.Prices)), fmt.Sprintf("must be between 1 and %d prices at once", MaxMarketPrices))
		}
		k := marketKeeper{draft: d, metals: map[string]string{}, years: map[string]*MarketYear{}, line: map[string]int{}}
		var faults []*Error
		for i, p := range c.Prices {
			if err := k.keep(i, p); err != nil {
				var fault *Error
				if !errors.As(err, &fault) || !errors.Is(fault.Class, ErrInvalid) { // of the store
					return err
				}
				faults = append(faults, fault)
			}
		}
		if len(faults) > 0 {
			return oneOf(faults)
		}
		for _, id := range k.order {
			if err := d.put(RecMarket, id, "metal/"+k.years[id].Metal, k.years[id]); err != nil {
				return err
			}
		}
		return nil
	})
}

// marketKeeper gathers prices by metal and year.
type marketKeeper struct {
	*draft
	metals map[string]string // name → id
	years  map[string]*MarketYear
	order  []string
	line   map[string]int // metal and day → the price that was first
}

func (k *marketKeeper) keep(i int, p MarketPrice) (err error) {
	at := fmt.Sprintf("prices[%d].", i)
	metal := k.metals[p.Metal]
	if metal == "" {
		if metal, err = k.book.metal(k.Tx, at+"metal", p.Metal); err != nil {
			return err
		}
		k.metals[p.Metal] = metal
	}
	if err := CheckDay(at+"day", p.Day); err != nil {
		return err
	}
	t, err := k.offerPrice(at+"price", p.Price, Supply{Name: "metal"})
	if err != nil {
		return err
	}
	if first, twice := k.line[metal+p.Day]; twice {
		return invalid("TWICE", at+"day", p.Day, fmt.Sprintf("has a price of %s already, prices[%d]", metal, first))
	}
	k.line[metal+p.Day] = i
	year, err := k.year(metal, p.Day)
	if err != nil {
		return err
	}
	year.put(p.Day[5:], t)
	return nil
}

func (k *marketKeeper) year(metal, day string) (*MarketYear, error) {
	id := metal + "." + day[:4]
	if y := k.years[id]; y != nil {
		return y, nil
	}
	y := &MarketYear{ID: id, Metal: metal, Days: map[string]string{}}
	if _, err := k.get(RecMarket, id, y); err != nil {
		return nil, err
	}
	y.Year, _ = strconv.Atoi(day[:4]) // CheckDay read it
	k.years[id], k.order = y, append(k.order, id)
	return y, nil
}

// put keeps a day's price as briefly as it can be said.
func (y *MarketYear) put(day string, t *Terms) {
	whole := t.String()
	price, exchange := cutExchange(whole)
	amount, per, _ := strings.Cut(price, " ")
	rate, of, _ := strings.Cut(exchange, " ")
	if y.Unit == "" {
		y.Unit, y.Exchange = per, of
	}
	switch {
	case y.Unit != per || y.Exchange != of:
		y.Days[day] = whole
	case exchange != "":
		y.Days[day] = amount + " at " + rate
	default:
		y.Days[day] = amount
	}
}

// Prices are the prices of the year by day, written out.
func (y *MarketYear) Prices() (out []MarketPrice) {
	days := make([]string, 0, len(y.Days))
	for day := range y.Days {
		days = append(days, day)
	}
	slices.Sort(days)
	for _, day := range days {
		out = append(out, MarketPrice{Metal: y.Metal, Day: fmt.Sprintf("%04d-%s", y.Year, day), Price: y.written(y.Days[day])})
	}
	return out
}

func (y *MarketYear) written(short string) string {
	if strings.ContainsAny(short, "/") {
		return short
	}
	amount, rate, foreign := strings.Cut(short, " at ")
	if foreign {
		return amount + " " + y.Unit + " at " + rate + " " + y.Exchange
	}
	return amount + " " + y.Unit
}

// MarketPriceOf is what a market last asked for a metal on a day or before it;
// ErrNotFound when there is none.
func (b *Book) MarketPriceOf(ctx context.Context, metal, day string) (p MarketPrice, err error) {
	if err := CheckDay("day", day); err != nil {
		return p, err
	}
	all, err := b.MarketPrices(ctx, metal, "", day)
	if err != nil {
		return p, err
	}
	if len(all) == 0 {
		return p, &Error{Class: ErrNotFound, Reason: "NOT_FOUND", Field: "metal", Value: metal, Want: "no market price of it on " + day + " or before"}
	}
	return all[len(all)-1], nil
}

// MarketPrices are the prices of a metal, or of all with "", from a day until another
// ("" for no end), by metal and day.
func (b *Book) MarketPrices(ctx context.Context, metal, from, until string) (out []MarketPrice, err error) {
	err = b.marketView(ctx, metal, from, until, func(r Reader, parent string) error {
		out, err = MarketPricesIn(r, parent, from, until)
		return err
	})
	return out, err
}

// marketView opens a view to read the prices of a metal and period in.
func (b *Book) marketView(ctx context.Context, metal, from, until string, fn func(r Reader, parent string) error) error {
	for _, given := range [...]struct{ field, day string }{{"from_day", from}, {"until_day", until}} {
		if given.day != "" {
			if err := CheckDay(given.field, given.day); err != nil {
				return err
			}
		}
	}
	return b.Store.View(ctx, b.Shop, func(r Reader) error {
		if metal == "" {
			return fn(r, "")
		}
		id, err := b.metal(r, "metal", metal)
		if err != nil {
			return err
		}
		return fn(r, "metal/"+id)
	})
}

// lookYears is how many years a page of market prices looks at; see [Look].
const lookYears = 20

// MarketPricePage reads up to limit of the prices that MarketPrices gives, after that of
// a [MarketPrice.Key]. next is the key after which the list goes on, "" at its end.
func (b *Book) MarketPricePage(ctx context.Context, metal, from, until, after string, limit int) (out []MarketPrice, next string, err error) {
	err = b.marketView(ctx, metal, from, until, func(r Reader, parent string) error {
		if _, id, one := strings.Cut(parent, "/"); one && from != "" {
			after = max(after, id+"."+from[:4])
		}
		out, next, err = marketPage(r, parent, from, until, after, clampPage(limit))
		return err
	})
	return out, next, err
}

func marketPage(r Reader, parent, from, until, after string, limit int) (out []MarketPrice, next string, err error) {
	begun := after[:min(len(after), strings.LastIndex(after, ".")+len(".2026"))]
	years, err := r.Records(RecMarket, parent, begun, lookYears)
	if err != nil {
		return nil, "", err
	}
	if len(years) == lookYears {
		next = years[lookYears-1].ID + "-99" // after its last day
	}
	if first, found, err := r.Record(RecMarket, begun); err != nil {
		return nil, "", err
	} else if found {
		years = append([]Record{first}, years...)
	}
	for _, rec := range years {
		if year := rec.ID[strings.LastIndex(rec.ID, ".")+1:]; year < from[:min(4, len(from))] || until != "" && year > until[:4] {
			continue
		}
		var y MarketYear
		if err := rec.Into(&y); err != nil {
			return nil, "", err
		}
		for _, p := range y.Prices() {
			if (rec.ID != begun || p.Key() > after) && p.Day >= from && (until == "" || p.Day <= until) {
				if out = append(out, p); len(out) == limit {
					return out, p.Key(), nil
				}
			}
		}
	}
	return out, next, nil
}

// MarketPricesIn is MarketPrices in a view that is open, of a parent ("metal/Cu").
func MarketPricesIn(r Reader, parent, from, until string) (out []MarketPrice, err error) {
	for after := ""; ; {
		recs, err := r.Records(RecMarket, parent, after, MaxPage)
		if err != nil || len(recs) == 0 {
			return out, err
		}
		for _, rec := range recs {
			var y MarketYear
			if err := rec.Into(&y); err != nil {
				return nil, err
			}
			for _, p := range y.Prices() {
				if p.Day >= from && (until == "" || p.Day <= until) {
					out = append(out, p)
				}
			}
			after = rec.ID
		}
	}
}

// Rate is the price in a currency: minor units for each per milligrams, when it is in
// that currency or has a rate of exchange to it.
func (p MarketPrice) Rate(currency string) (minor, per int64, ok bool) {
	price, exchange := cutExchange(p.Price)
	rate, err := unit.ParseRate(price, "", "")
	if err != nil {
		return 0, 0, false
	}
	t := Terms{Amount: rate.Amount, Currency: rate.Currency, Per: string(rate.Per)}
	if rate.Currency != currency {
		x, err := unit.ParseExchange(exchange)
		if err != nil || !x.Joins(rate.Currency, currency) {
			return 0, 0, false
		}
		t.Exchange, t.BookCurrency = exchange, currency
	}
	minor, per = t.Rate()
	return minor, per, true
}

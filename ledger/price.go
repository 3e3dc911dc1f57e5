package ledger

import (
	"fmt"
	"math/big"
	"strings"
	"time"

	"example.org/remelt/ledger/unit"
)

// InBook is the price as it is booked: in the currency of the book.
func (p *Price) InBook() Price {
	if p.BookCurrency == "" {
		return Price{Minor: p.Minor, Currency: p.Currency}
	}
	return Price{Minor: p.BookMinor, Currency: p.BookCurrency}
}

func (p *Price) cost(a Account) Cost {
	in := p.InBook()
	return Cost{Account: a, Currency: in.Currency, Minor: in.Minor}
}

// Terms is a price as it was agreed, before the weight it is for is known. The
// currency of the book is that of the day it was written down.
type Terms struct {
	Typed        string `json:"typed"`
	Amount       int64  `json:"amount"` // minor units for all of it or for a piece; of a mass, ten thousandths of them
	Currency     string `json:"currency"`
	Per          string `json:"per,omitempty"` // a unit of mass or PerPiece; for all of it together when empty
	Exchange     string `json:"exchange,omitempty"`
	BookCurrency string `json:"book_currency,omitempty"`
}

// PerPiece says of terms that they are for a piece.
const PerPiece = "pc"

// exact is what an amount comes to, in minor units and not rounded.
func (t *Terms) exact(net Mass, pieces int64) *big.Rat {
	switch t.Per {
	case "":
		return new(big.Rat).SetInt64(t.Amount)
	case PerPiece:
		v := new(big.Rat).SetInt64(t.Amount)
		return v.Mul(v, new(big.Rat).SetInt64(pieces))
	}
	return unit.Rate{Amount: t.Amount, Currency: t.Currency, Per: unit.MassUnit(t.Per)}.Exact(int64(net))
}

// comesTo rounds an exact amount once, in either currency.
func (t *Terms) comesTo(field string, exact *big.Rat) (p *Price, err error) {
	p = &Price{Typed: t.Typed, Currency: t.Currency, Exchange: t.Exchange, BookCurrency: t.BookCurrency}
	if p.Minor, err = roundMoney(field, t.Typed, exact, t.Currency); err != nil || t.Exchange == "" {
		return p, err
	}
	x, err := unit.ParseExchange(t.Exchange)
	if err != nil {
		return nil, wrapUnit(field, err)
	}
	p.BookMinor, err = roundMoney(field, t.Typed, x.Convert(exact, t.Currency, t.BookCurrency), t.BookCurrency)
	return p, err
}

// price reads a total or a rate per unit of mass for a net weight. One in another
// currency than the book's needs the rate of exchange behind it: "4.10 EUR/kg at
// 1.0832 USD/EUR". What it comes to in either currency is rounded once, half to
// even, from the exact product of weight, price and rate.
func (d *draft) price(field, typed string, net Mass) (*Price, error) {
	t, err := d.terms(field, typed, false)
	if err != nil {
		return nil, err
	}
	return t.comesTo(field, t.exact(net, 0))
}

// terms reads a price: a total, a rate per unit of mass or, where pieces are sold,
// one for a piece ("4.10 EUR/pc").
func (d *draft) terms(field, typed string, inPieces bool) (*Terms, error) {
	if err := checkText(field, typed, 120); err != nil {
		return nil, err
	}
	price, exchange := cutExchange(typed)
	t := &Terms{Typed: typed}
	if inPieces {
		price, t.Per = cutPiece(price)
	}
	if !namesCurrency(price) {
		return nil, invalid("MISSING_CURRENCY", field, typed, "say the currency: a total such as 310.00 "+d.shop.Currency+" or a rate such as 4.85 "+d.shop.Currency+"/"+d.shop.MassUnit)
	}
	var err error
	if t.Per == "" && (strings.Contains(price, "/") || strings.Contains(price, " per ")) {
		var rate unit.Rate
		if rate, err = unit.ParseRate(price, d.shop.Currency, unit.MassUnit(d.shop.MassUnit)); err == nil {
			t.Amount, t.Currency, t.Per = rate.Amount, rate.Currency, string(rate.Per)
		}
	} else {
		t.Amount, t.Currency, err = unit.ParseMoney(price, d.shop.Currency)
	}
	if err != nil {
		return nil, wrapUnit(field, err)
	}
	return t, d.toBook(field, t, exchange)
}

// namesCurrency reports whether the money of a price has a letter or the sign of a
// currency, so that it is not taken for the book's by silence.
func namesCurrency(price string) bool {
	money, _, _ := strings.Cut(strings.Replace(price, " per ", "/", 1), "/")
	return strings.ContainsFunc(money, func(r rune) bool { return r > '9' || r == '$' })
}

// cutPiece takes the word for a piece off a price.
func cutPiece(price string) (rest, per string) {
	plain := strings.ToLower(price)
	for _, mark := range []string{"/pc", "/pcs", "/piece", " per pc", " per piece", " each", " a piece"} {
		if strings.HasSuffix(plain, mark) {
			return strings.TrimSpace(price[:len(price)-len(mark)]), PerPiece
		}
	}
	return price, ""
}

// toBook adds to foreign terms the rate by which they are booked.
func (d *draft) toBook(field string, t *Terms, exchange string) error {
	book := d.shop.Currency
	if t.Currency == book {
		if exchange != "" {
			return invalid("CONTRADICTION", field, t.Typed, "is in the currency of the book, so it needs no rate of exchange")
		}
		return nil
	}
	if exchange == "" {
		return invalid("MISSING_EXCHANGE", field, t.Typed, fmt.Sprintf("the book is in %s: write the rate of exchange behind the price, such as %s at 1.05 %s/%s", book, t.Typed, book, t.Currency))
	}
	x, err := unit.ParseExchange(exchange)
	if err != nil {
		return wrapUnit(field, err)
	}
	if !x.Joins(t.Currency, book) {
		return invalid("OTHER_EXCHANGE", field, t.Typed, fmt.Sprintf("is in %s and the book in %s; write a rate between the two, in %s/%s", t.Currency, book, book, t.Currency))
	}
	t.Exchange, t.BookCurrency = exchange, book
	return nil
}

// cutExchange parts a price from the rate of exchange typed behind it.
func cutExchange(typed string) (price, exchange string) {
	for _, mark := range []string{" at ", " @ "} {
		if i := strings.LastIndex(strings.ToLower(typed), mark); i >= 0 {
			return strings.TrimSpace(typed[:i]), strings.TrimSpace(typed[i+len(mark):])
		}
	}
	return typed, ""
}

func roundMoney(field, typed string, exact *big.Rat, currency string) (int64, error) {
	minor, ok := unit.Round(exact)
	if !ok {
		return 0, invalid("TOO_LARGE", field, typed, "comes to more than "+unit.FormatMoney(unit.MaxMoney, currency))
	}
	return minor, nil
}

// outOfLine is how many times the last price of an alloy another may be before somebody
// looks twice: a decimal mark in the wrong place makes ten, the price of all of it taken for
// that of a kilogram more. No metal of the tables moved so far within a year. Common
// practice, no source.
const outOfLine = 5

// askPrice flags metal that costs far more or less than the same supplier asked for the
// alloy last, within the last entries about the supplier.
func (d *draft) askPrice(l *Lot) error {
	now, from := l.rate(), l.From[0].Account
	if now == nil || now.Sign() == 0 || from.Kind() != Supplier {
		return nil
	}
	was, on, err := d.pricedLast(l, from)
	if err != nil || was == nil {
		return err
	}
	times, much := new(big.Rat).Quo(now, was.rate()), big.NewRat(outOfLine, 1)
	if times.Cmp(much) >= 0 || times.Inv(times).Cmp(much) >= 0 {
		d.flag(FlagPrice, fmt.Sprintf("%s of %s is priced %s, and lot %s of %s, from the same supplier on %s, cost %s; look at the decimal mark, and whether a price is for all of it or for a unit of weight",
			d.words(l.From[0].Mass), l.Alloy, l.Price.Typed, was.ID, d.words(was.From[0].Mass), day(on), was.Price.Typed))
	}
	return nil
}

// pricedLast is the last lot of the alloy of l that came from a supplier at a price, as it
// came, and when; nil where there is none to compare l with.
func (d *draft) pricedLast(l *Lot, from Account) (was *Lot, on time.Time, err error) {
	looked := 0
	for e, err := range d.back(from) {
		if looked++; err != nil || looked > 32 {
			return nil, on, err
		}
		if e.Kind != KindReceive && e.Kind != KindReceiveOrder {
			continue
		}
		if reversed, err := d.reversed(e.Seq); err != nil {
			return nil, on, err
		} else if reversed {
			continue
		}
		for _, r := range e.Records {
			if r.Kind != RecLot {
				continue
			}
			was = new(Lot)
			if err := r.Into(was); err != nil {
				return nil, on, err
			}
			if rate := was.rate(); rate != nil && rate.Sign() > 0 && was.Alloy == l.Alloy && was.Price.InBook().Currency == l.Price.InBook().Currency {
				return was, e.Happened, nil
			}
		}
	}
	return nil, on, nil
}

// rate is what a lot as it came in cost for a milligram, nil without a price or a weight.
func (l *Lot) rate() *big.Rat {
	if l.Price == nil || len(l.From) != 1 || l.From[0].Mass <= 0 {
		return nil
	}
	return big.NewRat(l.Price.InBook().Minor, int64(l.From[0].Mass))
}

// noCostsYet refuses another currency for a book that has costs in the one it has:
// a total must never add two.
func (d *draft) noCostsYet(currency string) error {
	for _, kind := range []RecordKind{RecRates, RecBoughtIn} {
		if n, err := d.CountRecords(kind); err != nil {
			return err
		} else if n > 0 {
			return badState("CURRENCY_IN_USE", "currency", currency, "the book has "+string(kind)+" in "+d.shop.Currency+" already; a book keeps one currency")
		}
	}
	for after := int64(0); ; {
		log, err := d.Log(after, 256)
		if err != nil || len(log) == 0 {
			return err
		}
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if len(e.Costs) > 0 {
				return badState("CURRENCY_IN_USE", "currency", currency, fmt.Sprintf("entry %d has a cost in %s already; a book keeps one currency", e.Seq, e.Costs[0].Currency))
			}
		}
		after = log[len(log)-1].Seq
	}
}

// noAgreedPrices refuses another currency for a book with orders whose prices are for
// the one it has.
func (d *draft) noAgreedPrices(currency string) error {
	for after := ""; ; {
		recs, err := d.Records(RecOrder, "", after, MaxPage)
		if err != nil || len(recs) == 0 {
			return err
		}
		for _, rec := range recs {
			var o Order
			if err := rec.Into(&o); err != nil {
				return err
			}
			if o.priced() {
				return badState("CURRENCY_IN_USE", "currency", currency, fmt.Sprintf("order %s has prices for a book in %s; a book keeps one currency", o.ID, d.shop.Currency))
			}
		}
		after = recs[len(recs)-1].ID
	}
}

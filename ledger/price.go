package ledger

import (
	"fmt"
	"math/big"
	"strings"

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

// price reads a total or a rate per unit of mass for a net weight. One in another
// currency than the book's needs the rate of exchange behind it: "4.10 EUR/kg at
// 1.0832 USD/EUR". What it comes to in either currency is rounded once, half to
// even, from the exact product of weight, price and rate.
func (d *draft) price(field, typed string, net Mass) (*Price, error) {
	if err := checkText(field, typed, 120); err != nil {
		return nil, err
	}
	price, exchange := cutExchange(typed)
	if !strings.ContainsFunc(price, func(r rune) bool { return r > '9' }) && !strings.Contains(price, "$") { // no letter and no currency sign
		return nil, invalid("MISSING_CURRENCY", field, typed, "say the currency: a total such as 310.00 "+d.shop.Currency+" or a rate such as 4.85 "+d.shop.Currency+"/"+d.shop.MassUnit)
	}
	var exact *big.Rat
	out := &Price{Typed: typed}
	if strings.Contains(price, "/") || strings.Contains(price, " per ") {
		rate, err := unit.ParseRate(price, d.shop.Currency, unit.MassUnit(d.shop.MassUnit))
		if err != nil {
			return nil, wrapUnit(field, err)
		}
		exact, out.Currency = rate.Exact(int64(net)), rate.Currency
	} else {
		minor, currency, err := unit.ParseMoney(price, d.shop.Currency)
		if err != nil {
			return nil, wrapUnit(field, err)
		}
		exact, out.Currency = new(big.Rat).SetInt64(minor), currency
	}
	var err error
	if out.Minor, err = roundMoney(field, typed, exact, out.Currency); err != nil {
		return nil, err
	}
	return out, d.toBook(field, out, exact, exchange)
}

// toBook adds to a foreign price what it comes to in the book.
func (d *draft) toBook(field string, p *Price, exact *big.Rat, exchange string) error {
	book := d.shop.Currency
	if p.Currency == book {
		if exchange != "" {
			return invalid("CONTRADICTION", field, p.Typed, "is in the currency of the book, so it needs no rate of exchange")
		}
		return nil
	}
	if exchange == "" {
		return invalid("MISSING_EXCHANGE", field, p.Typed, fmt.Sprintf("the book is in %s: write the rate of exchange behind the price, such as %s at 1.05 %s/%s", book, p.Typed, book, p.Currency))
	}
	x, err := unit.ParseExchange(exchange)
	if err != nil {
		return wrapUnit(field, err)
	}
	if !x.Joins(p.Currency, book) {
		return invalid("OTHER_EXCHANGE", field, p.Typed, fmt.Sprintf("is in %s and the book in %s; write a rate between the two, in %s/%s", p.Currency, book, book, p.Currency))
	}
	p.Exchange, p.BookCurrency = exchange, book
	p.BookMinor, err = roundMoney(field, p.Typed, x.Convert(exact, p.Currency, book), book)
	return err
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

// noCostsYet refuses another currency for a book that has costs in the one it has:
// a total must never add two.
func (d *draft) noCostsYet(currency string) error {
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

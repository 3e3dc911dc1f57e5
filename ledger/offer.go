package ledger

import (
	"context"
	"math/big"

	"example.org/remelt/ledger/unit"
)

// Kinds of entry about what others offer.
const (
	KindOffer         Kind = "offer"
	KindWithdrawOffer Kind = "withdraw-offer"
)

// RecOffer is the kind of record of an [Offer].
const RecOffer RecordKind = "offer"

// Offer is what a party asks for an item, or with Buys what it pays for one. Of the
// offers of one party for one item the newest counts; see [Current].
type Offer struct {
	ID        string       `json:"id"`
	Party     string       `json:"party"`
	Buys      bool         `json:"buys,omitempty"` // the party buys: returns, skimmings
	Alloy     string       `json:"alloy,omitempty"`
	Form      Form         `json:"form,omitempty"` // of the alloy; empty with Buys: returns of any form
	Supply    string       `json:"supply,omitempty"`
	InPieces  bool         `json:"in_pieces,omitempty"` // amounts are pieces of the supply
	Breaks    []OfferBreak `json:"breaks"`
	Freight   *Terms       `json:"freight,omitempty"` // of an order: a total, or a rate by mass
	Piece     Quantity     `json:"piece,omitzero"`    // what an ingot or a bag weighs
	Bundle    int64        `json:"bundle,omitempty"`  // so many pieces are sold together
	Least     Quantity     `json:"least,omitzero"`    // least order; pieces for what is counted
	LeadDays  *int         `json:"lead_days,omitempty"`
	LeadOff   int          `json:"lead_off_days,omitempty"` // that many days sooner or later
	From      string       `json:"from"`                    // the first day it holds: 2026-11-02
	Until     string       `json:"until,omitempty"`         // the last
	Note      string       `json:"note,omitempty"`
	Entry     int64        `json:"entry"` // that wrote it down
	Withdrawn bool         `json:"withdrawn,omitempty"`
}

// OfferBreak is a price that holds for all of an order of From and more.
type OfferBreak struct {
	From  Quantity `json:"from,omitzero"` // pieces for what is counted
	Price Terms    `json:"price"`
}

// Item says what an offer is for; offers of one party with the same item replace each
// other.
func (o *Offer) Item() string {
	item := "alloy/" + o.Alloy + "/" + string(o.Form)
	if o.Supply != "" {
		item = "supply/" + o.Supply
	}
	if o.Buys {
		item = "buys/" + item
	}
	return item
}

// Current are the offers that hold on a day (2026-11-02), one a party and item: that
// which holds from the latest day, of equals the one written last. An offer that has
// run out or was withdrawn does not bring back the one that it replaced.
func Current(all []Offer, day string) (out []Offer) {
	newest := map[string]*Offer{}
	for i := range all {
		o := &all[i]
		key := o.Party + "/" + o.Item()
		was := newest[key]
		if o.From <= day && (was == nil || o.From > was.From || o.From == was.From && o.Entry > was.Entry) {
			newest[key] = o
		}
	}
	for _, o := range all {
		if x := newest[o.Party+"/"+o.Item()]; x != nil && x.ID == o.ID && o.Holds(day) {
			out = append(out, o)
		}
	}
	return out
}

// OffersOn are the offers that hold on a day, of a parent ("alloy/C87300",
// "supply/borax") or of all with "".
func (b *Book) OffersOn(ctx context.Context, parent, day string) (out []Offer, err error) {
	if err := CheckDay("day", day); err != nil {
		return nil, err
	}
	err = b.Store.View(ctx, b.Shop, func(r Reader) error { out, err = OffersIn(r, parent, day); return err })
	return out, err
}

// OffersIn is OffersOn in a view that is open.
func OffersIn(r Reader, parent, day string) ([]Offer, error) {
	var all []Offer
	for after := ""; ; {
		recs, err := r.Records(RecOffer, parent, after, MaxPage)
		if err != nil {
			return nil, err
		}
		if len(recs) == 0 {
			return Current(all, day), nil
		}
		for _, rec := range recs {
			var o Offer
			if err := rec.Into(&o); err != nil {
				return nil, err
			}
			all, after = append(all, o), rec.ID
		}
	}
}

// Holds reports whether an offer that nothing replaced holds on a day.
func (o *Offer) Holds(day string) bool {
	return o.From <= day && (o.Until == "" || day <= o.Until) && !o.Withdrawn
}

// At is the price that holds for an order of an amount; for less than the least the first.
func (o *Offer) At(amount int64) OfferBreak {
	at := o.Breaks[0]
	for _, b := range o.Breaks {
		if int64(b.From.Mass) <= amount {
			at = b
		}
	}
	return at
}

// Pack is the least that is sold together, and more only in multiples of it: a bundle
// or a piece; 0 when any amount is.
func (o *Offer) Pack() int64 {
	switch {
	case o.InPieces:
		return max(1, o.Bundle)
	case o.Piece.Mass > 0:
		return int64(o.Piece.Mass) * max(1, o.Bundle)
	}
	return 0
}

// Rate is a price in the currency of the book: minor units for each per milligrams or
// pieces. It is exact where the numbers are no larger than 10^12; else to the minor
// unit for a tonne or a million pieces.
func (t *Terms) Rate() (minor, per int64) {
	one := int64(1)
	if t.Per != PerPiece {
		one = int64(Tonne)
	}
	v := t.inBook(Mass(one), one)
	const most = 1_000_000_000_000
	r := new(big.Rat).Quo(v, new(big.Rat).SetInt64(one))
	if n, d := r.Num(), r.Denom(); n.IsInt64() && d.IsInt64() && n.Int64() <= most && d.Int64() <= most {
		return n.Int64(), d.Int64()
	}
	if one == 1 {
		one = 1_000_000
		v.Mul(v, new(big.Rat).SetInt64(one))
	}
	minor, _ = unit.Round(v)
	return minor, one
}

// inBook is what an amount comes to in the currency of the book, not rounded.
func (t *Terms) inBook(net Mass, pieces int64) *big.Rat {
	v := t.exact(net, pieces)
	if x, err := unit.ParseExchange(t.Exchange); t.Exchange != "" && err == nil { // it was read when it was written down
		return x.Convert(v, t.Currency, t.BookCurrency)
	}
	return v
}

// Total is what a price for all of something together comes to in the currency of the
// book.
func (t *Terms) Total() int64 {
	minor, _ := unit.Round(t.inBook(0, 0))
	return minor
}

// cmp compares two prices for the same unit in the currency of the book.
func (t *Terms) cmp(u *Terms) int {
	return t.rat().Cmp(u.rat())
}

func (t *Terms) rat() *big.Rat { return big.NewRat(t.Rate()) }

// String writes a price for a unit with no more decimals than it has: "4.85 USD/lb",
// "62.00 USD/pc", "4.10 EUR/kg at 1.0832 USD/EUR".
func (t *Terms) String() string {
	s := unit.Rate{Amount: t.Amount, Currency: t.Currency, Per: unit.MassUnit(t.Per)}.String()
	switch t.Per {
	case "":
		s = unit.FormatMoney(t.Amount, t.Currency)
	case PerPiece:
		s = unit.FormatMoney(t.Amount, t.Currency) + "/" + PerPiece
	}
	if x, err := unit.ParseExchange(t.Exchange); t.Exchange != "" && err == nil {
		s += " at " + x.String()
	}
	return s
}

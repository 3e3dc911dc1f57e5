package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Kinds of entry about purchase orders.
const (
	KindWriteOrder   Kind = "write-order"
	KindChangeOrder  Kind = "change-order"
	KindPlaceOrder   Kind = "place-order"
	KindReceiveOrder Kind = "receive-order"
	KindGiveUpOrder  Kind = "give-up-order"
)

// OrderItem is a line of an order as somebody writes it.
type OrderItem struct {
	Alloy       string   `json:",omitempty"` // this or Supply
	Form        Form     `json:",omitempty"` // of metal; ingot unless said
	Supply      string   `json:",omitempty"`
	Mass        Quantity `json:",omitzero"` // this or Pieces
	Pieces      int64    `json:",omitempty"`
	Each        Quantity `json:",omitzero"` // what a piece weighs, about
	LeastMass   Quantity `json:",omitzero"` // the least the supplier sells
	LeastPieces int64    `json:",omitempty"`
	Price       string   `json:",omitempty"` // a total, a rate "4.85 USD/lb", or for a piece "12.50 USD/pc"; foreign with the rate of exchange behind it
}

// WriteOrder is the whole content of a purchase order.
type WriteOrder struct {
	ID       string `json:",omitempty"` // chosen id of a new one; else the next number
	Supplier string
	Lines    []OrderItem
	Freight  string    `json:",omitempty"` // a total
	Expected time.Time `json:",omitzero"`
	Note     string    `json:",omitempty"`
}

// maxLines is how many lines an order may have, and a delivery.
const maxLines = 200

// WriteOrder begins a purchase order. It is being written until it is ordered.
func (b *Book) WriteOrder(ctx context.Context, m Meta, c WriteOrder) (*Entry, error) {
	return b.write(ctx, m, KindWriteOrder, c, func(d *draft) error {
		id, err := d.fresh(RecOrder, c.ID, plainNumber)
		if err != nil {
			return err
		}
		o := &Order{ID: id}
		if err := d.setOrder(o, c); err != nil {
			return err
		}
		return d.putOrder(o)
	})
}

// ChangeOrder replaces what an order says. Once it is ordered, or something of it
// came, only the expected day and the note can change.
func (b *Book) ChangeOrder(ctx context.Context, m Meta, c WriteOrder) (*Entry, error) {
	return b.write(ctx, m, KindChangeOrder, c, func(d *draft) error {
		var o Order
		if err := d.must(RecOrder, "order", c.ID, &o); err != nil {
			return err
		}
		was := o
		if err := d.setOrder(&o, c); err != nil {
			return err
		}
		if s := was.State(); s != BeingWritten && !was.sameTerms(&o) {
			return badState("ORDERED", "order", o.ID, fmt.Sprintf("is %s: its lines, supplier and freight stand; give up the rest and write another, or reverse the entry that ordered it", s))
		}
		return d.putOrder(&o)
	})
}

func (d *draft) putOrder(o *Order) error { return d.put(RecOrder, o.ID, "", o) }

// sameTerms reports whether two versions of an order ask for the same.
func (o *Order) sameTerms(p *Order) bool {
	terms := func(a, b *Terms) bool { return a == b || a != nil && b != nil && *a == *b }
	if o.Supplier != p.Supplier || len(o.Lines) != len(p.Lines) || !terms(o.Freight, p.Freight) {
		return false
	}
	for i := range o.Lines {
		a, b := o.Lines[i], p.Lines[i]
		if !terms(a.Price, b.Price) {
			return false
		}
		for _, l := range []*OrderLine{&a, &b} { // how a weight was typed does not matter
			l.Price, l.Mass.Typed, l.Each.Typed, l.LeastMass.Typed = nil, "", "", ""
		}
		if a != b {
			return false
		}
	}
	return true
}

func (d *draft) setOrder(o *Order, c WriteOrder) (err error) {
	if c.Supplier == "" {
		return invalid("REQUIRED", "supplier", "", "name the supplier")
	}
	if err := d.must(RecParty, "supplier", c.Supplier, &Party{}); err != nil {
		return err
	}
	if len(c.Lines) == 0 || len(c.Lines) > maxLines {
		return invalid("REQUIRED", "lines", fmt.Sprint(len(c.Lines)), fmt.Sprintf("give 1 to %d lines", maxLines))
	}
	o.Supplier, o.Expected, o.Note, o.Lines, o.Freight = c.Supplier, c.Expected, c.Note, nil, nil
	if err := checkText("note", c.Note, maxReason); err != nil {
		return err
	}
	for i, item := range c.Lines {
		at := fmt.Sprintf("lines[%d]", i)
		l, err := d.orderLine(at, c.Supplier, item)
		if err != nil {
			return err
		}
		o.Lines = append(o.Lines, l)
	}
	o.Freight, err = d.orderFreight(c.Freight)
	return err
}

// orderFreight reads one sum; nil for none.
func (d *draft) orderFreight(typed string) (*Terms, error) {
	if typed == "" {
		return nil, nil
	}
	t, err := d.terms("freight", typed, true)
	if err == nil && t.Per != "" {
		err = invalid("NOT_A_TOTAL", "freight", typed, "freight is one sum for all of it")
	}
	return t, err
}

// leastByOffer refuses less than the supplier's offer that holds allows, unless the line
// says itself what is the least.
func (d *draft) leastByOffer(at, supplier string, l *OrderLine) error {
	if l.LeastMass.given() || l.LeastPieces > 0 {
		return nil
	}
	parent := "alloy/" + l.Alloy
	if l.Supply != "" {
		parent = "supply/" + l.Supply
	}
	offers, err := OffersIn(d, parent, d.shop.DayOf(d.e.Happened))
	if err != nil {
		return err
	}
	for _, x := range offers {
		if x.Buys || x.Party != supplier || x.Form != l.Form {
			continue
		}
		field, ordered, words := at+".mass", l.Weight(), d.words
		if x.InPieces {
			field, ordered, words = at+".pieces", Mass(l.Pieces), func(m Mass) string { return fmt.Sprint(int64(m)) }
		}
		if ordered < x.Least.Mass {
			return invalid("BELOW_LEAST", field, words(ordered), fmt.Sprintf("by offer %s %s sells no less than %s; say another least with the line if that holds no longer", x.ID, supplier, words(x.Least.Mass)))
		}
	}
	return nil
}

func (d *draft) orderLine(at, supplier string, c OrderItem) (l OrderLine, err error) {
	l = OrderLine{Alloy: c.Alloy, Form: c.Form, Supply: c.Supply, Pieces: c.Pieces, LeastPieces: c.LeastPieces}
	counted := false // without a weight
	switch {
	case (c.Alloy == "") == (c.Supply == ""):
		return l, invalid("REQUIRED", at+".alloy", c.Alloy, "name an alloy or a supply, one of them")
	case c.Supply != "":
		var s Supply
		if err := d.must(RecSupply, at+".supply", c.Supply, &s); err != nil {
			return l, err
		}
		if counted = s.InPieces; counted && c.Mass.given() {
			return l, invalid("COUNTED_IN_PIECES", at+".mass", c.Mass.text(), s.Name+" is counted in pieces")
		}
		if c.Form != "" {
			return l, invalid("CONTRADICTION", at+".form", string(c.Form), "a supply has no form")
		}
	default:
		if l.Form == "" {
			l.Form = Ingot
		}
		ordered := Lot{Alloy: c.Alloy, Form: l.Form, Condition: Clean}
		if err := d.checkLot(&ordered); err != nil {
			return l, under(at, err)
		}
		if l.Alloy = ordered.Alloy; l.Alloy == UnknownAlloy {
			return l, invalid("ALLOY_UNKNOWN", at+".alloy", c.Alloy, "metal is ordered of a known alloy")
		}
	}
	if err := d.orderAmounts(at, &l, c, counted); err != nil {
		return l, err
	}
	if err := d.leastByOffer(at, supplier, &l); err != nil {
		return l, err
	}
	if c.Price == "" {
		return l, nil
	}
	if l.Price, err = d.terms(at+".price", c.Price, true); err != nil {
		return l, err
	}
	switch {
	case l.Price.Per == PerPiece && l.Pieces == 0:
		return l, invalid("NOT_IN_PIECES", at+".price", c.Price, "is for a piece, and the line is by weight")
	case l.Price.Per != "" && l.Price.Per != PerPiece && counted:
		return l, invalid("COUNTED_IN_PIECES", at+".price", c.Price, "is by weight, and the item is counted in pieces")
	}
	_, err = l.Price.comesTo(at+".price", l.Price.exact(l.Weight(), l.Pieces))
	return l, err
}

// orderAmounts reads how much is ordered, and the least that is sold.
func (d *draft) orderAmounts(at string, l *OrderLine, c OrderItem, counted bool) (err error) {
	for _, q := range []struct {
		field string
		in    Quantity
		out   *Quantity
	}{{".mass", c.Mass, &l.Mass}, {".each", c.Each, &l.Each}, {".least", c.LeastMass, &l.LeastMass}} {
		if *q.out, err = d.quantity(at+q.field, q.in); err != nil {
			return err
		}
	}
	for _, n := range []struct {
		field string
		n     int64
	}{{".pieces", c.Pieces}, {".least_pieces", c.LeastPieces}} {
		if n.n < 0 || n.n > 1_000_000 {
			return invalid("OUT_OF_RANGE", at+n.field, fmt.Sprint(n.n), "must be between 0 and 1 000 000")
		}
	}
	switch {
	case (l.Mass.Mass == 0) == (l.Pieces == 0):
		return invalid("REQUIRED", at+".mass", c.Mass.text(), "say how much: a weight, or a number of pieces with what each weighs, one of them")
	case l.Pieces > 0 && l.Each.Mass == 0 && !counted:
		return invalid("REQUIRED", at+".each", "", "say what a piece weighs, about")
	case l.Pieces == 0 && l.Each.Mass > 0:
		return invalid("REQUIRED", at+".pieces", "", "say how many pieces")
	case l.Weight() > MaxMass || l.Pieces > 0 && int64(l.Each.Mass) > int64(MaxMass)/l.Pieces:
		return invalid("TOO_LARGE", at+".pieces", fmt.Sprint(l.Pieces), "more than 1000 tonnes is not an order of this shop")
	case l.Pieces < l.LeastPieces:
		return invalid("BELOW_LEAST", at+".pieces", fmt.Sprint(l.Pieces), fmt.Sprintf("the supplier sells no fewer than %d", l.LeastPieces))
	case l.Weight() < l.LeastMass.Mass:
		return invalid("BELOW_LEAST", at+".mass", d.words(l.Weight()), fmt.Sprintf("the supplier sells no less than %s", d.words(l.LeastMass.Mass)))
	}
	return nil
}

// under says of an error about a part where the part is.
func under(at string, err error) error {
	var e *Error
	if !errors.As(err, &e) || e.Field == "" {
		return err
	}
	in := *e
	in.Field = at + "." + e.Field
	return &in
}

// PlaceOrder says that an order was given to its supplier.
type PlaceOrder struct {
	Order    string
	Expected time.Time `json:",omitzero"` // what the order says unless said
}

// PlaceOrder records that an order was given to its supplier.
func (b *Book) PlaceOrder(ctx context.Context, m Meta, c PlaceOrder) (*Entry, error) {
	return b.write(ctx, m, KindPlaceOrder, c, func(d *draft) error {
		var o Order
		if err := d.must(RecOrder, "order", c.Order, &o); err != nil {
			return err
		}
		if s := o.State(); !o.Placed.IsZero() || s == GivenUp || s == AllHere {
			return badState("ORDER_STATE", "order", o.ID, fmt.Sprintf("is %s; this needs one that is %s", s, BeingWritten))
		}
		o.Placed = d.e.Happened
		if !c.Expected.IsZero() {
			o.Expected = c.Expected
		}
		if !o.Expected.IsZero() && o.Expected.Before(o.Placed.AddDate(0, 0, -1)) {
			return invalid("BAD_DATE", "expected", o.Expected.Format(time.DateOnly), "must not be before the day of ordering, "+o.Placed.Format(time.DateOnly))
		}
		return d.putOrder(&o)
	})
}

// GiveUpOrder says that nothing more is expected of an order.
type GiveUpOrder struct {
	Order string
	Why   string `json:",omitempty"`
}

// GiveUpOrder closes an order that is not all here; what came stays.
func (b *Book) GiveUpOrder(ctx context.Context, m Meta, c GiveUpOrder) (*Entry, error) {
	return b.write(ctx, m, KindGiveUpOrder, c, func(d *draft) error {
		var o Order
		if err := d.must(RecOrder, "order", c.Order, &o); err != nil {
			return err
		}
		if s := o.State(); s == AllHere || s == GivenUp {
			return badState("ORDER_STATE", "order", o.ID, fmt.Sprintf("is %s; nothing more is expected of it", s))
		}
		if err := checkText("why", c.Why, maxReason); err != nil {
			return err
		}
		o.GivenUp, o.GivenUpWhy = d.e.Happened, c.Why
		return d.putOrder(&o)
	})
}

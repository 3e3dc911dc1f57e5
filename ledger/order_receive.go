package ledger

import (
	"context"
	"fmt"
	"slices"
)

// Flags of purchase orders; all of them tell.
const (
	FlagMoreThanOrdered = "more-than-ordered" // more came than was asked for
	FlagNotExpected     = "not-expected"      // came of an order that was never given, or was given up
)

// Delivered is what came of one line: a lot at its real weight, or a supply.
type Delivered struct {
	Line        int    `json:",omitempty"` // 1 for the first; may be left out of an order with one line
	LotID       string `json:",omitempty"` // chosen id; else the next number
	Dirty       bool   `json:",omitempty"`
	Place       string `json:",omitempty"`
	Label       string `json:",omitempty"`
	Weighing    WeighingIn
	Certificate *Certificate `json:",omitempty"`
	Last        bool         `json:",omitempty"` // nothing more comes of the line, whatever this weighs
	Price       string       `json:",omitempty"` // as invoiced, where that differs from the order
}

// ReceiveOrder is a delivery of an order, or a part of one.
type ReceiveOrder struct {
	Order   string
	Lines   []Delivered
	Freight string `json:",omitempty"` // as invoiced with this delivery; else its part of the order's
}

// ReceiveOrder records what came: metal as lots at their real weights, with their cost
// by the order's prices and their part of the freight.
func (b *Book) ReceiveOrder(ctx context.Context, m Meta, c ReceiveOrder) (*Entry, error) {
	return b.write(ctx, m, KindReceiveOrder, c, func(d *draft) error {
		var o Order
		if err := d.must(RecOrder, "order", c.Order, &o); err != nil {
			return err
		}
		if len(c.Lines) == 0 || len(c.Lines) > maxLines {
			return invalid("REQUIRED", "lines", fmt.Sprint(len(c.Lines)), fmt.Sprintf("say what came: 1 to %d lines", maxLines))
		}
		switch s := o.State(); {
		case s == GivenUp:
			d.flag(FlagNotExpected, fmt.Sprintf("the rest of order %s had been given up", o.ID))
		case o.Placed.IsZero():
			d.flag(FlagNotExpected, fmt.Sprintf("order %s was not ordered by the book", o.ID))
		}
		o.Receipts = append(o.Receipts, Receipt{Entry: d.e.Seq, When: d.e.Happened})
		came := &o.Receipts[len(o.Receipts)-1]
		var err error
		if came.Freight, err = d.orderFreight(c.Freight); err != nil {
			return err
		}
		for k, in := range c.Lines {
			at := fmt.Sprintf("lines[%d]", k)
			if in.Line == 0 && len(o.Lines) == 1 {
				in.Line = 1
			}
			if in.Line < 1 || in.Line > len(o.Lines) {
				return invalid("NO_SUCH_LINE", at+".line", fmt.Sprint(in.Line), fmt.Sprintf("order %s has lines 1 to %d; say which it is of", o.ID, len(o.Lines)))
			}
			got, err := d.deliver(at, &o, in)
			if err != nil {
				return err
			}
			came.Lines = append(came.Lines, got)
		}
		if err := o.deal(); err != nil {
			return err
		}
		for k := range came.Lines {
			x := &came.Lines[k]
			d.bear(&o, x, Received{Line: x.Line})
			lot, err := d.setPrice(&o, x)
			if err != nil {
				return err
			}
			if lot != nil {
				if err := d.askPrice(lot); err != nil {
					return err
				}
			}
		}
		for i := range o.Lines {
			d.flagMore(&o, i)
		}
		return d.putOrder(&o)
	})
}

// deliver books one line of a delivery in.
func (d *draft) deliver(at string, o *Order, in Delivered) (got Received, err error) {
	line := &o.Lines[in.Line-1]
	got = Received{Line: in.Line, Pieces: in.Weighing.Pieces, Last: in.Last}
	if line.Supply == "" {
		lot := &Lot{ID: in.LotID, Alloy: line.Alloy, AlloySure: true, Form: line.Form, Condition: Clean, Place: in.Place, Label: in.Label, Certificate: in.Certificate}
		if in.Dirty {
			lot.Condition = ToClean
		}
		if got.Net, err = d.takeIn(lot, Acct(Supplier, o.Supplier), in.Weighing); err != nil {
			return got, under(at, err)
		}
		got.Lot, err = lot.ID, d.putLot(lot)
	} else {
		got.Net, err = d.takeInSupply(at, line.Supply, in)
	}
	if line.Pieces > 0 && got.Pieces == 0 && line.Each.Mass > 0 { // not counted: by what they weigh
		got.Pieces = mulDiv(int64(got.Net), 1, int64(line.Each.Mass))
	}
	if err != nil || in.Price == "" {
		return got, err
	}
	if got.Price, err = d.terms(at+".price", in.Price, true); err != nil {
		return got, err
	}
	switch {
	case got.Price.Per == PerPiece && got.Pieces == 0:
		err = invalid("NOT_IN_PIECES", at+".price", in.Price, "is for a piece, and no pieces were counted")
	case got.Price.Per != "" && got.Price.Per != PerPiece && got.Net == 0:
		err = invalid("COUNTED_IN_PIECES", at+".price", in.Price, "is by weight, and nothing was weighed")
	}
	return got, err
}

// setPrice says of the lot of a receipt's line what was paid for it; it gives nil when
// there is none or no price.
func (d *draft) setPrice(o *Order, x *Received) (*Lot, error) {
	p := o.goods(x)
	if x.Lot == "" || p == nil {
		return nil, nil
	}
	var l Lot
	if err := d.must(RecLot, "lot", x.Lot, &l); err != nil {
		return nil, err
	}
	l.Price = p
	return &l, d.putLot(&l)
}

// takeInSupply books a supply in and gives the net of one that is weighed.
func (d *draft) takeInSupply(at, id string, in Delivered) (net Mass, err error) {
	var s Supply
	if err := d.must(RecSupply, at+".supply", id, &s); err != nil {
		return 0, err
	}
	var amount Mass
	switch {
	case in.LotID != "" || in.Certificate != nil || in.Dirty || in.Place != "" || in.Label != "":
		return 0, invalid("NOT_METAL", at+".line", fmt.Sprint(in.Line), s.Name+" makes no lot, so it has no place, label or certificate")
	case s.InPieces:
		q, err := d.supplyAmount(at+".weighing", s, in.Weighing.Net, in.Weighing.Pieces)
		if err != nil {
			return 0, err
		}
		if amount = q.Mass; amount <= 0 {
			return 0, invalid("ZERO", at+".weighing.pieces", "", "must be more than nothing")
		}
	default:
		if amount, _, err = d.weigh(at+".weighing", in.Weighing, Acct(InSupply, id), false); err != nil {
			return 0, err
		}
		net = d.lastNet()
	}
	d.move(Acct(Supplied, id), Acct(InSupply, id), amount, Weighed)
	return net, nil
}

// flagMore says when more of a line came than was ordered.
func (d *draft) flagMore(o *Order, line int) {
	l, c := &o.Lines[line], o.Came(line)
	what := l.Alloy + l.Supply
	switch {
	case l.Pieces > 0 && c.Pieces > l.Pieces:
		d.flag(FlagMoreThanOrdered, fmt.Sprintf("%d pieces of %s came, %d more than ordered", c.Pieces, what, c.Pieces-l.Pieces))
	case l.Pieces == 0 && c.Mass > l.Mass.Mass:
		d.flag(FlagMoreThanOrdered, fmt.Sprintf("%s of %s came, %s more than ordered", d.words(c.Mass), what, d.words(c.Mass-l.Mass.Mass)))
	}
}

// unputOrder takes back what a reversed entry did to an order: its receipt is void, and
// the order waits for what it brought again. What was done to it since stays.
func (d *draft) unputOrder(old *Entry, c *change) error {
	var o Order
	if err := c.cur.Into(&o); err != nil {
		return err
	}
	switch {
	case old.Kind == KindReceiveOrder:
		if err := d.voidReceipt(&o, old.Seq); err != nil {
			return err
		}
	case c.same && c.had:
		d.keep(c.before, nil) // as it stood
		return nil
	case c.same:
		o.GivenUp, o.GivenUpWhy = d.e.Happened, "entered by mistake"
	case old.Kind == KindGiveUpOrder:
		o.GivenUp, o.GivenUpWhy = Order{}.GivenUp, ""
	case old.Kind == KindPlaceOrder:
		o.Placed = Order{}.Placed
	}
	return d.putOrder(&o)
}

// voidReceipt makes a receipt void and takes its cost back. What other deliveries bear is dealt anew: a fixed
// sum or the freight may have gone with the one that never was.
func (d *draft) voidReceipt(o *Order, entry int64) error {
	var before [][]Received
	for i := range o.Receipts {
		before = append(before, slices.Clone(o.Receipts[i].Lines))
		o.Receipts[i].Void = o.Receipts[i].Void || o.Receipts[i].Entry == entry
	}
	if err := o.deal(); err != nil {
		return err
	}
	for i := range o.Receipts {
		for k := range o.Receipts[i].Lines {
			x := &o.Receipts[i].Lines[k]
			if o.Receipts[i].Entry == entry {
				d.bear(o, &Received{Line: x.Line, Lot: x.Lot, Price: x.Price}, *x)
			}
			if o.Receipts[i].Void || *x == before[i][k] {
				continue
			}
			d.bear(o, x, before[i][k])
			if _, err := d.setPrice(o, x); err != nil {
				return err
			}
		}
	}
	return nil
}

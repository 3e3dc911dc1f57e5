package ledger

import (
	"context"
	"fmt"
)

// Kinds of entry about supplies.
const (
	KindReceiveSupply Kind = "receive-supply"
	KindUseSupply     Kind = "use-supply"
	KindCountSupply   Kind = "count-supply"
)

// SupplyMove is an amount of a supply item: a mass, or pieces for an item
// counted in pieces.
type SupplyMove struct {
	Supply string
	Amount Quantity `json:",omitzero"`
	Pieces int64    `json:",omitempty"`
	From   string   `json:",omitempty"` // supplier, when received
	For    string   `json:",omitempty"` // what it was used for
	Price  string   `json:",omitempty"` // total or rate, when received
}

func (d *draft) supplyAmount(field string, s Supply, q Quantity, pieces int64) (Quantity, error) {
	if s.InPieces {
		if q.given() {
			return q, invalid("COUNTED_IN_PIECES", field, q.text(), s.Name+" is counted in pieces")
		}
		if pieces < 0 || pieces > 1_000_000 {
			return q, invalid("OUT_OF_RANGE", "pieces", fmt.Sprint(pieces), "must be between 0 and 1 000 000")
		}
		return Quantity{Mass: Mass(pieces)}, nil
	}
	if pieces != 0 {
		return q, invalid("WEIGHED", "pieces", fmt.Sprint(pieces), s.Name+" is weighed, not counted")
	}
	return d.quantity(field, q)
}

// useSupply takes an amount off the shelf; what the book says is not there was
// there all the same, and comes from where the item is supplied, flagged.
func (d *draft) useSupply(s Supply, amount Mass) error {
	if amount <= 0 {
		return invalid("ZERO", "amount", fmt.Sprint(amount), "must be more than nothing")
	}
	shelf := Acct(InSupply, s.ID)
	have, err := d.balance(shelf)
	if err != nil {
		return err
	}
	if short := amount - have; short > 0 {
		d.flag("supply-short", fmt.Sprintf("the book had less %s than was used; its stock was not all booked in", s.Name))
		d.move(Acct(Supplied, s.ID), shelf, short, ByDifference)
	}
	d.move(shelf, Acct(Spent, s.ID), amount, Weighed)
	return nil
}

// ReceiveSupply books supplies in.
func (b *Book) ReceiveSupply(ctx context.Context, m Meta, c SupplyMove) (*Entry, error) {
	return b.supplyMove(ctx, m, KindReceiveSupply, c, func(d *draft, s Supply, amount Mass) error {
		if amount == 0 {
			return invalid("ZERO", "amount", "", "must be more than nothing")
		}
		if c.From != "" {
			if err := d.must(RecParty, "supplier", c.From, &Party{}); err != nil {
				return err
			}
		}
		if c.Price != "" {
			p, err := d.price("price", c.Price, amount)
			if err != nil {
				return err
			}
			d.e.Costs = append(d.e.Costs, p.cost(Acct(InSupply, s.ID)))
		}
		d.move(Acct(Supplied, s.ID), Acct(InSupply, s.ID), amount, Weighed)
		return nil
	})
}

// UseSupply books supplies used up outside a heat: a crucible broken, rod welded.
func (b *Book) UseSupply(ctx context.Context, m Meta, c SupplyMove) (*Entry, error) {
	return b.supplyMove(ctx, m, KindUseSupply, c, func(d *draft, s Supply, amount Mass) error {
		return d.useSupply(s, amount)
	})
}

// CountSupply sets an item's stock to what was counted.
func (b *Book) CountSupply(ctx context.Context, m Meta, c SupplyMove) (*Entry, error) {
	return b.supplyMove(ctx, m, KindCountSupply, c, func(d *draft, s Supply, amount Mass) error {
		have, err := d.balance(Acct(InSupply, s.ID))
		if err != nil {
			return err
		}
		d.move(Acct(InSupply, s.ID), Acct(Spent, s.ID), have-amount, ByDifference)
		return nil
	})
}

func (b *Book) supplyMove(ctx context.Context, m Meta, kind Kind, c SupplyMove, fn func(*draft, Supply, Mass) error) (*Entry, error) {
	return b.write(ctx, m, kind, c, func(d *draft) error {
		var s Supply
		if err := d.must(RecSupply, "supply", c.Supply, &s); err != nil {
			return err
		}
		if err := checkText("for", c.For, maxName); err != nil {
			return err
		}
		q, err := d.supplyAmount("amount", s, c.Amount, c.Pieces)
		if err != nil {
			return err
		}
		if q.Typed != "" {
			d.e.Weighings = append(d.e.Weighings, Weighing{Subject: Acct(InSupply, s.ID), Net: q})
		}
		return fn(d, s, q.Mass)
	})
}

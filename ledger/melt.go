package ledger

import (
	"context"
	"fmt"
	"slices"

	"example.org/remelt/ledger/unit"
)

// Kinds of entry while a heat is melting.
const (
	KindCharge      Kind = "charge"
	KindAdd         Kind = "add"
	KindTemperature Kind = "temperature"
)

// ChargeItem is a lot that goes into a heat, whole or in part.
type ChargeItem struct {
	Lot    string
	Mass   Quantity    `json:",omitzero"`  // a part, as estimated or typed
	Weigh  *WeighingIn `json:",omitempty"` // or as weighed; neither: the whole lot
	Pieces int64       `json:",omitempty"` // pieces taken, for a lot whose pieces are counted
}

// ChargeHeat puts lots, or a crucible's heel, into a heat.
type ChargeHeat struct {
	Heat  string
	Items []ChargeItem `json:",omitempty"`
	Heel  bool         `json:",omitempty"` // also what the last heat left in this heat's crucible
}

// Charge records what went into the crucible. Another alloy, a held or dirty lot, one
// that holds what its alloy may not, and more than the lot holds are recorded with a
// reason and flagged.
func (b *Book) Charge(ctx context.Context, m Meta, c ChargeHeat) (*Entry, error) {
	var of []Account
	for _, it := range c.Items {
		of = append(of, Acct(OfLot, it.Lot))
	}
	if c.Heel {
		crucible, err := b.crucibleOf(ctx, c.Heat)
		if err != nil {
			return nil, err
		}
		of = append(of, Acct(Heel, crucible))
	}
	known, err := b.knownOf(ctx, of)
	if err != nil {
		return nil, err
	}
	return b.write(ctx, m, KindCharge, c, func(d *draft) error {
		h, err := d.heatIn(c.Heat, Melting, Late, Settled)
		if err != nil {
			return err
		}
		if h.State == Settled {
			d.flag(FlagSettled, fmt.Sprintf("heat %s was settled on %s: what is charged into it now counts as unaccounted for in it at once; is it of another heat?", h.ID, h.Settled.Format("2006-01-02")))
		}
		if len(c.Items) == 0 && !c.Heel {
			return invalid("REQUIRED", "items", "", "name the lots that went in")
		}
		for i, it := range c.Items {
			if err := d.chargeLot(fmt.Sprintf("items[%d]", i), h, it, known); err != nil {
				return err
			}
		}
		if c.Heel {
			if err := d.chargeHeel(h, known); err != nil {
				return err
			}
		}
		return d.askOverfilled(h)
	})
}

func (d *draft) chargeLot(field string, h *Heat, it ChargeItem, known map[Account][]Element) error {
	l, have, err := d.lot(field+".lot", it.Lot)
	if err != nil {
		return err
	}
	amount, basis := have, Weighed // the whole lot is known as well as the lot is
	switch {
	case it.Weigh != nil && it.Mass.given():
		return invalid("CONTRADICTION", field+".mass", it.Mass.text(), "give a mass or a weighing, not both")
	case it.Weigh != nil:
		if amount, basis, err = d.weigh(field+".weighing", *it.Weigh, Acct(OfLot, l.ID), false); err != nil {
			return err
		}
	case it.Mass.given():
		q, err := d.quantity(field+".mass", it.Mass)
		if err != nil {
			return err
		}
		amount, basis = q.Mass, Estimated
		d.e.Weighings = append(d.e.Weighings, Weighing{Subject: Acct(OfLot, l.ID), Net: q})
	}
	if amount <= 0 {
		return badState("LOT_EMPTY", field+".lot", l.ID, "holds nothing by the book; say how much went in")
	}
	if amount, err = d.orAll(l, it.Pieces, have, amount); err != nil {
		return err
	}
	d.askBeforeUse(l, h)
	if err := d.askOutside(l, known); err != nil {
		return err
	}
	if err := d.take(l, amount, d.metalOf(h), basis); err != nil {
		return err
	}
	return d.takePieces(field+".pieces", l, it.Pieces, amount >= have)
}

// askOverfilled flags a crucible that has more in it than it holds, with the heel that
// the last heat left.
func (d *draft) askOverfilled(h *Heat) error {
	in, err := d.balance(Acct(InHeat, h.ID))
	if err != nil || h.Crucible == "" || h.State != Melting {
		return err
	}
	heel, err := d.balance(Acct(Heel, h.Crucible))
	if err != nil {
		return err
	}
	return d.askOverfull(h, "would be in it", in+max(heel, 0))
}

// askBeforeUse flags what makes a lot an unusual thing to melt in a heat.
func (d *draft) askBeforeUse(l *Lot, h *Heat) {
	if l.Alloy != h.Alloy {
		d.flag(FlagWrongAlloy, fmt.Sprintf("lot %s is %s, heat %s is %s", l.ID, l.Alloy, h.ID, h.Alloy)+d.whyNotMix(h.Alloy, l.Alloy))
	}
	if l.Condition == SetApart {
		d.flag(FlagHeld, fmt.Sprintf("lot %s is held: %s", l.ID, l.HeldWhy))
	}
	if l.Condition == ToClean {
		d.flag(FlagUnclean, fmt.Sprintf("lot %s is still to be cleaned; its weight is not all metal, and dirt or damp in a melt is dangerous", l.ID))
	}
	if l.Owner != h.Owner {
		d.flag(FlagOtherOwner, fmt.Sprintf("lot %s belongs to %s, heat %s to %s", l.ID, ownerText(l.Owner), h.ID, ownerText(h.Owner)))
	}
}

// knownOf is what lots and heels are known to hold that can hurt.
func (b *Book) knownOf(ctx context.Context, of []Account) (map[Account][]Element, error) {
	if b.KnownOf == nil || len(of) == 0 {
		return nil, nil
	}
	return b.KnownOf(ctx, of)
}

// crucibleOf is the crucible of a heat, or "".
func (b *Book) crucibleOf(ctx context.Context, heat string) (string, error) {
	var h Heat
	err := b.Store.View(ctx, b.Shop, func(r Reader) error {
		rec, found, err := r.Record(RecHeat, heat)
		if err != nil || !found {
			return err
		}
		return rec.Into(&h)
	})
	return h.Crucible, err
}

func lotAccounts(lots []string) []Account {
	out := make([]Account, len(lots))
	for i, id := range lots {
		out[i] = Acct(OfLot, id)
	}
	return out
}

// askOutside flags a lot that holds clearly more of something than its alloy may: by its
// analysis, and where the metal is known to hold more than that says, by what it is of.
func (d *draft) askOutside(l *Lot, known map[Account][]Element) error {
	var measured []Element
	if l.Certificate != nil {
		measured = l.Certificate.Elements
	}
	var more []Element
	for _, e := range known[Acct(OfLot, l.ID)] {
		if !slices.ContainsFunc(measured, func(m Element) bool { return m.Symbol == e.Symbol && m.PPM >= e.PPM }) {
			more = append(more, e)
		}
	}
	if err := d.flagExcess(FlagOutside, "lot "+l.ID, l.Alloy, measured, "its analysis"); err != nil {
		return err
	}
	return d.flagExcess(FlagOutside, "lot "+l.ID, l.Alloy, more, "the metal that went into it")
}

// tellOutside flags a new analysis by which a lot holds clearly more of something than its
// alloy may. It is a fact and asks for nothing: what is done with such metal does.
func (d *draft) tellOutside(l *Lot, c *Certificate) error {
	if c == nil {
		return nil
	}
	return d.flagExcess(FlagMeasured, "lot "+l.ID, l.Alloy, c.Elements, "its analysis")
}

// flagExcess flags what holds clearly more of something than its alloy may.
func (d *draft) flagExcess(code, what, alloy string, holds []Element, by string) error {
	if d.book.Metals == nil || len(holds) == 0 {
		return nil
	}
	var own Alloy
	if _, err := d.get(RecAlloy, alloy, &own); err != nil {
		return err
	}
	for _, much := range d.book.Metals.Excesses(alloy, own.Limits, holds) {
		d.flag(code, fmt.Sprintf("%s holds %s by %s", what, much, by))
	}
	return nil
}

// whyNotMix is the number that says why two alloys must not mix, or "".
func (d *draft) whyNotMix(into, from string) string {
	if d.book.Metals == nil {
		return ""
	}
	if ok, why := d.book.Metals.MayMix(into, from); !ok && why != "" {
		return ": " + why
	}
	return ""
}

// askPieces flags more pieces taken than a lot has, whose pieces are counted.
func (d *draft) askPieces(l *Lot, pieces int64) {
	if l.Pieces > 0 && pieces > l.Pieces {
		d.flag(FlagOverdrawn, fmt.Sprintf("lot %s is %d pieces by the book, and %d were taken", l.ID, l.Pieces, pieces))
	}
}

// takePieces counts pieces out of a lot and frees promises it can no longer keep.
func (d *draft) takePieces(field string, l *Lot, pieces int64, all bool) error {
	if pieces < 0 {
		return invalid("NEGATIVE", field, fmt.Sprint(pieces), "must not be negative")
	}
	if all {
		pieces = l.Pieces
	}
	d.askPieces(l, pieces)
	before := l.Pieces
	l.Pieces = max(0, l.Pieces-pieces)
	if l.Pieces == before && !all {
		return nil
	}
	if all {
		l.SpokenFor = nil
	}
	return d.putLot(l)
}

// AddToHeat is flux, degasser or deoxidiser given to a heat.
type AddToHeat struct {
	Heat, Supply string
	Amount       Quantity
	Pieces       int64  `json:",omitempty"` // for an item counted in pieces
	Purpose      string `json:",omitempty"` // the item's own unless said
}

// Add records an addition. What of it becomes part of the melt is metal in.
func (b *Book) Add(ctx context.Context, m Meta, c AddToHeat) (*Entry, error) {
	return b.write(ctx, m, KindAdd, c, func(d *draft) error {
		c := c
		h, err := d.heatIn(c.Heat, Melting, Late)
		if err != nil {
			return err
		}
		var s Supply
		if err := d.must(RecSupply, "supply", c.Supply, &s); err != nil {
			return err
		}
		amount, err := d.supplyAmount("amount", s, c.Amount, c.Pieces)
		if err != nil {
			return err
		}
		if c.Purpose == "" {
			c.Purpose = s.Purpose
		}
		if err := checkText("purpose", c.Purpose, maxName); err != nil {
			return err
		}
		if err := d.useSupply(s, amount.Mass); err != nil {
			return err
		}
		if s.MetalPPM > 0 {
			d.move(Acct(Additive, s.ID), d.metalOf(h), s.MetalPPM.Of(amount.Mass), Weighed)
		}
		id, err := d.fresh(RecAddition, "", d.numberOf(h.ID))
		if err != nil {
			return err
		}
		return d.put(RecAddition, id, heatKey(h.ID), Addition{ID: id, Heat: h.ID, Supply: s.ID, Purpose: c.Purpose, Amount: amount})
	})
}

// ReadTemperature is a temperature read in a heat.
type ReadTemperature struct {
	Heat  string
	Typed string // "2050 F", "1120 C"; a bare number is in the shop's unit
	What  string `json:",omitempty"`
}

// Temperature records a reading.
func (b *Book) Temperature(ctx context.Context, m Meta, c ReadTemperature) (*Entry, error) {
	return b.write(ctx, m, KindTemperature, c, func(d *draft) error {
		h, err := d.heatIn(c.Heat, Melting, Late)
		if err != nil {
			return err
		}
		if err := checkText("temperature", c.Typed, 60); err != nil {
			return err
		}
		t, err := unit.ParseTemperature(c.Typed, unit.TempUnit(d.shop.TempUnit))
		if err != nil {
			return wrapUnit("temperature", err)
		}
		if err := checkText("what", c.What, maxName); err != nil {
			return err
		}
		id, err := d.fresh(RecReading, "", d.numberOf(h.ID))
		if err != nil {
			return err
		}
		return d.put(RecReading, id, heatKey(h.ID), Reading{ID: id, Heat: h.ID, Typed: c.Typed, MilliC: t, What: c.What})
	})
}

package ledger

import (
	"fmt"
	"slices"
)

// chargeHeel puts what the last heat left in a heat's crucible into it. It is asked about
// like a lot.
func (d *draft) chargeHeel(h *Heat, known map[Account][]Element) error {
	if h.Crucible == "" {
		return invalid("REQUIRED", "heel", "", "heat "+h.ID+" has no crucible that could hold a heel")
	}
	heel := Acct(Heel, h.Crucible)
	left, err := d.balance(heel)
	if err != nil {
		return err
	}
	if left <= 0 {
		return badState("NO_HEEL", "heel", h.Crucible, "no heel is booked in this crucible")
	}
	of, err := d.heelOf(h.Crucible)
	if err != nil {
		return err
	}
	if of != nil {
		d.askHeel(h, of)
		if err := d.flagExcess(FlagOutside, "the heel of crucible "+h.Crucible, of.Alloy, known[heel], "the metal that went into it"); err != nil {
			return err
		}
		if of.Owner != h.Owner {
			d.flag(FlagOtherOwner, fmt.Sprintf("the heel of crucible %s, of heat %s, belongs to %s, heat %s to %s", h.Crucible, of.ID, ownerText(of.Owner), h.ID, ownerText(h.Owner)))
		}
	}
	d.move(heel, d.metalOf(h), left, Estimated)
	return nil
}

// askForeignHeel flags a heel of another alloy in the crucible that a heat is given.
func (d *draft) askForeignHeel(h *Heat) error {
	left, err := d.balance(Acct(Heel, h.Crucible))
	if err != nil || left <= 0 {
		return err
	}
	of, err := d.heelOf(h.Crucible)
	if err == nil && of != nil && !of.Opened.After(d.e.Happened) { // an old paper is not of today's heel
		d.askHeel(h, of)
	}
	return err
}

func (d *draft) askHeel(h, of *Heat) {
	if of.Alloy != h.Alloy {
		d.flag(FlagWrongAlloy, fmt.Sprintf("the heel of crucible %s is %s, of heat %s; heat %s is %s", h.Crucible, of.Alloy, of.ID, h.ID, h.Alloy)+d.whyNotMix(h.Alloy, of.Alloy))
	}
}

// heelOf is the heat that left a crucible's heel, or nil when the book does not say.
func (d *draft) heelOf(crucible string) (*Heat, error) {
	heel := Acct(Heel, crucible)
	for e, err := range d.back(heel) {
		if err != nil {
			return nil, err
		}
		if e.Kind != KindFinishPour || !slices.ContainsFunc(e.Postings, func(p Posting) bool { return p.Account == heel && p.Mass > 0 }) {
			continue
		}
		if reversed, err := d.reversed(e.Seq); err != nil {
			return nil, err
		} else if reversed {
			continue
		}
		for _, p := range e.Postings {
			if p.Account.Kind() == InHeat {
				var h Heat // looked at, not written about
				return &h, d.must(RecHeat, "heel", p.Account.Ref(), &h)
			}
		}
	}
	return nil, nil
}

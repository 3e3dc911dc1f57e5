package ledger

import (
	"cmp"
	"context"
	"fmt"
)

// MoldPlan is a mold of a heat to be.
type MoldPlan struct {
	ID         string   `json:",omitempty"`
	Name       string   `json:",omitempty"`
	Customer   string   `json:",omitempty"`
	Commission string   `json:",omitempty"`
	Wax        Quantity `json:",omitzero"` // wax or pattern weight, kept beside the estimate
	VolumeMm3  int64    `json:",omitempty"`
	Metal      Quantity `json:",omitzero"` // casting
	Gating     Quantity `json:",omitzero"` // cups, sprues, runners, risers
	How        string   `json:",omitempty"`
}

// SetMold adds a mold to a heat, or changes one that is not poured.
type SetMold struct {
	Heat string
	Mold MoldPlan
	New  bool `json:",omitempty"` // the mold's id must not be taken
}

// SetMold records a mold's plan.
func (b *Book) SetMold(ctx context.Context, m Meta, c SetMold) (*Entry, error) {
	return b.write(ctx, m, KindSetMold, c, func(d *draft) error {
		h, err := d.heatIn(c.Heat, Planned, Melting, Late)
		if err != nil {
			return err
		}
		if c.New && c.Mold.ID != "" {
			if _, err := d.fresh(RecMold, c.Mold.ID, nil); err != nil {
				return err
			}
		}
		_, err = d.setMold("mold", h, c.Mold)
		return err
	})
}

func (d *draft) setMold(field string, h *Heat, p MoldPlan) (*Mold, error) {
	mold := &Mold{ID: p.ID, Heat: h.ID, State: MoldPlanned}
	if p.ID != "" {
		found, err := d.get(RecMold, p.ID, mold)
		if err != nil {
			return nil, err
		}
		if found && mold.Heat != h.ID {
			return nil, &Error{Class: ErrExists, Reason: "ALREADY_EXISTS", Field: field + ".mold_id", Value: p.ID, Want: "is a mold of heat " + mold.Heat}
		}
		if found && mold.State != MoldPlanned {
			return nil, badState("MOLD_POURED", field, p.ID, "is "+string(mold.State)+" already")
		}
	} else {
		id, err := d.fresh(RecMold, "", d.numberOf(h.ID))
		if err != nil {
			return nil, err
		}
		mold.ID = id
	}
	for _, t := range []struct{ name, value string }{{"display_name", p.Name}, {"how", p.How}, {"commission", p.Commission}} {
		if err := checkText(field+"."+t.name, t.value, maxName); err != nil {
			return nil, err
		}
	}
	if p.Commission != mold.Commission {
		if err := d.askCommissionKnown(p.Commission, notInACost(p.Commission)); err != nil {
			return nil, err
		}
	}
	if p.Customer != "" {
		if err := d.must(RecParty, field+".customer", p.Customer, &Party{}); err != nil {
			return nil, err
		}
	}
	metal, err := d.quantity(field+".metal", p.Metal)
	if err != nil {
		return nil, err
	}
	gating, err := d.quantity(field+".gating", p.Gating)
	if err != nil {
		return nil, err
	}
	mold.Wax = nil
	if p.Wax.given() {
		wax, err := d.quantity(field+".wax", p.Wax)
		if err != nil {
			return nil, err
		}
		mold.Wax = &wax
	}
	if p.VolumeMm3 < 0 {
		return nil, invalid("NEGATIVE", field+".volume", fmt.Sprint(p.VolumeMm3), "a volume must not be negative")
	}
	mold.Name, mold.Customer, mold.Commission = p.Name, p.Customer, p.Commission
	mold.VolumeMm3, mold.Metal, mold.Gating, mold.How = p.VolumeMm3, metal.Mass, gating.Mass, p.How
	return mold, d.put(RecMold, mold.ID, heatKey(h.ID), mold)
}

// numberOf makes ids within a heat: "41-1", "41-2", starting at one each heat.
func (d *draft) numberOf(heat string) func(int64) string {
	n := int64(0)
	return func(int64) string { n++; return fmt.Sprintf("%s-%d", heat, n) }
}

// castingOf is a casting that came from a mold, or "". Weighing one marks its mold, but
// that was not always so. One that the entry being reversed made never was.
func (d *draft) castingOf(m *Mold) (string, error) {
	for after := ""; ; {
		recs, err := d.Records(RecCasting, heatKey(m.Heat), after, MaxPage)
		if err != nil {
			return "", err
		}
		for _, r := range recs {
			var k Casting
			if err := r.Into(&k); err != nil {
				return "", err
			}
			if k.Mold == m.ID && k.Gone != GoneByMistake && !d.undoes(RecCasting, k.ID) {
				return k.ID, nil
			}
		}
		if len(recs) < MaxPage {
			return "", nil
		}
		after = recs[len(recs)-1].ID
	}
}

// takeMold takes a mold over from the heat in which it was not poured, and says how much
// metal it wants. A heat that is still planned wants so much less.
func (d *draft) takeMold(field string, h *Heat, id string) (Mass, error) {
	var mold Mold
	if err := d.must(RecMold, field, id, &mold); err != nil {
		return 0, err
	}
	if mold.State != MoldPlanned && mold.State != MoldUnused {
		return 0, badState("MOLD_POURED", field, id, "is "+string(mold.State)+" already")
	}
	if k, err := d.castingOf(&mold); err != nil || k != "" {
		return 0, cmp.Or(err, badState("MOLD_POURED", field, id, "was poured: casting "+k+" came from it"))
	}
	old, err := d.heat(field, mold.Heat)
	if err != nil {
		return 0, err
	}
	if old.Alloy != h.Alloy {
		d.flag(FlagWrongAlloy, fmt.Sprintf("mold %s was planned for %s, heat %s is %s", id, old.Alloy, h.ID, h.Alloy))
	}
	metal := mold.Metal + mold.Gating
	if old.State == Planned && mold.State == MoldPlanned {
		old.Charge = max(0, old.Charge-metal)
		if err := d.putHeat(old); err != nil {
			return 0, err
		}
	}
	mold.Heat, mold.State = h.ID, MoldPlanned
	return metal, d.put(RecMold, id, heatKey(h.ID), mold)
}

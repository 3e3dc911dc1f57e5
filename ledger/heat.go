package ledger

import (
	"context"
	"fmt"
	"time"
)

// Kinds of entry that take a heat from plan to settlement.
const (
	KindPlanHeat   Kind = "plan-heat"
	KindChangeHeat Kind = "change-heat"
	KindSetMold    Kind = "set-mold"
	KindOpenHeat   Kind = "open-heat"
	KindDropHeat   Kind = "drop-heat"
	KindSettle     Kind = "settle"
)

func heatKey(id string) string { return string(RecHeat) + "/" + id }

func (d *draft) heat(field, id string) (*Heat, error) {
	var h Heat
	if err := d.must(RecHeat, field, id, &h); err != nil {
		return nil, err
	}
	d.askHeatBegan(&h)
	return &h, nil
}

// heatIn loads a heat that must be in one of the states.
func (d *draft) heatIn(id string, states ...HeatState) (*Heat, error) {
	h, err := d.heat("heat", id)
	if err != nil {
		return nil, err
	}
	for _, s := range states {
		if h.State == s {
			return h, nil
		}
	}
	return nil, badState("HEAT_STATE", "heat", id, fmt.Sprintf("is %s; this needs a heat that is %s", h.State, join(states)))
}

func (d *draft) putHeat(h *Heat) error { return d.put(RecHeat, h.ID, "", h) }

// PlanHeat plans a heat with its molds.
type PlanHeat struct {
	ID       string `json:",omitempty"`
	Alloy    string
	Owner    string     `json:",omitempty"` // customer whose own metal is melted
	Crucible string     `json:",omitempty"`
	Furnace  string     `json:",omitempty"`
	Melter   string     `json:",omitempty"`
	Planned  time.Time  `json:",omitzero"`
	Charge   Quantity   `json:",omitzero"` // planned charge; the molds' sum unless said
	Note     string     `json:",omitempty"`
	Molds    []MoldPlan `json:",omitempty"`
	Take     []string   `json:",omitempty"` // molds of other heats that were not poured there: they go over to this one
}

// PlanHeat records a plan.
func (b *Book) PlanHeat(ctx context.Context, m Meta, c PlanHeat) (*Entry, error) {
	return b.write(ctx, m, KindPlanHeat, c, func(d *draft) error {
		id, err := d.fresh(RecHeat, c.ID, plainNumber)
		if err != nil {
			return err
		}
		h := &Heat{ID: id, State: Planned, Owner: c.Owner}
		if err := d.setHeat(h, c); err != nil {
			return err
		}
		if len(c.Molds) > 500 {
			return invalid("TOO_MANY", "molds", fmt.Sprint(len(c.Molds)), "a heat has at most 500 molds")
		}
		for i, p := range c.Molds {
			mold, err := d.setMold(fmt.Sprintf("molds[%d]", i), h, p)
			if err != nil {
				return err
			}
			if !c.Charge.given() {
				h.Charge += mold.Metal + mold.Gating
			}
		}
		for i, mold := range c.Take {
			metal, err := d.takeMold(fmt.Sprintf("take_molds[%d]", i), h, mold)
			if err != nil {
				return err
			}
			if !c.Charge.given() {
				h.Charge += metal
			}
		}
		if err := d.askOverfull(h, "are planned", h.Charge); err != nil {
			return err
		}
		return d.putHeat(h)
	})
}

// ChangeHeat changes what is planned or noted of a heat that is not settled.
// Molds are changed one by one with SetMold; c.Molds and c.Owner are not looked at.
func (b *Book) ChangeHeat(ctx context.Context, m Meta, c PlanHeat) (*Entry, error) {
	return b.write(ctx, m, KindChangeHeat, c, func(d *draft) error {
		h, err := d.heatIn(c.ID, Planned, Melting, Late)
		if err != nil {
			return err
		}
		if old := h.Alloy; h.State != Planned && c.Alloy != "" {
			id, _, err := d.alloy("alloy", c.Alloy)
			if err != nil {
				return err
			}
			if id != old {
				d.flag(FlagWrongAlloy, fmt.Sprintf("heat %s is being melted as %s and is now called %s", h.ID, old, id))
			}
		}
		return d.setHeat(h, c)
	})
}

func (d *draft) setHeat(h *Heat, c PlanHeat) error {
	id, family, err := d.alloy("alloy", c.Alloy)
	if err != nil {
		return err
	}
	if id == UnknownAlloy {
		return invalid("ALLOY_UNKNOWN", "alloy", c.Alloy, "a heat is melted of a known alloy")
	}
	crucible, furnace := h.Crucible != c.Crucible, h.Furnace != c.Furnace
	changes := crucible || h.Alloy != id
	h.Alloy, h.Crucible, h.Furnace, h.Melter, h.Planned, h.Note = id, c.Crucible, c.Furnace, c.Melter, c.Planned, c.Note
	if d.book.Metals != nil {
		h.Limits = d.book.Metals.CastingLimits(id)
	}
	if h.Owner != "" {
		if err := d.must(RecParty, "owner", h.Owner, &Party{}); err != nil {
			return err
		}
	}
	if h.Melter != "" {
		if err := d.must(RecParty, "melter", h.Melter, &Party{}); err != nil {
			return err
		}
	}
	if h.Furnace != "" {
		if _, err := d.pot("furnace", h.Furnace, PotFurnace, furnace); err != nil {
			return err
		}
	}
	if h.Crucible != "" {
		p, err := d.pot("crucible", h.Crucible, PotCrucible, crucible)
		if err != nil {
			return err
		}
		if err := d.askFamily(p, family); err != nil {
			return err
		}
	}
	if h.Crucible != "" && changes {
		if err := d.askForeignHeel(h); err != nil {
			return err
		}
	}
	q, err := d.quantity("charge", c.Charge)
	if err != nil {
		return err
	}
	h.Charge = q.Mass
	if err := d.askOverfull(h, "are planned", h.Charge); err != nil {
		return err
	}
	if err := checkText("note", h.Note, maxReason); err != nil {
		return err
	}
	return d.putHeat(h)
}

// OpenHeat says that a planned heat is being melted.
func (b *Book) OpenHeat(ctx context.Context, m Meta, heat string) (*Entry, error) {
	return b.write(ctx, m, KindOpenHeat, heat, func(d *draft) error {
		h, err := d.heatIn(heat, Planned)
		if err != nil {
			return err
		}
		h.State, h.Opened = Melting, d.e.Happened
		if err := d.putHeat(h); err != nil {
			return err
		}
		for _, id := range []string{h.Crucible, h.Furnace} {
			if id == "" {
				continue
			}
			var p Pot
			if err := d.must(RecPot, "crucible", id, &p); err != nil {
				return err
			}
			p.Heats++
			if err := d.put(RecPot, id, "", p); err != nil {
				return err
			}
		}
		return nil
	})
}

// DropHeat says that a planned heat will not be melted.
func (b *Book) DropHeat(ctx context.Context, m Meta, heat string) (*Entry, error) {
	return b.write(ctx, m, KindDropHeat, heat, func(d *draft) error {
		h, err := d.heatIn(heat, Planned)
		if err != nil {
			return err
		}
		h.State = Dropped
		return d.putHeat(h)
	})
}

// unweighedPart is the part of what was poured that may be missing at the
// settlement without a reason: common practice, no source.
const unweighedPart = Whole / 20

// askUnweighed flags the settlement of a heat of which much is not weighed back,
// or more came back than was poured.
func (d *draft) askUnweighed(h *Heat, left Mass) error {
	poured := Mass(0)
	for before := int64(0); ; {
		page, err := d.History(heatKey(h.ID), before, 200)
		if err != nil {
			return err
		}
		for _, s := range page {
			e, err := s.Open()
			if err != nil {
				return err
			}
			for _, p := range e.Postings {
				if p.Account == Acct(InMolds, h.ID) && (e.Kind == KindFinishPour || e.Kind == KindPour) {
					poured += p.Mass
				}
			}
			before = s.Seq
		}
		if len(page) < 200 {
			break
		}
	}
	if absMass(left) > unweighedPart.Of(absMass(poured)) {
		d.flag(FlagUnweighed, fmt.Sprintf("%s of the %s poured into the molds of heat %s are not explained by what came back", d.words(left), d.words(poured), h.ID))
	}
	return d.askGated(h)
}

// askGated flags the settlement of a heat of which castings still have their gating on:
// it would count as casting.
func (d *draft) askGated(h *Heat) error {
	for after := ""; ; {
		recs, err := d.Records(RecCasting, heatKey(h.ID), after, MaxPage)
		if err != nil {
			return err
		}
		for _, r := range recs {
			var k Casting
			if err := r.Into(&k); err != nil {
				return err
			}
			var m Mold
			if found, err := d.get(RecMold, k.Mold, &m); err != nil {
				return err
			} else if found && k.Gated(&m) {
				d.flag(FlagUnweighed, fmt.Sprintf("casting %s weighed %s as cast, where its mold was to take %s and %s of gating: by that its gating is still on it, and counts as casting",
					k.ID, d.words(k.Weights[AsCast]), d.words(m.Metal), d.words(m.Gating)))
			}
		}
		if len(recs) < MaxPage {
			return nil
		}
		after = recs[len(recs)-1].ID
	}
}

// Settle closes a heat: everything expected is weighed or written off, and what
// is left in its molds is unaccounted for. Metal weighed in later comes out of that.
func (b *Book) Settle(ctx context.Context, m Meta, heat string) (*Entry, error) {
	return b.SettleExpecting(ctx, m, heat, nil)
}

// SettleExpecting is Settle of a heat that was expected to lose a share of its charge,
// which is kept with it: what is learned later changes nothing of it.
func (b *Book) SettleExpecting(ctx context.Context, m Meta, heat string, expected *PPM) (*Entry, error) {
	return b.write(ctx, m, KindSettle, heat, func(d *draft) error {
		h, err := d.heatIn(heat, Late)
		if err != nil {
			return err
		}
		left, err := d.balance(Acct(InMolds, heat))
		if err != nil {
			return err
		}
		if err := d.askUnweighed(h, left); err != nil {
			return err
		}
		d.move(Acct(InMolds, heat), Acct(Unaccounted, heat), left, ByDifference)
		h.State, h.Settled, h.Expected = Settled, d.e.Happened, expected
		return d.putHeat(h)
	})
}

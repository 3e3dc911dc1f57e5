package ledger

import (
	"cmp"
	"context"
	"fmt"
)

// Kinds of entry that say where a melt went.
const (
	KindSkim       Kind = "skim"
	KindSpill      Kind = "spill"
	KindPigs       Kind = "pour-off"
	KindPour       Kind = "pour"
	KindFinishPour Kind = "finish-pour"
	KindGive       Kind = "give"
	KindWriteOff   Kind = "write-off"
)

// SkimHeat is skimmings taken off a heat and weighed.
type SkimHeat struct {
	Heat     string
	Weighing WeighingIn
	Added    Quantity `json:",omitzero"`  // flux and grit that had been added and are in it
	Trapped  *PPM     `json:",omitempty"` // share of the rest that is trapped metal; the shop's unless said
	Oxide    string   `json:",omitempty"` // formula, such as CuO; the alloy's unless said
	MetalPPM PPM      `json:",omitempty"` // share of metal in the oxide, if the shop reckons with its own
	Place    string   `json:",omitempty"`
}

// Skim records skimmings: what was added is not metal; of the rest a share is
// trapped metal, a lot not yet usable; the oxide holds metal that is gone, by
// stoichiometry.
func (b *Book) Skim(ctx context.Context, m Meta, c SkimHeat) (*Entry, error) {
	return b.write(ctx, m, KindSkim, c, func(d *draft) error {
		h, err := d.heatIn(c.Heat, Melting, Late, Settled)
		if err != nil {
			return err
		}
		l := &Lot{Alloy: h.Alloy, AlloySure: true, Form: Skimmings, Condition: ToClean, Owner: h.Owner, Place: c.Place}
		if err := d.newLot(l); err != nil {
			return err
		}
		a := Acct(OfLot, l.ID)
		net, _, err := d.weigh("weighing", c.Weighing, a, false)
		if err != nil {
			return err
		}
		added, err := d.quantity("added", c.Added)
		if err != nil {
			return err
		}
		if added.Mass > net {
			return invalid("MORE_THAN_SKIMMED", "added", added.text(), "is more than was skimmed; what is still in the crucible is not in the skimmings")
		}
		share := d.shop.TrappedPPM
		if c.Trapped != nil {
			share = *c.Trapped
		}
		if err := checkShare("trapped_percent", share); err != nil {
			return err
		}
		metalShare, err := d.oxideShare(h.Alloy, c.Oxide, c.MetalPPM)
		if err != nil {
			return err
		}
		rest := net - added.Mass
		trapped := share.Of(rest)
		inOxide := metalShare.Of(rest - trapped)
		l.Skim = &Skim{Heat: h.ID, Net: net, Added: added.Mass, Trapped: trapped, Oxide: rest - trapped, InOxide: inOxide, Share: metalShare}
		melt := d.metalOf(h)
		d.move(melt, a, trapped, Estimated)
		d.move(melt, Acct(Oxide, h.ID), inOxide, Estimated)
		l.From = []Source{{melt, trapped}}
		return d.putLot(l)
	})
}

// oxideShare is the share of metal in the oxide an alloy's skimmings hold.
func (d *draft) oxideShare(alloy, oxide string, own PPM) (PPM, error) {
	if err := checkShare("metal_in_oxide_percent", own); err != nil {
		return 0, err
	}
	if own > 0 {
		return own, nil
	}
	if d.book.Metals == nil {
		return 0, invalid("REQUIRED", "metal_in_oxide_percent", "", "say what share of the oxide is metal")
	}
	if oxide == "" {
		oxide = d.book.Metals.OxideOf(alloy)
	}
	share, ok := d.book.Metals.MetalInOxide(oxide)
	if !ok {
		return 0, invalid("UNKNOWN_OXIDE", "oxide", oxide, "is not an oxide in the table; say what share of it is metal")
	}
	return share, nil
}

// SpillMetal is metal that ran out or splashed: from the crucible, or from a
// mold that leaked.
type SpillMetal struct {
	Heat     string
	Mold     string      `json:",omitempty"` // the mold that leaked; else from the crucible
	Weighing *WeighingIn `json:",omitempty"` // when swept up and weighed: it makes a lot to be cleaned
	Lost     Quantity    `json:",omitzero"`  // what could not be picked up, estimated
	Place    string      `json:",omitempty"`
}

// Spill records a spill.
func (b *Book) Spill(ctx context.Context, m Meta, c SpillMetal) (*Entry, error) {
	return b.write(ctx, m, KindSpill, c, func(d *draft) error {
		h, err := d.heatIn(c.Heat, Melting, Late)
		if err != nil {
			return err
		}
		from := d.metalOf(h)
		if c.Mold != "" {
			mold, err := d.mold(h, c.Mold)
			if err != nil {
				return err
			}
			mold.State = MoldLeaked
			if err := d.put(RecMold, mold.ID, heatKey(h.ID), mold); err != nil {
				return err
			}
			if mold.Poured > 0 && h.State == Melting {
				from = Acct(InMolds, h.ID)
			}
		}
		if c.Weighing == nil && !c.Lost.given() {
			return invalid("REQUIRED", "weighing", "", "weigh what was swept up, or estimate what was lost")
		}
		if c.Weighing != nil {
			l := &Lot{Alloy: h.Alloy, AlloySure: true, Form: SpillForm, Condition: ToClean, Owner: h.Owner, Place: c.Place}
			if err := d.newLot(l); err != nil {
				return err
			}
			metal, basis, err := d.weigh("weighing", *c.Weighing, Acct(OfLot, l.ID), false)
			if err != nil {
				return err
			}
			d.move(from, Acct(OfLot, l.ID), metal, basis)
			l.From = []Source{{from, metal}}
			if err := d.putLot(l); err != nil {
				return err
			}
		}
		lost, err := d.quantity("lost", c.Lost)
		if err != nil {
			return err
		}
		d.move(from, Acct(Spill, h.ID), lost.Mass, Estimated)
		return nil
	})
}

// PourPigs is what was left over, poured off into ingots for the next heat.
type PourPigs struct {
	Heat     string
	LotID    string `json:",omitempty"`
	Place    string `json:",omitempty"`
	Label    string `json:",omitempty"`
	Weighing WeighingIn
}

// PourOff records pigs; they make a lot.
func (b *Book) PourOff(ctx context.Context, m Meta, c PourPigs) (*Entry, error) {
	return b.write(ctx, m, KindPigs, c, func(d *draft) error {
		h, err := d.heatIn(c.Heat, Melting, Late, Settled)
		if err != nil {
			return err
		}
		from := d.metalOf(h) // weighed after the pour was closed, it was counted as in molds
		l := &Lot{ID: c.LotID, Alloy: h.Alloy, AlloySure: true, Form: Pig, Condition: Clean, Owner: h.Owner,
			Place: c.Place, Label: c.Label, Pieces: c.Weighing.Pieces}
		if err := d.newLot(l); err != nil {
			return err
		}
		metal, basis, err := d.weigh("weighing", c.Weighing, Acct(OfLot, l.ID), false)
		if err != nil {
			return err
		}
		d.move(from, Acct(OfLot, l.ID), metal, basis)
		d.warnMoreThanPoured(from)
		l.From = []Source{{from, metal}}
		return d.putLot(l)
	})
}

func (d *draft) mold(h *Heat, id string) (*Mold, error) {
	var mold Mold
	if err := d.must(RecMold, "mold", id, &mold); err != nil {
		return nil, err
	}
	if mold.Heat != h.ID {
		return nil, invalid("OTHER_HEAT", "mold", id, "is a mold of heat "+mold.Heat)
	}
	return &mold, nil
}

// PourMold is one mold poured.
type PourMold struct {
	Heat, Mold string
	Amount     Quantity  `json:",omitzero"`  // if known, from a ladle or crane scale or estimated
	Weighed    bool      `json:",omitempty"` // the amount was weighed
	State      MoldState `json:",omitempty"` // poured unless said; short, leaked, unused
}

// Pour records a mold poured. Without an amount the metal is counted when the
// pour is finished, by difference. That a mold was not poured may be said of a settled
// heat too, unless a casting came from it.
func (b *Book) Pour(ctx context.Context, m Meta, c PourMold) (*Entry, error) {
	return b.write(ctx, m, KindPour, c, func(d *draft) error {
		c := c
		states := []HeatState{Melting, Late}
		if c.State == MoldUnused { // found out late: no metal moves
			states = append(states, Settled)
		}
		h, err := d.heatIn(c.Heat, states...)
		if err != nil {
			return err
		}
		mold, err := d.mold(h, c.Mold)
		if err != nil {
			return err
		}
		switch c.State {
		case "":
			c.State = MoldPoured
		case MoldPoured, MoldShort, MoldLeaked:
		case MoldUnused:
			if k, err := d.castingOf(mold); err != nil || k != "" {
				return cmp.Or(err, badState("MOLD_POURED", "mold", mold.ID, "was poured: casting "+k+" came from it"))
			}
		default:
			return invalid("BAD_STATE", "state", string(c.State), "must be poured, short, leaked or unused")
		}
		q, err := d.quantity("amount", c.Amount)
		if err != nil {
			return err
		}
		mold.State = c.State
		mold.Poured += q.Mass
		basis := Estimated
		if c.Weighed {
			basis = Weighed
		}
		if h.State == Melting {
			d.move(Acct(InHeat, h.ID), Acct(InMolds, h.ID), q.Mass, basis)
		}
		if q.given() {
			d.e.Weighings = append(d.e.Weighings, Weighing{Subject: Acct(InMolds, h.ID), Net: q})
		}
		return d.put(RecMold, mold.ID, heatKey(h.ID), mold)
	})
}

// FinishPour closes the pour: what is not booked elsewhere is in the molds. If nothing
// was said of any of them, all that were planned are poured.
type FinishPour struct {
	Heat string
	Heel Quantity `json:",omitzero"` // heel or skull left in the crucible, estimated
}

// FinishPour books the rest into the molds, by difference, and makes the heat
// wait for its castings and returns.
func (b *Book) FinishPour(ctx context.Context, m Meta, c FinishPour) (*Entry, error) {
	return b.write(ctx, m, KindFinishPour, c, func(d *draft) error {
		h, err := d.heatIn(c.Heat, Melting)
		if err != nil {
			return err
		}
		melt := Acct(InHeat, h.ID)
		heel, err := d.quantity("heel", c.Heel)
		if err != nil {
			return err
		}
		if heel.Mass > 0 {
			if h.Crucible == "" {
				return invalid("REQUIRED", "heel", heel.text(), "heat "+h.ID+" has no crucible that could hold a heel")
			}
			d.move(melt, Acct(Heel, h.Crucible), heel.Mass, Estimated)
			d.e.Weighings = append(d.e.Weighings, Weighing{Subject: Acct(Heel, h.Crucible), Net: heel})
		}
		rest, err := d.balance(melt)
		if err != nil {
			return err
		}
		if rest < 0 {
			d.flag(FlagMoreThanIn, fmt.Sprintf("%s more came out of heat %s than was charged", d.words(-rest), h.ID))
		}
		d.move(melt, Acct(InMolds, h.ID), rest, ByDifference)
		h.State, h.Poured = Late, d.e.Happened
		if err := d.putHeat(h); err != nil { // before its molds: it is what the caller read
			return err
		}
		if rest > 0 {
			return d.pourUnsaid(h)
		}
		return nil
	})
}

// pourUnsaid makes all molds of a heat poured ones, if nothing was said of any: who
// says of some that they were poured says of the others that they were not. Nobody said
// it of a mold that its casting, or an end of the pour that was taken back, marked.
func (d *draft) pourUnsaid(h *Heat) error {
	recs, err := d.Records(RecMold, heatKey(h.ID), "", MaxPage)
	if err != nil {
		return err
	}
	molds := make([]Mold, len(recs))
	for i, r := range recs {
		if err := r.Into(&molds[i]); err != nil {
			return err
		}
		if s := molds[i].State; s == MoldPlanned || s == MoldUnused {
			continue
		}
		e, err := d.entry(r.Seq)
		if err != nil {
			return err
		}
		if e.Kind != KindWeighCasting && e.Kind != KindFinishPour {
			return nil
		}
	}
	for _, m := range molds {
		if m.State == MoldPlanned {
			m.State = MoldPoured
			if err := d.put(RecMold, m.ID, heatKey(h.ID), m); err != nil {
				return err
			}
		}
	}
	return nil
}

// GiveMetal is metal of a heat that left at once: poured into a visitor's mold
// and taken home.
type GiveMetal struct {
	Heat   string
	To     string
	Amount Quantity
}

// Give records it.
func (b *Book) Give(ctx context.Context, m Meta, c GiveMetal) (*Entry, error) {
	return b.fromHeat(ctx, m, KindGive, c, c.Heat, c.Amount, func(*draft, *Heat) (Account, error) {
		return Acct(Left, "taken"), needText("to", c.To, maxName)
	})
}

// WriteOff puts metal of a heat to a loss of a known kind.
type WriteOff struct {
	Heat     string
	Cause    AccountKind // Kerf, Vapour, Oxide, Spill
	Amount   Quantity    `json:",omitzero"`
	Weighing *WeighingIn `json:",omitempty"` // sweepings and the like, weighed
}

// WriteOff records a loss: saw sweepings not to be melted here, zinc gone as
// vapour. Weighed amounts are w, others estimates.
func (b *Book) WriteOff(ctx context.Context, m Meta, c WriteOff) (*Entry, error) {
	if c.Weighing != nil {
		return b.write(ctx, m, KindWriteOff, c, func(d *draft) error {
			to, from, err := d.lossOf(c)
			if err != nil {
				return err
			}
			metal, basis, err := d.weigh("weighing", *c.Weighing, to, false)
			if err != nil {
				return err
			}
			d.move(from, to, metal, basis)
			return nil
		})
	}
	return b.fromHeat(ctx, m, KindWriteOff, c, c.Heat, c.Amount, func(d *draft, _ *Heat) (Account, error) {
		to, _, err := d.lossOf(c)
		return to, err
	})
}

func (d *draft) lossOf(c WriteOff) (to, from Account, err error) {
	switch c.Cause {
	case Kerf, Vapour, Oxide, Spill:
	default:
		return "", "", invalid("BAD_CAUSE", "cause", string(c.Cause), "must be kerf, vapour, oxide or spill")
	}
	h, err := d.heatIn(c.Heat, Melting, Late, Settled)
	if err != nil {
		return "", "", err
	}
	return Acct(c.Cause, h.ID), d.metalOf(h), nil
}

// metalOf is where a heat's metal not yet booked elsewhere is.
func (d *draft) metalOf(h *Heat) Account {
	switch h.State {
	case Melting:
		return Acct(InHeat, h.ID)
	case Settled:
		d.flag(FlagLate, fmt.Sprintf("heat %s was settled on %s", h.ID, h.Settled.Format("2006-01-02")))
		return Acct(Unaccounted, h.ID)
	}
	return Acct(InMolds, h.ID)
}

// fromHeat moves an estimated amount of a heat's metal to an account.
func (b *Book) fromHeat(ctx context.Context, m Meta, kind Kind, cmd any, heat string, amount Quantity, to func(*draft, *Heat) (Account, error)) (*Entry, error) {
	return b.write(ctx, m, kind, cmd, func(d *draft) error {
		h, err := d.heatIn(heat, Melting, Late, Settled)
		if err != nil {
			return err
		}
		q, err := d.quantity("amount", amount)
		if err != nil {
			return err
		}
		if q.Mass == 0 {
			return invalid("ZERO", "amount", q.text(), "must be more than nothing")
		}
		a, err := to(d, h)
		if err != nil {
			return err
		}
		d.e.Weighings = append(d.e.Weighings, Weighing{Subject: a, Net: q})
		d.move(d.metalOf(h), a, q.Mass, Estimated)
		return nil
	})
}

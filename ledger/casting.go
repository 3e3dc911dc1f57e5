package ledger

import (
	"context"
	"fmt"
)

// Kinds of entry about castings.
const (
	KindWeighCasting Kind = "weigh-casting"
	KindBreakUp      Kind = "break-up"
	KindShipCasting  Kind = "ship-casting"
)

// welding is the addition account that a casting's gain in weight comes from.
const welding = "welding"

var stageOrder = map[Stage]int{AsCast: 1, CutOff: 2, Finished: 3}

// GoneByMistake is how a casting is gone that never was: what recorded it was reversed.
const GoneByMistake = "entered by mistake"

// WeighCasting is a casting on the scale, for the first time or a later stage.
type WeighCasting struct {
	ID         string `json:",omitempty"` // an existing casting, or a chosen id for a new one
	Heat       string `json:",omitempty"` // of a new one
	Mold       string `json:",omitempty"`
	Name       string `json:",omitempty"`
	Customer   string `json:",omitempty"`
	Commission string `json:",omitempty"`
	Stage      Stage  // as-cast, cut-off, finished
	Weighing   WeighingIn
}

// WeighCasting records a casting's weight at a stage. From as cast to cut off
// the difference is gating not weighed yet and goes back to in molds; to
// finished it is kerf and grinding, or a gain by welding.
func (b *Book) WeighCasting(ctx context.Context, m Meta, c WeighCasting) (*Entry, error) {
	return b.write(ctx, m, KindWeighCasting, c, func(d *draft) error {
		if stageOrder[c.Stage] == 0 {
			return invalid("BAD_STAGE", "stage", string(c.Stage), "must be as-cast, cut-off or finished")
		}
		var k Casting
		found := false
		if c.ID != "" {
			var err error
			if found, err = d.get(RecCasting, c.ID, &k); err != nil {
				return err
			}
		}
		if !found {
			if err := d.newCasting(&k, c); err != nil {
				return err
			}
		}
		if k.Gone != "" {
			return badState("CASTING_GONE", "casting", k.ID, "is "+k.Gone+" already")
		}
		if stageOrder[c.Stage] < stageOrder[k.Stage] {
			return badState("EARLIER_STAGE", "stage", string(c.Stage), fmt.Sprintf("casting %s was weighed %s already", k.ID, k.Stage))
		}
		a := Acct(OfCasting, k.ID)
		metal, basis, err := d.weigh("weighing", c.Weighing, a, false)
		if err != nil {
			return err
		}
		have, err := d.balance(a)
		if err != nil {
			return err
		}
		if found {
			d.askHeavier(&k, c.Stage, metal, have)
		}
		other, err := d.castingOther(&k, c.Stage, metal-have, found)
		if err != nil {
			return err
		}
		d.move(other, a, metal-have, basis)
		d.warnMoreThanPoured(other)
		if k.Weights == nil {
			k.Weights = map[Stage]Mass{}
		}
		k.Stage, k.Weights[c.Stage] = c.Stage, metal
		return d.putCasting(&k)
	})
}

// Gated reports whether a casting by its weight still has on it the gating that was planned
// with its mold: it was weighed as cast only, and is nearer to both together than to the
// casting alone. Its gating is to come back.
func (k *Casting) Gated(m *Mold) bool {
	return k.Gone == "" && k.Stage == AsCast && m.Metal > 0 && m.Gating > 0 && k.Weights[AsCast] > m.Metal+m.Gating/2
}

// askHeavier flags a casting that weighs clearly more than when it was weighed last, which
// is a wrong digit more often than metal. Welded up, one gains a few per cent; what is cut
// or ground off one gains nothing. Common practice, no source.
func (d *draft) askHeavier(k *Casting, stage Stage, metal, have Mass) {
	share, why := Whole/50, "it should weigh less"
	if stage == Finished && k.Stage != AsCast {
		share, why = Whole/10, "weld metal adds a few per cent"
	}
	if more := metal - have; more > max(share.Of(have), 100*Gram) {
		d.flag(FlagHeavier, fmt.Sprintf("casting %s weighed %s and would weigh %s, %s more; %s", k.ID, d.words(have), d.words(metal), d.words(more), why))
	}
}

// castingOther is where a casting's change of weight comes from or goes to.
func (d *draft) castingOther(k *Casting, stage Stage, change Mass, found bool) (Account, error) {
	if found && stage == Finished && k.Stage != AsCast {
		if change > 0 {
			return Acct(Additive, welding), nil
		}
		return Acct(Kerf, k.Heat), nil
	}
	h, err := d.heat("heat", k.Heat)
	if err != nil {
		return "", err
	}
	return d.moldsOf("heat", h)
}

func (d *draft) newCasting(k *Casting, c WeighCasting) error {
	h, err := d.heat("heat", c.Heat)
	if err != nil {
		return err
	}
	*k = Casting{Heat: h.ID, Mold: c.Mold, Name: c.Name, Customer: c.Customer, Commission: c.Commission, Alloy: h.Alloy}
	if c.Mold != "" {
		mold, err := d.mold(h, c.Mold)
		if err != nil {
			return err
		}
		if k.Name == "" {
			k.Name = mold.Name
		}
		if k.Customer == "" {
			k.Customer = mold.Customer
		}
		if k.Commission == "" {
			k.Commission = mold.Commission
		}
		if mold.State == MoldPlanned || mold.State == MoldUnused { // it cannot be so any more
			mold.State = MoldPoured
			if err := d.put(RecMold, mold.ID, heatKey(h.ID), mold); err != nil {
				return err
			}
		}
	}
	if k.Customer != "" {
		if err := d.must(RecParty, "customer", k.Customer, &Party{}); err != nil {
			return err
		}
	}
	if err := checkText("display_name", k.Name, maxName); err != nil {
		return err
	}
	if err := checkText("commission", k.Commission, maxName); err != nil {
		return err
	}
	if c.Commission != "" {
		if err := d.askCommissionKnown(k.Commission, notInACost(k.Commission)); err != nil {
			return err
		}
	}
	k.ID, err = d.fresh(RecCasting, c.ID, func(n int64) string { return "C" + plainNumber(n) })
	return err
}

func (d *draft) putCasting(k *Casting) error { return d.put(RecCasting, k.ID, heatKey(k.Heat), k) }

func (d *draft) castingHere(id string) (*Casting, Mass, error) {
	var k Casting
	if err := d.must(RecCasting, "casting", id, &k); err != nil {
		return nil, 0, err
	}
	if k.Gone != "" {
		return nil, 0, badState("CASTING_GONE", "casting", id, "is "+k.Gone+" already")
	}
	have, err := d.balance(Acct(OfCasting, id))
	return &k, have, err
}

// castingSource is where gating sawn off a casting that was weighed as cast comes from:
// it is metal of the heat again that the heat gives back, so first the casting gives it
// to the molds of its heat; what it weighs more than the casting was there all along.
func (d *draft) castingSource(id string, metal Mass, basis Basis) ([]Source, error) {
	k, have, err := d.castingHere(id)
	if err != nil {
		return nil, err
	}
	if k.Stage != AsCast {
		return nil, badState("CUT_OFF_ALREADY", "casting", id, "was weighed "+string(k.Stage)+"; weigh its gating in by the heat")
	}
	h, err := d.heat("heat", k.Heat)
	if err != nil {
		return nil, err
	}
	home, err := d.moldsOf("heat", h)
	if err != nil {
		return nil, err
	}
	cut := ByDifference
	if basis == ByDifference { // what comes home and what goes on stay two postings
		cut = Estimated
	}
	d.move(Acct(OfCasting, id), home, min(metal, have), cut)
	return []Source{{home, metal}}, nil
}

// BreakUp is a casting broken up for remelting.
type BreakUp struct {
	Casting  string
	Place    string `json:",omitempty"`
	Weighing WeighingIn
}

// BreakUp makes a lot of a casting. What it weighs less than before was ground
// away; what it weighs more comes from its heat.
func (b *Book) BreakUp(ctx context.Context, m Meta, c BreakUp) (*Entry, error) {
	return b.write(ctx, m, KindBreakUp, c, func(d *draft) error {
		k, have, err := d.castingHere(c.Casting)
		if err != nil {
			return err
		}
		h, err := d.heat("heat", k.Heat)
		if err != nil {
			return err
		}
		l := &Lot{Alloy: k.Alloy, AlloySure: true, Form: ScrapCast, Condition: Clean, Owner: h.Owner, Place: c.Place, Pieces: c.Weighing.Pieces}
		if err := d.newLot(l); err != nil {
			return err
		}
		to, from := Acct(OfLot, l.ID), Acct(OfCasting, k.ID)
		metal, basis, err := d.weigh("weighing", c.Weighing, to, false)
		if err != nil {
			return err
		}
		d.move(from, to, min(metal, have), basis)
		l.From = []Source{{from, min(metal, have)}}
		if metal < have {
			d.move(from, Acct(Kerf, k.Heat), have-metal, ByDifference)
		} else if metal > have {
			d.askHeavier(k, k.Stage, metal, have)
			a, err := d.moldsOf("heat", h)
			if err != nil {
				return err
			}
			d.move(a, to, metal-have, basis)
			l.From = addSources(l.From, Source{a, metal - have})
		}
		k.Gone = "broken up"
		if err := d.putCasting(k); err != nil {
			return err
		}
		return d.putLot(l)
	})
}

// ShipCasting is a casting that leaves the shop.
type ShipCasting struct{ Casting, To string }

// ShipCasting records it.
func (b *Book) ShipCasting(ctx context.Context, m Meta, c ShipCasting) (*Entry, error) {
	return b.write(ctx, m, KindShipCasting, c, func(d *draft) error {
		k, have, err := d.castingHere(c.Casting)
		if err != nil {
			return err
		}
		if err := checkText("to", c.To, maxName); err != nil {
			return err
		}
		k.Gone = "shipped"
		d.move(Acct(OfCasting, k.ID), Acct(Left, "shipped"), have, ByDifference)
		return d.putCasting(k)
	})
}

package shop

import (
	"fmt"
	"math"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
)

// readMolds takes the molds that wait to be poured. Those of a commission come
// before the others of the same temperature, so that metal runs short in one that
// nobody waits for.
func (p *planner) readMolds(r ledger.Reader) error {
	recs, err := kept{r}.records(ledger.RecMold, ledger.OfHeat(p.h.ID))
	if err != nil {
		return err
	}
	for _, rec := range recs {
		var m ledger.Mold
		if err := rec.Into(&m); err != nil {
			return err
		}
		if m.State != ledger.MoldPlanned {
			continue
		}
		mass := m.Metal + m.Gating
		if mass <= 0 {
			return &ledger.Error{Class: ledger.ErrState, Reason: "MOLD_WITHOUT_WEIGHT", Field: "mold", Value: m.ID, Want: "has no planned weight; give its metal and gating first"}
		}
		rank := 1
		if m.Commission != "" || m.Customer != "" {
			rank = 0
		}
		p.molds[m.ID] = m
		p.out.MoldsMass += mass
		fill := moldToFill(m)
		fill.Rank = rank
		p.heat.Molds = append(p.heat.Molds, fill)
	}
	if len(p.heat.Molds) == 0 {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_MOLDS", Field: "heat", Value: p.h.ID, Want: "has no mold waiting to be poured"}
	}
	return nil
}

// A casting that weighs less than half or more than twice its plan is a wrong
// weighing or another casting, and says nothing of how molds fill: common
// practice, no source.
const leastFill, mostFill = 0.5, 2.0

// learnFilling learns how much more molds take than is planned, from all castings
// of settled heats that were weighed after cut-off, beside their molds' plans.
func (p *planner) learnFilling(r ledger.Reader) (err error) {
	var note string
	if p.heat.Filling, note, err = learnedFilling(r); err != nil {
		return err
	}
	p.out.Filling = p.heat.Filling
	p.out.Notes = append(p.out.Notes, note)
	return nil
}

// learnedFilling is what the shop's molds tell of how much molds take, and says so.
func learnedFilling(r ledger.Reader) (f charge.Filling, note string, err error) {
	past, err := pouredMolds(r)
	if err != nil {
		return f, "", err
	}
	f = charge.StartingFilling().Learn(past)
	return f, fmt.Sprintf("molds here take %+.1f %% beside their plans, ± %.1f %% from mold to mold (from %s and a starting belief)", 100*f.Bias, 100*f.Spread, counted(len(past), "mold")), nil
}

// moldToFill is a planned mold as a charge is planned for it.
func moldToFill(m ledger.Mold) charge.Mold {
	return charge.Mold{ID: m.ID, Metal: charge.Estimate{Mean: float64(m.Metal + m.Gating)}}
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func pouredMolds(r ledger.Reader) ([]charge.Poured, error) {
	state := kept{r}
	heats, err := state.records(ledger.RecHeat, "")
	if err != nil {
		return nil, err
	}
	settled := map[string]bool{}
	for _, rec := range heats {
		var h ledger.Heat
		if err := rec.Into(&h); err != nil {
			return nil, err
		}
		settled[h.ID] = h.State == ledger.Settled
	}
	castings, err := state.records(ledger.RecCasting, "")
	if err != nil {
		return nil, err
	}
	weighed := map[string]ledger.Mass{} // by mold, which may have given several
	for _, rec := range castings {
		var c ledger.Casting
		if err := rec.Into(&c); err != nil {
			return nil, err
		}
		if w, ok := c.Weights[ledger.CutOff]; ok && c.Mold != "" && settled[c.Heat] && c.Gone != ledger.GoneByMistake {
			weighed[c.Mold] += w
		}
	}
	molds, err := state.records(ledger.RecMold, "")
	if err != nil {
		return nil, err
	}
	var past []charge.Poured
	for _, rec := range molds {
		w, ok := weighed[rec.ID]
		if !ok {
			continue
		}
		var m ledger.Mold
		if err := rec.Into(&m); err != nil {
			return nil, err
		}
		if ratio := float64(w) / float64(m.Metal); m.State == ledger.MoldPoured && m.Metal > 0 && ratio >= leastFill && ratio <= mostFill {
			past = append(past, charge.Poured{Planned: float64(m.Metal), Poured: float64(w)})
		}
	}
	return past, nil
}

// readCrucible takes what the heat's crucible may hold and what is in it: the heel
// that the last heat left, and what of this heat was charged already. Both count
// as molten metal that is there.
func (p *planner) readCrucible(r ledger.Reader, c *carrier) error {
	p.heat.Crucible.Mass = int64(orZero(p.as.empty))
	ready, err := r.Balance(ledger.Acct(ledger.InHeat, p.h.ID))
	if err != nil {
		return err
	}
	p.out.Ready = max(ready, 0)
	if p.crucible.ID == "" {
		p.note("no crucible is named: its fill is not reckoned")
	} else if err := p.readPot(r, p.crucible); err != nil {
		return err
	}
	if err := p.inside(r, c); err != nil {
		return err
	}
	if capacity := p.crucible.Capacity; capacity > 0 {
		in := p.out.Heel + p.out.Ready
		p.heat.MaxCharge = int64(capacity - in)
		if p.heat.MaxCharge <= 0 {
			return &ledger.Error{Class: ledger.ErrState, Reason: "NO_SUCH_CHARGE", Field: "heat", Value: p.h.ID,
				Want: fmt.Sprintf("crucible %s may hold %s and has %s in it already", p.h.Crucible, p.words(float64(capacity)), p.words(float64(in)))}
		}
	}
	return nil
}

func (p *planner) readPot(r ledger.Reader, pot ledger.Pot) error {
	density, how := meltDensity(p.a)
	switch {
	case pot.VolumeMm3 > 0 && density > 0:
		fill := p.as.fill
		if fill == 0 {
			fill = ledger.Whole
		}
		p.heat.Crucible = charge.Crucible{Volume: float64(pot.VolumeMm3) / 1000, Fill: part(fill), Density: density, Mass: int64(orZero(p.as.empty))}
		p.note("crucible %s is filled to %.3g %% of its usable volume at most; its melt weighs %.2f g/ml (%s)", pot.ID, 100*part(fill), density, how)
	case pot.VolumeMm3 > 0:
		p.note("the density of the melt is not known: the fill of crucible %s is not reckoned", pot.ID)
	case pot.Capacity == 0:
		p.note("crucible %s has neither a volume nor a greatest mass in the book: its fill is not reckoned", pot.ID)
	}
	heel, err := r.Balance(ledger.Acct(ledger.Heel, pot.ID))
	if err != nil {
		return err
	}
	p.out.Heel = max(heel, 0)
	return nil
}

// superheatForDensity is how far over the liquidus a melt's density is taken, in K.
const superheatForDensity = 80

func meltDensity(a alloy.Alloy) (gPerMl float64, how string) {
	if f, ok := a.Figure(alloy.LiquidDensity); ok {
		return f.Value, f.Source
	}
	liquidus, ok := a.Figure(alloy.Liquidus)
	if !ok {
		return 0, ""
	}
	f, err := alloy.MeltDensity(a.Typical(), liquidus.Value+superheatForDensity)
	if err != nil {
		return 0, ""
	}
	return f.Value, "the volumes of its pure liquid metals added up"
}

// inside mixes what is in the crucible already. What was charged and not yet
// skimmed still loses what this shop usually loses; a heel has lost it.
func (p *planner) inside(r ledger.Reader, c *carrier) error {
	ready := float64(p.out.Ready)
	if ready > 0 {
		burned, err := r.Balance(ledger.Acct(ledger.Oxide, p.h.ID))
		if err != nil {
			return err
		}
		if burned == 0 {
			ready *= 1 - p.heat.Loss.Quantile(0.5)
		}
		p.note("%s of this heat is in the crucible already; it counts as melted and not towards the share of returns", p.words(float64(p.out.Ready)))
	}
	if p.out.Heel > 0 {
		p.note("a heel of %s is in crucible %s and is charged with the rest", p.words(float64(p.out.Heel)), p.h.Crucible)
	}
	p.heat.Heel = int64(p.out.Heel) + int64(math.Round(ready))
	m := alloy.Melt{Origin: "crucible"}
	for _, in := range []struct {
		from ledger.Account
		kg   float64
	}{{ledger.Acct(ledger.Heel, p.h.Crucible), p.out.Heel.Kg()}, {ledger.Acct(ledger.InHeat, p.h.ID), ready / 1e6}} {
		if in.kg <= 0 {
			continue
		}
		comp, err := c.content(string(in.from))
		if err != nil {
			return scienceError("heat", err)
		}
		m.Inputs = append(m.Inputs, alloy.Input{Mass: in.kg, Of: comp})
	}
	if len(m.Inputs) == 0 {
		return nil
	}
	comp, _, err := m.Pour()
	if err != nil {
		return scienceError("heat", err)
	}
	p.heelComp, p.heat.HeelContent, p.heat.HeelOthers = comp, comp.Means(), unnamedPart(comp)
	return nil
}

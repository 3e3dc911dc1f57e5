package shop

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/loss"
)

// PlanQuery asks what should go into a planned heat.
type PlanQuery struct {
	Heat        string
	ChanceShort ledger.PPM  // greatest chance of running short; 5 % when 0
	PourOff     ledger.Mass // wanted left over, on the average
	LeastShare  *ledger.PPM // of returns in the charge
	MostShare   *ledger.PPM
	Aim         charge.Aim
	Lift        ledger.Mass // the most that may be lifted, crucible and metal; 0: no limit
	PotMass     ledger.Mass // the empty crucible, for Lift
	PigMold     ledger.Mass // what one pig mold holds
	NoLimits    bool        // leave the alloy's composition limits out
}

// ChargePlan is a proposed charge and what follows from it.
type ChargePlan struct {
	Plan      *charge.Plan
	Limits    *alloy.LimitSet // the set the composition was held to; nil when none
	Filling   charge.Filling  // what was learned of how much molds take
	Loss      loss.Breakdown  // forecast for such a charge
	Cautions  []alloy.Caution
	Notes     []string // assumptions made, as sentences
	Seq       int64
	Lots      map[string]ledger.LotView
	Alloy     string
	MoldsMass ledger.Mass // planned, casting and gating
}

// Handful is how finely loose metal is taken: a stated assumption of common
// practice, no source.
const Handful = ledger.Kilogram / 2

// returnsValue is what a kilogram of returns is taken to be worth beside a
// kilogram of ingot, until the shop keeps costs: common practice, no source.
const returnsValue = 0.6

// PlanCharge proposes a charge for a planned heat: whole ingots and pigs and
// handfuls of loose returns, of its alloy and owner, that fill its molds with the
// chance of running short that was set, within the crucible and the alloy's
// limits. A plan that cannot be is an error that says which demands conflict.
func (s *Shop) PlanCharge(ctx context.Context, q PlanQuery) (out ChargePlan, err error) {
	if q.ChanceShort == 0 {
		q.ChanceShort = 50_000
	}
	table, err := s.Table(ctx)
	if err != nil {
		return out, err
	}
	p := planner{shop: s, q: q, table: table, out: &out}
	if err := p.read(ctx); err != nil {
		return out, err
	}
	if err := p.forecast(ctx); err != nil {
		return out, err
	}
	out.Plan, err = charge.Make(ctx, p.heat, p.lots, charge.Limits{})
	if err != nil {
		return out, planError(q.Heat, err)
	}
	p.cautions()
	return out, nil
}

// planError says which demands conflict.
func planError(heat string, err error) error {
	var no *charge.Infeasible
	var field *charge.FieldError
	var undecided *charge.Undecided
	switch {
	case errors.As(err, &no):
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_SUCH_CHARGE", Field: "heat", Value: heat, Want: no.Error()}
	case errors.As(err, &field):
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PLAN", Field: field.Field, Value: field.Value, Want: field.Want}
	case errors.As(err, &undecided):
		return &ledger.Error{Class: ledger.ErrState, Reason: "PLAN_UNDECIDED", Field: "heat", Value: heat, Want: "no charge was found in time, nor a proof that there is none; relax a demand"}
	}
	return err
}

type planner struct {
	shop  *Shop
	q     PlanQuery
	table alloy.Table
	a     alloy.Alloy
	h     ledger.Heat
	heat  charge.Heat
	lots  []charge.Lot
	out   *ChargePlan
}

func (p *planner) note(format string, args ...any) {
	p.out.Notes = append(p.out.Notes, fmt.Sprintf(format, args...))
}

// read gathers the heat, its molds, its crucible, and the lots with their contents.
func (p *planner) read(ctx context.Context) error {
	s := p.shop
	return s.Store.View(ctx, s.Book.Shop, func(r ledger.Reader) error {
		p.heat, p.lots, p.out.Notes = charge.Heat{}, nil, nil
		head, err := r.Head()
		if err != nil {
			return err
		}
		p.out.Seq = head.Seq
		got, err := ledger.Get[ledger.Heat](ctx, s.Book, ledger.RecHeat, p.q.Heat)
		if err != nil {
			return err
		}
		p.h = got.Value
		if p.h.State != ledger.Planned && p.h.State != ledger.Melting {
			return &ledger.Error{Class: ledger.ErrState, Reason: "HEAT_STATE", Field: "heat", Value: p.h.ID, Want: fmt.Sprintf("is %s; a charge is planned for a heat that is planned or melting", p.h.State)}
		}
		p.out.Alloy = p.h.Alloy
		if p.a, err = p.table.Find(p.h.Alloy); err != nil {
			return scienceError("alloy", err)
		}
		p.heat.ID, p.heat.ChanceShort, p.heat.PourOff = p.h.ID, float64(p.q.ChanceShort)/float64(ledger.Whole), int64(p.q.PourOff)
		p.heat.Lift, p.heat.PigMold, p.heat.Aim = int64(p.q.Lift), int64(p.q.PigMold), p.q.Aim
		p.heat.Returns = charge.Share{Min: fraction(p.q.LeastShare), Max: fraction(p.q.MostShare)}
		for _, step := range []func(ledger.Reader) error{p.molds, p.filling, p.crucible, p.contents} {
			if err := step(r); err != nil {
				return err
			}
		}
		return nil
	})
}

func fraction(s *ledger.PPM) *float64 {
	if s == nil {
		return nil
	}
	f := float64(*s) / float64(ledger.Whole)
	return &f
}

func (p *planner) molds(r ledger.Reader) error {
	recs, err := kept{r}.records(ledger.RecMold, ledger.OfHeat(p.h.ID))
	if err != nil {
		return err
	}
	p.out.MoldsMass = 0
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
		p.out.MoldsMass += mass
		p.heat.Molds = append(p.heat.Molds, charge.Mold{ID: m.ID, Metal: charge.Estimate{Mean: float64(mass)}})
	}
	if len(p.heat.Molds) == 0 {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_MOLDS", Field: "heat", Value: p.h.ID, Want: "has no mold waiting to be poured"}
	}
	return nil
}

// filling learns how much more molds take than is planned, from every casting
// weighed after cut-off beside its mold's plan.
func (p *planner) filling(r ledger.Reader) error {
	castings, err := kept{r}.records(ledger.RecCasting, "")
	if err != nil {
		return err
	}
	var past []charge.Poured
	for _, rec := range castings {
		var c ledger.Casting
		if err := rec.Into(&c); err != nil {
			return err
		}
		w, ok := c.Weights[ledger.CutOff]
		if !ok || c.Mold == "" {
			continue
		}
		mrec, found, err := r.Record(ledger.RecMold, c.Mold)
		if err != nil || !found {
			return err
		}
		var m ledger.Mold
		if err := mrec.Into(&m); err != nil {
			return err
		}
		if m.State == ledger.MoldPoured && m.Metal > 0 {
			past = append(past, charge.Poured{Planned: float64(m.Metal), Poured: float64(w)})
		}
	}
	p.heat.Filling = charge.StartingFilling().Learn(past)
	p.out.Filling = p.heat.Filling
	p.note("molds here take %+.1f %% beside their plans, ± %.1f %% from mold to mold (from %d castings and a starting belief)", 100*p.heat.Filling.Bias, 100*p.heat.Filling.Spread, len(past))
	return nil
}

// fill is how full a crucible is planned: common practice, no source.
const fill = 0.9

func (p *planner) crucible(r ledger.Reader) error {
	if p.h.Crucible == "" {
		p.note("no crucible is named: its fill is not reckoned")
		return nil
	}
	rec, found, err := r.Record(ledger.RecPot, p.h.Crucible)
	if err != nil || !found {
		return err
	}
	var pot ledger.Pot
	if err := rec.Into(&pot); err != nil {
		return err
	}
	p.heat.MaxCharge = int64(pot.Capacity)
	p.heat.Crucible.Mass = int64(p.q.PotMass)
	if pot.VolumeMm3 > 0 {
		density, how := p.meltDensity()
		if density > 0 {
			p.heat.Crucible = charge.Crucible{Volume: float64(pot.VolumeMm3) / 1000, Fill: fill, Density: density, Mass: int64(p.q.PotMass)}
			p.note("the crucible is filled to %.0f %% at most; melt %.2f g/ml, %s", 100*fill, density, how)
		}
	}
	heel, err := r.Balance(ledger.Acct(ledger.Heel, pot.ID))
	if err != nil {
		return err
	}
	p.heat.Heel = int64(max(heel, 0))
	if heel > 0 {
		p.heat.HeelContent = p.a.Typical()
	}
	return nil
}

func (p *planner) meltDensity() (float64, string) {
	if f, ok := p.a.Figure(alloy.LiquidDensity); ok {
		return f.Value, f.Source
	}
	at := 1100.0
	if f, ok := p.a.Figure(alloy.Liquidus); ok {
		at = f.Value + 80
	}
	if f, err := alloy.MeltDensity(p.a.Typical(), at); err == nil {
		return f.Value, f.Source
	}
	return 0, ""
}

// contents reads the lots that could go in and what they hold.
func (p *planner) contents(r ledger.Reader) error {
	carried := newCarrier(p.table)
	reversed, err := reversedEntries(r)
	if err != nil {
		return err
	}
	if err := eachEntry(r, func(e *ledger.Entry) error { return carried.entry(e, reversed[e.Seq]) }); err != nil {
		return err
	}
	p.windows()
	held, err := kept{r}.holdings(ledger.OfLot, ledger.RecLot)
	if err != nil {
		return err
	}
	p.out.Lots = map[string]ledger.LotView{}
	var bought, paid float64
	for _, h := range held {
		v := ledger.LotView{Mass: h.Mass}
		if err := h.Record.Into(&v.Lot); err != nil {
			return err
		}
		if v.Alloy != p.h.Alloy || v.Owner != p.h.Owner || v.Form == ledger.Skimmings {
			continue
		}
		p.out.Lots[v.ID] = v
		if v.Price != nil && len(v.From) > 0 {
			for _, f := range v.From {
				bought += f.Mass.Kg()
			}
			paid += float64(v.Price.Minor)
		}
	}
	perKg := 0.0
	if bought > 0 {
		perKg = paid / bought
	} else {
		p.note("no price of this alloy is in the book: metal counts as free")
	}
	for _, h := range held {
		if v, ok := p.out.Lots[h.Account.Ref()]; ok {
			comp, err := carried.content(string(h.Account))
			if err != nil {
				return scienceError("lot "+v.ID, err)
			}
			p.lots = append(p.lots, p.lot(v, comp, perKg))
		}
	}
	if perKg > 0 {
		p.note("ingot counts at what it cost, returns at %.0f %% of the average", 100*returnsValue)
	}
	return nil
}

func (p *planner) lot(v ledger.LotView, comp alloy.Composition, perKg float64) charge.Lot {
	l := charge.Lot{ID: v.ID, Family: string(p.a.Family), Return: v.Form != ledger.Ingot && v.Form != ledger.BoughtScrap, Content: comp.Means()}
	switch {
	case v.Condition == ledger.SetApart:
		l.Held = "held: " + v.HeldWhy
	case v.Condition == ledger.ToClean:
		l.Held = "still to be cleaned"
	}
	value := perKg * v.Mass.Kg()
	if l.Return {
		value *= returnsValue
	} else if v.Price != nil {
		was := ledger.Mass(0)
		for _, f := range v.From {
			was += f.Mass
		}
		if was > 0 {
			value = float64(v.Price.Minor) * v.Mass.Kg() / was.Kg()
		}
	}
	l.Value = int64(math.Round(value))
	spoken := ledger.Mass(0)
	for _, c := range v.SpokenFor {
		if c.For != p.h.ID && c.For != "heat "+p.h.ID {
			spoken += c.Mass
		}
	}
	if (v.Form == ledger.Ingot || v.Form == ledger.Pig || v.Form == ledger.ScrapCast) && v.Pieces > 0 && v.Pieces <= 200 {
		even := make([]int64, v.Pieces)
		for i := range even {
			even[i] = 1
		}
		for i, m := range ledger.Apportion(int64(v.Mass), even) {
			piece := charge.Piece{ID: fmt.Sprintf("%s/%d", v.ID, i+1), Mass: m}
			if spoken > 0 {
				piece.Held = "spoken for"
				spoken -= ledger.Mass(m)
			}
			l.Pieces = append(l.Pieces, piece)
		}
		return l
	}
	l.Loose, l.LooseHeld, l.Handful = int64(v.Mass), int64(min(spoken, v.Mass)), int64(Handful)
	if l.Loose < l.Handful {
		l.Handful = 0
	}
	return l
}

// windows are the alloy's casting limits, single elements only, kept after what
// the fire takes and the tools give.
func (p *planner) windows() {
	p.heat.Kept, p.heat.Pickup = map[string]float64{}, map[string]float64{}
	for _, e := range alloy.StartingEffects(p.a.Family) {
		p.heat.Kept[e.Element] = 1 - e.Loss.Mean
		if e.Pickup.Mean > 0 {
			p.heat.Pickup[e.Element] = e.Pickup.Mean
		}
	}
	if p.q.NoLimits {
		p.note("the alloy's composition limits were left out")
		return
	}
	set, err := p.a.LimitSet(alloy.Casting, "")
	if err != nil {
		p.note("the alloy has no casting limits in the table: composition is not looked at")
		return
	}
	p.out.Limits = &set
	for _, l := range set.Limits {
		if l.Remainder || strings.Contains(l.Element, "+") || strings.HasPrefix(l.Element, "others") || !l.HasMin && !l.HasMax {
			continue
		}
		w := charge.Window{Name: l.Element, Elements: append([]string{l.Element}, l.Plus...)}
		if l.HasMin {
			w.Min = &l.Min
		}
		if l.HasMax {
			w.Max = &l.Max
		}
		p.heat.Windows = append(p.heat.Windows, w)
	}
	p.note("composition is held to %s, by what the lots are thought to hold on the average", set.ID())
}

// forecast asks what such a charge will lose: half ingot, half clean returns,
// unless the shares asked for say otherwise.
func (p *planner) forecast(ctx context.Context) error {
	returns := 0.5
	if p.heat.Returns.Max != nil {
		returns = math.Min(returns, *p.heat.Returns.Max)
	}
	if p.heat.Returns.Min != nil {
		returns = math.Max(returns, *p.heat.Returns.Min)
	}
	c := loss.Charge{Family: familyOf(p.table, p.h.Alloy), Crucible: p.h.Crucible, Furnace: p.h.Furnace, Kg: p.out.MoldsMass.Kg() * 1.1}
	c.Shares[loss.Ingot], c.Shares[loss.CleanGating] = 1-returns, returns
	b, err := p.shop.ForecastLoss(ctx, c)
	if err != nil {
		return err
	}
	p.out.Loss, p.heat.Loss = b, b.Whole
	lo, hi := b.Whole.Interval(0.9)
	p.note("such a charge loses %.1f %% here, between %.1f and %.1f %% nine times in ten", 100*b.Whole.Mean, 100*lo, 100*hi)
	return nil
}

func (p *planner) cautions() {
	f := alloy.Facts{Alloys: []alloy.Alloy{p.a}, Melt: true, Skimmings: true, Fill: p.out.Plan.Fill}
	content := map[string]float64{}
	for _, c := range p.out.Plan.Contents {
		if len(c.Window.Elements) == 1 {
			content[c.Window.Elements[0]] = c.Percent
		}
	}
	f.Content = content
	p.out.Cautions = alloy.Cautions(f)
}

package shop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/lineage"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/unit"
)

// A charge of most returns may be this much heavier than the cheapest one: more
// returns for their own sake only make a larger pour-off. An assumption.
const heavier = 1.02

// Searches for what is only preferred look this far.
const preferNodes = 5000

// solve plans with what is demanded; then, as far as a plan can still be had, with
// what is preferred: metal spoken for this heat, and contents that keep the doubt
// about them from their limits. The cheapest charge is found first, whatever the aim.
func (p *planner) solve(ctx context.Context) (*charge.Plan, error) {
	p.heat.Must = p.must
	soft := p.q.Spoken == SpokenPreferred && len(p.must) > 0
	lim := charge.Limits{}
	if soft {
		lim.Nodes = preferNodes
	}
	plan, err := charge.Make(ctx, p.heat, p.lots, lim)
	if err != nil && soft && isNo(err) {
		p.heat.Must = nil
		if plan, err = charge.Make(ctx, p.heat, p.lots, charge.Limits{}); err == nil {
			p.note("not all that is spoken for this heat can go in with the rest of what is asked")
		}
	}
	if err != nil {
		return nil, p.planError(err)
	}
	if plan, err = p.doubted(ctx, plan); err != nil || p.q.Aim == charge.LeastCost || plan.Returns == 1 {
		return plan, err
	}
	return p.mostReturns(ctx, plan)
}

// isNo reports whether an error says that there is no plan, or none was found.
func isNo(err error) bool {
	var no *charge.Infeasible
	var undecided *charge.Undecided
	return errors.As(err, &no) || errors.As(err, &undecided)
}

// mostReturns looks for more returns among charges that are hardly heavier than the
// cheapest one and as far from the limits.
func (p *planner) mostReturns(ctx context.Context, cheapest *charge.Plan) (*charge.Plan, error) {
	h := p.heat
	h.Aim = charge.MostReturns
	if most := int64(math.Ceil(float64(cheapest.Charge) * heavier)); h.MaxCharge == 0 || most < h.MaxCharge {
		h.MaxCharge = most
	}
	plan, err := charge.Make(ctx, h, p.lots, charge.Limits{})
	if err != nil && !isNo(err) {
		return nil, p.planError(err)
	}
	if err != nil {
		return cheapest, nil //nolint:nilerr // the search ended too soon: what there is stands
	}
	chance := func(plan *charge.Plan) (float64, error) {
		sd, err := p.doubts(plan)
		return worst(plan, sd), err
	}
	was, err := chance(cheapest)
	if err != nil {
		return nil, err
	}
	is, err := chance(plan)
	if err != nil {
		return nil, err
	}
	if is > math.Max(was, p.outside()) || plan.Returns <= cheapest.Returns {
		p.note("no charge with more returns than the cheapest keeps as far from the limits")
		return cheapest, nil
	}
	return plan, nil
}

// result says what follows from a plan.
func (p *planner) result(plan *charge.Plan) (ChargePlan, error) {
	out := &p.out
	plan.Takes = together(plan.Takes)
	out.Plan = plan
	sd, err := p.doubts(plan)
	if err != nil {
		return *out, err
	}
	out.Contents = plannedContents(plan, sd)
	p.noteDoubt()
	if out.Loss, err = p.forecast(p.shares(plan)); err != nil {
		return *out, err
	}
	low, high := out.Loss.Interval(0.9)
	p.note("such a charge loses %.1f %% here, between %.1f and %.1f %% nine times in ten", 100*out.Loss.Mean, 100*low, 100*high)
	out.Lots = map[string]ledger.LotView{}
	for _, t := range plan.Takes {
		out.Lots[t.Lot] = p.views[t.Lot]
	}
	out.Items = p.items(plan)
	out.Left = p.leftOut(plan.Left)
	for _, st := range plan.Pour.Steps {
		i := slices.IndexFunc(p.heat.Molds, func(m charge.Mold) bool { return m.ID == st.Mold })
		m := p.heat.Molds[i]
		if p.as.coolingPerMinute == 0 { // a mold waits until the melt is cool enough; when that is, is not known
			st.StartC, st.EndC, st.TooHot = 0, 0, 0
		}
		mold := p.molds[st.Mold]
		density := 0.0
		if d, ok := p.a.Figure(alloy.Density); ok {
			density = d.Value
		}
		out.Pour = append(out.Pour, PlannedPour{Mold: mold, FromC: m.MinC, ToC: m.MaxC, Thin: p.isThin(mold, density), PourStep: st})
	}
	return *out, nil
}

func (p *planner) noteDoubt() {
	if doubtful := p.doubtful(p.out.Contents); len(doubtful) > 0 {
		p.note("what the lots hold is not known well enough to keep all doubt from the limits: %s. Certificates or measurements of the lots would tell", strings.Join(doubtful, ", "))
	}
}

// shares sorts a plan into the forms of the loss model. Milligrams are added and
// divided once: the fractions of equal pieces may add up to more than the whole.
func (p *planner) shares(plan *charge.Plan) (out [loss.NumForms]float64) {
	if plan.Charge == 0 {
		out[loss.CleanGating] = 1
		return out
	}
	var of [loss.NumForms]int64
	for _, t := range plan.Takes {
		of[lossForm(p.views[t.Lot].Form)] += t.Mass
	}
	for form, mg := range of {
		out[form] = float64(mg) / float64(plan.Charge)
	}
	return out
}

// together makes one take of loose metal of one lot that goes in at one time: its
// last handful is smaller than the others, which is no matter beside the furnace.
func together(takes []charge.Take) (out []charge.Take) {
	for _, t := range takes {
		if i := slices.IndexFunc(out, func(o charge.Take) bool { return o.Loose && t.Loose && o.Lot == t.Lot && o.When == t.When }); i >= 0 {
			out[i].Mass += t.Mass
			out[i].Handfuls += t.Handfuls
			continue
		}
		out = append(out, t)
	}
	return out
}

// items are a plan as the book takes it: lots in the order in which they are first
// fed, each whole or with what is taken of it.
func (p *planner) items(plan *charge.Plan) (out []ledger.ChargeItem) {
	at := map[string]int{}
	for _, t := range plan.Takes {
		i, ok := at[t.Lot]
		if !ok {
			i = len(out)
			at[t.Lot] = i
			out = append(out, ledger.ChargeItem{Lot: t.Lot})
		}
		out[i].Mass.Mass += ledger.Mass(t.Mass)
		if !t.Loose {
			out[i].Pieces++
		}
	}
	for i := range out {
		if v := p.views[out[i].Lot]; out[i].Mass.Mass == v.Mass {
			out[i].Mass, out[i].Pieces = ledger.Quantity{}, 0 // the whole lot is known as well as the lot is
		} else if v.Pieces == 0 {
			out[i].Pieces = 0
		}
	}
	return out
}

// leftOut is what was not looked at, the most first.
func (p *planner) leftOut(all []charge.LeftOut) (out []PlanLeft) {
	lots := map[string]*charge.Lot{}
	for i := range p.lots {
		lots[p.lots[i].ID] = &p.lots[i]
	}
	for _, l := range all {
		lot := lots[l.Lot]
		v := PlanLeft{Lot: l.Lot, Why: l.Why, Mass: p.views[l.Lot].Mass}
		if lot.Held == "" && l.Piece == "" {
			v.Mass, v.Why = ledger.Mass(lot.LooseHeld), "spoken for: "+strings.Join(others(p.views[l.Lot], p.isOurs), ", ")
		}
		if l.Piece != "" {
			i := slices.IndexFunc(lot.Pieces, func(x charge.Piece) bool { return x.ID == l.Piece })
			v.Pieces, v.Mass = 1, ledger.Mass(lot.Pieces[i].Mass)
			if n := len(out) - 1; n >= 0 && out[n].Lot == v.Lot && out[n].Why == v.Why {
				out[n].Pieces++
				out[n].Mass += v.Mass
				continue
			}
		}
		out = append(out, v)
	}
	slices.SortStableFunc(out, func(a, b PlanLeft) int { return cmp.Compare(b.Mass, a.Mass) })
	return out
}

// cautions are those that follow from a plan, and from what its lots and the heel are known to hold.
func (p *planner) cautions(ctx context.Context, s *Shop) error {
	f := alloy.Facts{Alloys: []alloy.Alloy{p.a}, Melt: true, Skimmings: true, Content: map[string]float64{}}
	var parts []heldPart
	for _, t := range p.out.Plan.Takes {
		parts = append(parts, heldPart{name: "lot " + t.Lot, heldQuestion: heldQuestion{string(ledger.Acct(ledger.OfLot, t.Lot)), lineage.Latest}})
	}
	if p.out.Heel > 0 {
		parts = append(parts, heldPart{name: "the heel", heldQuestion: heldQuestion{string(ledger.Acct(ledger.Heel, p.h.Crucible)), lineage.Latest}})
	}
	var err error
	if f.Parts, _, err = s.parts(ctx, parts, p.table); err != nil {
		return err
	}
	pot := p.crucible
	pot.Fill = p.as.fill
	f.Fill = filled(&pot, p.a.ID, ledger.Mass(p.out.Plan.Charge+p.heat.Heel), p.table)
	for _, c := range p.out.Contents {
		if len(c.Elements) == 1 {
			f.Content[c.Elements[0]] = c.Percent
		}
	}
	for _, st := range p.out.Pour {
		f.PourC = math.Max(f.PourC, math.Max(st.StartC, st.FromC))
	}
	p.out.Cautions = alloy.Cautions(f)
	if c := p.supply.Caution; c != "" {
		p.out.Cautions = append(p.out.Cautions, alloy.Caution{Code: "supply", Because: p.supply.Name + " is added", Text: strings.TrimSuffix(c, ".") + ". " + alloy.ComesFirst})
	}
	return nil
}

// words writes milligrams in the shop's unit.
func (p *planner) words(mg float64) string {
	return unit.FormatMass(int64(math.Round(mg)), unit.MassUnit(p.settings.MassUnit), 0)
}

// planError says which demands conflict and by how much, in the shop's unit.
func (p *planner) planError(err error) error {
	var no *charge.Infeasible
	var field *charge.FieldError
	var undecided *charge.Undecided
	switch {
	case errors.As(err, &no):
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_SUCH_CHARGE", Field: "heat", Value: p.h.ID, Want: p.conflict(no)}
	case errors.As(err, &field):
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PLAN", Field: field.Field, Value: field.Value, Want: field.Want}
	case errors.As(err, &undecided):
		return &ledger.Error{Class: ledger.ErrState, Reason: "PLAN_UNDECIDED", Field: "heat", Value: p.h.ID, Want: "no charge was found in time, nor a proof that there is none; relax a demand"}
	}
	return err
}

// mostLeft is how many lots that were not looked at a refusal names.
const mostLeft = 5

func (p *planner) conflict(no *charge.Infeasible) string {
	var set, give, left []string
	for _, d := range no.Conflict {
		set = append(set, p.demand(d))
	}
	for _, g := range no.Least {
		give = append(give, p.what(g.Demand)+", by "+p.amount(g.By, g.Unit))
	}
	s := "no charge of the metal at hand gives this: "
	if len(set) > 1 {
		s = "no charge of the metal at hand gives these together: "
	}
	s += strings.Join(set, "; ")
	if len(give) > 0 {
		s += ". One could be had if this gave way: " + strings.Join(give, "; ")
	}
	all := p.leftOut(no.Left)
	for i, v := range all {
		if i == mostLeft {
			left = append(left, fmt.Sprintf("%d more", len(all)-i))
			break
		}
		left = append(left, fmt.Sprintf("%s, %s (%s)", v.Lot, p.words(float64(v.Mass)), v.Why))
	}
	if len(left) > 0 {
		s += ". Not looked at: " + strings.Join(left, "; ")
	}
	return s
}

// what is a demand without its figure.
func (p *planner) what(d charge.Demand) string { return strings.TrimSuffix(d.What, ",") }

func (p *planner) demand(d charge.Demand) string { return d.What + " " + p.amount(d.Limit, d.Unit) }

func (p *planner) amount(v float64, in string) string {
	if in == "kg" {
		return p.words(v * 1e6)
	}
	return fmt.Sprintf("%.3g %s", v, in)
}

package shop

import (
	"context"
	"fmt"
	"math"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/charge"
)

// rounds bounds how often a plan is looked for whose contents keep their doubt from
// the limits, and refinements how often a cheaper one once there is one.
const rounds, refinements = 7, 3

// trial looks for a plan whose contents keep their doubt from the limits. The
// margins follow the lots that a plan takes, since surer metal needs less. So they
// are raised to what the last plan lacks, until a plan keeps them or there is none,
// and are then halved between what was too little and that. This finds a plan in
// practice, and proves neither that there is none nor that it is the cheapest.
type trial struct {
	*planner
	kept         *charge.Plan // keeps its doubt from the limits; nil when none was found
	at           []float64    // the margins it was made with
	best         *charge.Plan // comes nearest to it
	chance       float64      // of best, of being outside the limit it is worst at
	little, much []float64    // margins that were not enough, and those that were or allow no plan
}

// doubted keeps contents from their limits by as much as their doubt asks for.
func (p *planner) doubted(ctx context.Context, first *charge.Plan) (*charge.Plan, error) {
	t := &trial{planner: p, best: first, chance: math.Inf(1)}
	ask, err := t.look(first)
	if err != nil || t.kept != nil {
		return t.kept, err
	}
	for tries := rounds; tries > 0; tries-- {
		p.keepAway(ask)
		plan, err := charge.Make(ctx, p.heat, p.lots, charge.Limits{Nodes: preferNodes})
		if err != nil && !isNo(err) {
			return nil, p.planError(err)
		}
		if err != nil {
			plan = nil
		}
		had := t.kept != nil
		if ask, err = t.look(plan); err != nil {
			return nil, err
		}
		if t.kept != nil && !had {
			tries = min(tries, refinements+1)
		}
	}
	p.keepAway(t.at)
	switch {
	case t.kept != nil:
		return t.kept, nil
	case p.q.ChanceOutside != nil:
		return nil, p.tooDoubtful(t.best)
	}
	return t.best, nil
}

// keepAway sets the margins that are kept from the limits; nil sets none.
func (p *planner) keepAway(margin []float64) {
	for i := range p.heat.Windows {
		p.heat.Windows[i].Margin = 0
		if margin != nil {
			p.heat.Windows[i].Margin = margin[i]
		}
	}
}

// look judges a plan made with the margins as they are, nil for none, and gives the
// margins to try next.
func (t *trial) look(plan *charge.Plan) (ask []float64, err error) {
	had := make([]float64, len(t.heat.Windows))
	for i, w := range t.heat.Windows {
		had[i] = w.Margin
	}
	if plan == nil {
		t.much = had
	} else {
		sd, err := t.doubts(plan)
		if err != nil {
			return nil, err
		}
		if w := worst(plan, sd); w < t.chance-0.01 {
			t.best, t.chance = plan, w
		}
		lacks, enough := t.margins(plan, sd)
		if enough {
			t.kept, t.at, t.much = plan, had, had
		} else {
			t.little = had
		}
		ask = make([]float64, len(had))
		for i := range lacks {
			ask[i] = math.Max(had[i], lacks[i])
		}
	}
	if t.much != nil && t.little != nil {
		ask = make([]float64, len(had))
		for i := range ask {
			ask[i] = (t.little[i] + t.much[i]) / 2
		}
	}
	return ask, nil
}

// tooDoubtful says which contents are not known well enough.
func (p *planner) tooDoubtful(best *charge.Plan) error {
	sd, err := p.doubts(best)
	if err != nil {
		return err
	}
	return &ledger.Error{Class: ledger.ErrState, Reason: "NO_SUCH_CHARGE", Field: "heat", Value: p.h.ID,
		Want: fmt.Sprintf("no charge was found whose contents are outside each limit with a chance of %.3g %% at most. The best found may be outside: %s. Certificates or measurements of the lots would tell, or accept a greater chance",
			100*p.outside(), strings.Join(p.doubtful(plannedContents(best, sd)), ", "))}
}

// doubtful lists the limits that may be passed with more than the chance accepted.
func (p *planner) doubtful(contents []PlannedContent) (out []string) {
	for _, c := range contents {
		if c.Below > p.outside()+0.001 {
			out = append(out, fmt.Sprintf("%s under %.4g %% with a chance of %.0f %%", c.Name, *c.Min, 100*c.Below))
		}
		if c.Above > p.outside()+0.001 {
			out = append(out, fmt.Sprintf("%s over %.4g %% with a chance of %.0f %%", c.Name, *c.Max, 100*c.Above))
		}
	}
	return out
}

package shop

import (
	"math"
	"slices"
	"strings"

	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
)

// windows are the limits the heat's castings are judged by, after what the fire
// takes and the tools and the deoxidiser give. Each side of a limit is a window of
// its own, so that doubt is kept only from the side it matters on.
func (p *planner) windows() {
	p.heat.Pickup = map[string]float64{}
	for _, e := range p.effects {
		if e.Pickup.Mean > 0 {
			p.heat.Pickup[e.Element] = e.Pickup.Mean
		}
	}
	if p.q.NoLimits {
		p.note("the alloy's composition limits were left out")
		return
	}
	set, ok := p.limits()
	if !ok {
		p.note("the alloy has no casting limits in the table: its composition is not looked at")
		return
	}
	p.out.Limits = &set
	var left []string
	for _, l := range set.Limits {
		if !isElement(l) {
			if !l.Remainder {
				left = append(left, l.Element)
			}
			continue
		}
		counted := append([]string{l.Element}, l.Plus...)
		if l.HasMin { // what may be counted helps the least limit and not the greatest
			name := strings.Join(append([]string{l.Element}, l.MayPlus...), "+")
			p.heat.Windows = append(p.heat.Windows, charge.Window{Name: name, Elements: slices.Concat(counted, l.MayPlus), Min: &l.Min})
		}
		if l.HasMax {
			p.heat.Windows = append(p.heat.Windows, charge.Window{Name: l.Element, Elements: counted, Max: &l.Max})
		}
	}
	p.note("composition is held to %s; a lot without a certificate, and what a certificate does not name, is taken to be anywhere within the alloy's limits and is no chance of being outside", set.ID())
	if len(left) > 0 {
		p.note("not looked at: %s", strings.Join(left, ", "))
	}
}

// limits are the shop's own, else the set that the heat keeps, else the current one.
func (p *planner) limits() (alloy.LimitSet, bool) {
	_, edition, _ := strings.Cut(p.h.Limits, "/casting/") // see alloy.LimitSet.ID
	for _, e := range []string{alloy.OwnEdition, edition, ""} {
		if set, err := p.a.LimitSet(alloy.Casting, e); err == nil {
			return set, true
		}
	}
	return alloy.LimitSet{}, false
}

// afterFire is what is left in metal once it is melted: the elements that burn are
// less, and all others more by what burned,
//
//	c_e · (1 − loss of the element) ÷ (1 − Σ c · loss of each element),
//
// as alloy.Melt has it. Spill and dross take all elements alike and change nothing.
func (p *planner) afterFire(content map[string]float64) map[string]float64 {
	lost, burned := map[string]float64{}, 0.0
	for _, e := range p.effects {
		lost[e.Element] = e.Loss.Mean
		burned += content[e.Element] / 100 * e.Loss.Mean
	}
	out := make(map[string]float64, len(content))
	for e, c := range content {
		out[e] = c * (1 - lost[e]) / (1 - burned)
	}
	return out
}

// outside is the chance of being outside a limit that is accepted.
func (p *planner) outside() float64 {
	if p.q.ChanceOutside != nil {
		return part(*p.q.ChanceOutside)
	}
	return part(usualOutside)
}

// doubt is how well a content is known: all of it, and the part of it that was
// measured, which is what can be outside a limit. Standard deviations, weight %.
type doubt struct{ all, measured float64 }

// doubts are those of the windows' contents in a plan, in the order of the windows.
// What lots share is wrong together.
func (p *planner) doubts(plan *charge.Plan) ([]doubt, error) {
	m := alloy.Melt{Origin: "heat " + p.h.ID, Effects: p.effects}
	if kg := float64(p.heat.Heel) / 1e6; kg > 0 {
		m.Inputs = append(m.Inputs, alloy.Input{Mass: kg, Of: p.heelComp})
	}
	for _, t := range plan.Takes {
		m.Inputs = append(m.Inputs, alloy.Input{Mass: float64(t.Mass) / 1e6, Of: p.comps[t.Lot]})
	}
	out := make([]doubt, len(plan.Contents))
	if len(m.Inputs) == 0 {
		return out, nil
	}
	comp, _, err := m.Pour()
	if err != nil {
		return nil, scienceError("composition", err)
	}
	known := withoutBelief(comp)
	for i, c := range plan.Contents {
		out[i] = doubt{comp.Sum(c.Window.Elements...).SD, known.Sum(c.Window.Elements...).SD}
	}
	return out, nil
}

// margins are what has to be kept from each limit so that the chance of being
// outside it is at most what is accepted; 0 where that needs none. enough is
// whether the plan keeps them all.
func (p *planner) margins(plan *charge.Plan, sd []doubt) (margin []float64, enough bool) {
	margin, enough = make([]float64, len(sd)), true
	z := math.Sqrt2 * math.Erfinv(1-2*p.outside())
	const shown = 1e-4 // weight %: less is rounding
	for i, c := range plan.Contents {
		need, w := z*sd[i].measured, c.Window
		if w.Min != nil && c.Percent-*w.Min < need-shown || w.Max != nil && *w.Max-c.Most < need-shown {
			margin[i], enough = need, false
		}
	}
	return margin, enough
}

// worst is the greatest chance of being outside one limit.
func worst(plan *charge.Plan, sd []doubt) (chance float64) {
	for _, c := range plannedContents(plan, sd) {
		chance = math.Max(chance, math.Max(c.Below, c.Above))
	}
	return chance
}

// plannedContents says how likely each content is to be outside. The two sides of
// one limit are put together again.
func plannedContents(plan *charge.Plan, sd []doubt) (out []PlannedContent) {
	for i, c := range plan.Contents {
		w := c.Window
		n := len(out) - 1
		if n < 0 || !slices.Equal(out[n].Elements, w.Elements) || w.Min != nil {
			out = append(out, PlannedContent{Name: w.Name, Elements: w.Elements, Percent: c.Percent, Most: c.Most, SD: sd[i].all})
			n++
		}
		v := &out[n]
		v.Binding = v.Binding || c.Binding || w.Margin > 0
		if w.Min != nil {
			v.Min, v.Below = w.Min, chanceBelow(c.Percent, sd[i].measured, *w.Min)
		}
		if w.Max != nil {
			v.Max, v.Above = w.Max, chanceBelow(-c.Most, sd[i].measured, -*w.Max)
		}
	}
	return out
}

// chanceBelow is the chance that a normal quantity is under a limit.
func chanceBelow(mean, sd, limit float64) float64 {
	if sd == 0 {
		if mean < limit {
			return 1
		}
		return 0
	}
	return 0.5 * math.Erfc((mean-limit)/(sd*math.Sqrt2))
}

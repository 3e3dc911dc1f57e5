package shop

import (
	"maps"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
)

// policies are how the shop reckoned cost as the book came to know it. A heat is
// reckoned under the policy of the day it was opened: its returns, skimmings, normal
// loss and wear. Settling it freezes that: a policy recorded later, dated back or not,
// changes only heats that are still open.
type policies struct {
	versions map[string][]policy // by id, which is the date; oldest first
	settled  map[string]int64    // heat → the entry that settled it
	opened   map[string]time.Time
}

// policy is a policy and the entry that recorded it.
type policy struct {
	ledger.Costing
	seq int64
}

func (p *policies) learn(e *ledger.Entry) error {
	for _, rec := range e.Records {
		switch rec.Kind {
		case ledger.RecCosting:
			v := policy{seq: e.Seq}
			if err := rec.Into(&v.Costing); err != nil {
				return err
			}
			p.versions[rec.ID] = append(p.versions[rec.ID], v)
		case ledger.RecHeat:
			var h ledger.Heat
			if err := rec.Into(&h); err != nil {
				return err
			}
			p.opened[h.ID] = h.Opened
			switch {
			case h.State != ledger.Settled:
				delete(p.settled, h.ID)
			case p.settled[h.ID] == 0:
				p.settled[h.ID] = e.Seq
			}
		}
	}
	return nil
}

// known are the policies as an entry found them, by date; as they are now for 0.
func (p *policies) known(before int64) (out []ledger.Costing) {
	for _, id := range slices.Sorted(maps.Keys(p.versions)) {
		for _, v := range slices.Backward(p.versions[id]) {
			if before == 0 || v.seq < before {
				if !v.Void {
					out = append(out, v.Costing)
				}
				break
			}
		}
	}
	return out
}

// of is the policy a heat is reckoned under; false when there was none.
func (p *policies) of(heat string) (c ledger.Costing, ok bool) {
	for i, one := range p.known(p.settled[heat]) {
		if i == 0 || !one.From.After(p.opened[heat]) { // before the first one's day the first holds
			c, ok = one, true
		}
	}
	return c, ok
}

// wear is what a heat wears off its crucible: as its policy says, else the crucible's
// price over the heats it is expected to last, as its record said when the heat was opened.
func (p *policies) wear(heat string, pot ledger.Pot) int64 {
	c, _ := p.of(heat)
	for _, w := range c.Wear {
		if w.Pot == pot.ID {
			return w.Minor
		}
	}
	if pot.Price == nil {
		return 0
	}
	return cost.Worn(pot.Price.InBook().Minor, pot.LifeHeats, pot.Heats)
}

func (p *policies) all(zone *time.Location) (out []cost.Policy) {
	for _, c := range p.known(0) {
		out = append(out, reckoned(c, zone))
	}
	return out
}

// learnedOf reports whether a policy takes as normal what an alloy's heats let expect.
func learnedOf(c ledger.Costing, alloy string) bool {
	return slices.ContainsFunc(c.Normal, func(n ledger.AlloyShare) bool { return n.Learned && n.Alloy == alloy })
}

// reckoned is a policy as the science takes it.
func reckoned(c ledger.Costing, zone *time.Location) cost.Policy {
	rates := func(prices []ledger.AlloyPrice) map[string]cost.Rate {
		out := map[string]cost.Rate{}
		for _, x := range prices {
			out[x.Alloy] = cost.Rate{Cost: x.PerTonne, Mass: int64(ledger.Tonne)}
		}
		return out
	}
	p := cost.Policy{From: c.From, Method: cost.Method(c.Method), Zone: zone, Recovered: rates(c.Recovered), Skimmings: rates(c.Skimmings), Normal: map[string]int64{}}
	for _, x := range c.Normal {
		p.Normal[x.Alloy] = int64(x.PPM)
	}
	return p
}

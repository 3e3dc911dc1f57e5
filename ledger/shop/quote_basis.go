package shop

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/unit"
)

// quotePast is what a shop's past tells a quote.
type quotePast struct {
	costs        Costs
	heats        map[string]ledger.Heat
	paid         map[string][]paid // alloy → what new metal cost, in the order of the deliveries
	offers       []ledger.Offer    // that hold today
	market       map[string]ledger.MarketPrice
	lots         []ledger.LotView
	policies     []ledger.Costing
	failed, cast int64
	currency     string
	massUnit     unit.MassUnit
}

// paid is what was paid for a delivery, in minor units for a tonne.
type paid struct {
	at       time.Time
	perTonne int64
}

func (s *Shop) pastOf(ctx context.Context) (p quotePast, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		p = quotePast{paid: map[string][]paid{}}
		if p.costs, err = costsIn(r, AsOf{}); err != nil {
			return err
		}
		if p.heats, err = heatsIn(kept{r}); err != nil {
			return err
		}
		own, err := shopIn(r)
		if err != nil {
			return err
		}
		p.currency = p.costs.Currency
		p.massUnit = unit.MassUnit(own.MassUnit).Trade()
		if err := p.readPaid(r); err != nil {
			return err
		}
		if p.offers, p.market, err = offersIn(r, own, s.clock()); err != nil {
			return err
		}
		if p.lots, err = lotsIn(kept{r}); err != nil {
			return err
		}
		if p.policies, err = recordsOf[ledger.Costing](kept{r}, ledger.RecCosting, ""); err != nil {
			return err
		}
		p.policies = slices.DeleteFunc(p.policies, func(c ledger.Costing) bool { return c.Void })
		return p.readFailures(r)
	})
	return p, err
}

// readPaid gathers the prices of new metal from the deliveries that were not taken back.
func (p *quotePast) readPaid(r ledger.Reader) error {
	reversed := map[int64]bool{}
	if err := eachEntry(r, func(e *ledger.Entry) error {
		reversed[e.Reverses] = true
		return nil
	}); err != nil {
		return err
	}
	return eachEntry(r, func(e *ledger.Entry) error {
		if e.Kind != ledger.KindReceive && e.Kind != ledger.KindReceiveOrder || reversed[e.Seq] {
			return nil
		}
		lots := map[string]ledger.Lot{}
		for _, rec := range e.Records {
			var l ledger.Lot
			if rec.Kind != ledger.RecLot {
				continue
			}
			if err := rec.Into(&l); err != nil {
				return err
			}
			lots[rec.ID] = l
		}
		for _, x := range e.Postings {
			l, ok := lots[x.Account.Ref()]
			if !ok || x.Account.Kind() != ledger.OfLot || x.Mass <= 0 || !isNew(l.Form) {
				continue
			}
			minor, priced := int64(0), false
			for _, c := range e.Costs { // of an order the freight is apart from the goods
				if c.Account == x.Account && c.Currency == p.currency {
					minor, priced = minor+c.Minor, true
				}
			}
			if priced {
				p.paid[l.Alloy] = append(p.paid[l.Alloy], paid{e.Happened, cost.Part(minor, int64(ledger.Tonne), int64(x.Mass))})
			}
		}
		return nil
	})
}

// readFailures counts the castings that were made, and those that had to be made again:
// broken up, or in a mold that ran short or leaked and gave none.
func (p *quotePast) readFailures(r ledger.Reader) error {
	castings, err := kept{r}.records(ledger.RecCasting, "")
	if err != nil {
		return err
	}
	gave := map[string]bool{}
	for _, rec := range castings {
		var k ledger.Casting
		if err := rec.Into(&k); err != nil {
			return err
		}
		if k.Gone == ledger.GoneByMistake {
			continue
		}
		gave[k.Mold] = true
		p.cast++
		if k.Gone == brokenUp {
			p.failed++
		}
	}
	molds, err := kept{r}.records(ledger.RecMold, "")
	for _, rec := range molds {
		var m ledger.Mold
		if err := rec.Into(&m); err != nil {
			return err
		}
		if (m.State == ledger.MoldShort || m.State == ledger.MoldLeaked) && !gave[m.ID] {
			p.cast++
			p.failed++
		}
	}
	return err
}

// brokenUp is how a casting is gone that was melted again.
const brokenUp = "broken up"

// tenths is a range from the values of single heats: a tenth are below the lowest, half
// below the likeliest, a tenth above the highest.
func tenths(values []float64) ledger.Range {
	slices.Sort(values)
	at := func(u float64) int64 { return int64(math.Round(values[int(math.Round(u*float64(len(values)-1)))])) }
	return ledger.Range{Low: at(0.1), Likely: at(0.5), High: at(0.9)}
}

// perHeat gathers a figure of each settled heat of the shop's own metal: of an alloy if
// there are three, else of all alloys if there are.
func (p *quotePast) perHeat(alloy string, of func(h cost.Heat) (float64, bool)) (values []float64, ofAlloy bool) {
	for _, any := range []bool{false, true} {
		values = nil
		for _, h := range p.costs.Heats() {
			rec := p.heats[h.ID]
			if rec.State != ledger.Settled || rec.Owner != "" || !any && rec.Alloy != alloy || h.Charged <= 0 {
				continue
			}
			if v, ok := of(h); ok {
				values = append(values, v)
			}
		}
		if len(values) >= 3 {
			return values, !any
		}
	}
	return nil, false
}

// Assumptions, for want of anything in the book that tells: of the gating beside a casting,
// of what a wax weighs, of a figure of volume. Common practice, no source.
var (
	usualGating  = [3]int64{400_000, 800_000, 1_500_000} // ppm of the casting
	usualPattern = int64(50_000)                         // ppm that a wax or a volume is off
)

// assumeCastings takes the weight of each pattern and of its gating.
func (b *quoter) assumeCastings() error {
	for _, p := range b.commission.Patterns {
		c := ledger.QuoteCasting{Name: p.Name, Alloy: p.Alloy, Copies: p.Copies, Metal: p.Metal, Gating: p.Gating, Own: b.commission.OwnMetal}
		if p.Metal.High == 0 {
			if err := b.fromPattern(p, &c); err != nil {
				return err
			}
		}
		if !p.Gating.Given() {
			ratios, own := b.past.perHeat(p.Alloy, func(h cost.Heat) (float64, bool) {
				cast := int64(0)
				for _, k := range h.Castings {
					cast += k.Mass
				}
				return math.Max(0, float64(h.Charged-h.Lost-cast)) / float64(max(cast, 1)) * 1e6, cast > 0
			})
			g := ledger.Range{Low: usualGating[0], Likely: usualGating[1], High: usualGating[2]}
			from := "an assumption"
			if ratios != nil {
				g, from = tenths(ratios), heatsWord(len(ratios), own, p.Alloy)
			}
			of := func(ppm int64) int64 { return int64(ledger.PPM(min(ppm, 5_000_000)).Of(ledger.Mass(c.Metal.Likely))) }
			c.Gating = ledger.Range{Low: of(g.Low), Likely: of(g.Likely), High: of(g.High)}
			b.say("%s: what is poured beside it and comes back is %.0f to %.0f %% of its weight, %s", p.Name, float64(g.Low)/1e4, float64(g.High)/1e4, from)
		}
		b.q.Basis.Castings = append(b.q.Basis.Castings, c)
	}
	return nil
}

func heatsWord(n int, ofAlloy bool, alloy string) string {
	if ofAlloy {
		return fmt.Sprintf("from %s of %s", count(n, "settled heat"), alloy)
	}
	return fmt.Sprintf("from %s of all alloys", count(n, "settled heat"))
}

// fromPattern takes the weight of a casting from its wax or its volume.
func (b *quoter) fromPattern(p ledger.Pattern, c *ledger.QuoteCasting) error {
	figures := [3]int64{p.Wax.Low, p.Wax.Likely, p.Wax.High}
	if p.VolumeMm3 > 0 {
		figures = [3]int64{p.VolumeMm3, p.VolumeMm3, p.VolumeMm3}
	}
	how := ""
	for i, f := range figures {
		pat := Pattern{Wax: ledger.Mass(f)}
		if p.VolumeMm3 > 0 {
			pat = Pattern{VolumeMm3: f}
		}
		e, err := b.EstimateMetal(b.ctx, p.Alloy, pat)
		if err != nil {
			return err
		}
		figures[i], how = int64(e.Metal), e.How
	}
	if figures[0] == figures[2] { // one figure: a pattern is never quite what comes of it
		off := int64(ledger.PPM(usualPattern).Of(ledger.Mass(figures[1])))
		figures[0], figures[2] = figures[1]-off, figures[1]+off
		how += fmt.Sprintf(", ± %g %% assumed", float64(usualPattern)/1e4)
	}
	c.Metal = ledger.Range{Low: figures[0], Likely: figures[1], High: figures[2]}
	b.say("%s: its weight is %s", p.Name, how)
	return nil
}

// assumeMetals takes price, recovered value and loss of each alloy.
func (b *quoter) assumeMetals() error {
	for _, c := range b.q.Basis.Castings {
		if slices.ContainsFunc(b.q.Basis.Metals, func(m ledger.QuoteMetal) bool { return m.Alloy == c.Alloy }) {
			continue
		}
		m := ledger.QuoteMetal{Alloy: c.Alloy, AtCost: true}
		if err := b.loss(&m); err != nil {
			return err
		}
		if c.Own {
			b.say("the metal is the customer's own and is not charged")
		} else if err := b.price(&m); err != nil {
			return err
		}
		b.q.Basis.Metals = append(b.q.Basis.Metals, m)
	}
	return nil
}

// loss takes the interval of the loss that the shop's heats have taught.
func (b *quoter) loss(m *ledger.QuoteMetal) error {
	f, err := b.ForecastCharge(b.ctx, m.Alloy, loss.Charge{})
	if err != nil {
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != "NOT_DETERMINED" {
			return err
		}
		m.Loss = ledger.Range{Low: 10_000, Likely: 20_000, High: 50_000}
		b.say("%s: a loss of 1 to 5 %% of the charge, an assumption", m.Alloy)
		return nil
	}
	at := func(u float64) int64 { return min(max(int64(math.Round(f.Whole.Quantile(u)*1e6)), 0), 500_000) }
	m.Loss = ledger.Range{Low: at(0.1), Likely: at(0.5), High: at(0.9)}
	from := "learned from " + count(f.Heats, "heat")
	if f.Heats == 0 {
		from = "a starting belief, since no heat is settled yet"
	}
	b.say("%s: a loss of %.1f to %.1f %% of the charge, %s", m.Alloy, float64(m.Loss.Low)/1e4, float64(m.Loss.High)/1e4, from)
	return nil
}

// assumeMelt takes fuel and consumables of the melt from the rates, else from the heats.
func (b *quoter) assumeMelt() {
	x := &b.q.Basis
	for _, p := range []struct {
		what string
		set  ledger.Range
		to   *ledger.Range
		fuel bool
	}{{"fuel", b.rates.Fuel, &x.Fuel, true}, {"flux, additions and wear of the crucible", b.rates.PerMass, &x.PerMass, false}} {
		if *p.to = p.set; p.set.Given() {
			continue
		}
		values, _ := b.past.perHeat("", func(h cost.Heat) (float64, bool) {
			sum := 0.0
			for _, l := range h.Conversion {
				if (l.Name == string(ledger.KindFuel)) == p.fuel {
					sum += float64(l.Cost)
				}
			}
			return sum / float64(h.Charged) * float64(ledger.Tonne), sum > 0
		})
		if values == nil {
			b.say("%s: nothing is known of what it costs, so nothing is in it", p.what)
			continue
		}
		*p.to = tenths(values)
		b.say("%s: %s to %s charged, from %s", p.what, b.perUnit(p.to.Low), b.perUnit(p.to.High), count(len(values), "settled heat"))
	}
}

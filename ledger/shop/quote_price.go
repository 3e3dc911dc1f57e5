package shop

import (
	"fmt"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
	"example.org/remelt/ledger/reorder"
	"example.org/remelt/ledger/unit"
)

// priced is what metal costs for a quote, in minor units for a tonne, and by whose word.
type priced struct {
	ledger.Range
	from string // "offer 2 of calder since 2 Nov 2026"
	day  string // from which it is
}

// price takes what an alloy's metal costs: as it was said; else, while stock is enough, as
// it was bought; else what is missing by the offer that costs least for so much, with its
// freight; else by the market's price if it is newer than the last delivery.
func (b *quoter) price(m *ledger.QuoteMetal) error {
	if i := slices.IndexFunc(b.asked.Prices, func(p ledger.NamedRange) bool { return p.Name == m.Alloy }); i >= 0 {
		m.Price, m.Source = b.asked.Prices[i].Range, "said for this quote"
		b.recovered(m)
		return nil
	}
	need := b.charge(m)
	have := b.here(m.Alloy, need)
	was, kept := b.bought(m.Alloy)
	missing := need - have
	offer, offered, err := b.byOffer(m.Alloy, missing)
	if err != nil {
		return err
	}
	market, marketed := b.byMarket(m.Alloy)
	takes := fmt.Sprintf("%s takes %s", m.Alloy, b.mass(need))
	if have > 0 && missing > 0 {
		takes += fmt.Sprintf(" and %s of stock may be used", b.mass(have))
	}
	switch {
	case kept && missing <= 0:
		m.Price, m.Source = was.Range, was.from
		b.say("%s, which is here: %s", takes, b.priceWords(was))
	case offered && kept && have > 0:
		of := func(stock, order int64) int64 {
			return cost.Part(stock, int64(have), int64(need)) + cost.Part(order, int64(missing), int64(need))
		}
		m.Price = ledger.Range{Low: of(was.Low, offer.Low), Likely: of(was.Likely, offer.Likely), High: of(was.High, offer.High)}
		m.Source = fmt.Sprintf("%s for %s, the rest %s", offer.from, b.mass(missing), was.from)
		b.say("%s: %s; the rest is to be bought: %s", takes, b.priceWords(was), b.priceWords(offer))
	case offered:
		m.Price, m.Source = offer.Range, offer.from
		b.say("%s: %s", takes, b.priceWords(offer))
	case marketed && (!kept || market.day > was.day):
		m.Price, m.Source = market.Range, market.from
		b.say("%s, and no offer of it holds: %s", takes, b.priceWords(market))
	case kept:
		m.Price, m.Source = was.Range, was.from
		b.say("%s, and no offer of it holds: %s", takes, b.priceWords(was))
	default:
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_PRICE", Field: "prices", Value: m.Alloy,
			Want: "no price was ever paid for this alloy and none of it is in stock, no offer of it holds and no market price is known; say its price, such as 9.20 " + b.past.currency + "/kg"}
	}
	b.recovered(m)
	return nil
}

// recovered takes what comes back at the value that the policy gives it, if it gives one.
func (b *quoter) recovered(m *ledger.QuoteMetal) {
	policy := ledger.Costing{}
	for _, p := range b.past.policies {
		if !p.From.After(b.clock()) {
			policy = p
		}
	}
	for _, r := range policy.Recovered {
		if r.Alloy == m.Alloy {
			m.AtCost, m.Recovered = false, ledger.Range{Low: min(r.PerTonne, m.Price.Low), Likely: min(r.PerTonne, m.Price.Likely), High: min(r.PerTonne, m.Price.High)}
		}
	}
}

// charge is what the castings of an alloy take, with the likeliest loss.
func (b *quoter) charge(m *ledger.QuoteMetal) (sum ledger.Mass) {
	for _, c := range b.q.Basis.Castings {
		if c.Alloy == m.Alloy && !c.Own {
			sum += ledger.Mass(c.Copies * (c.Metal.Likely + c.Gating.Likely))
		}
	}
	return ledger.Mass(cost.Part(int64(sum), int64(ledger.Whole), int64(ledger.Whole)-m.Loss.Likely))
}

// here is how much of what is needed may come from stock that nobody else speaks for:
// of returns no more than the usual share of a charge.
func (b *quoter) here(alloy string, need ledger.Mass) ledger.Mass {
	var fresh, returns ledger.Mass
	for _, l := range b.past.lots {
		if l.Alloy != alloy || l.Owner != "" || !l.Usable() {
			continue
		}
		free := l.Free()
		for _, c := range l.SpokenFor {
			if c.For == b.asked.Commission {
				free += c.Mass
			}
		}
		if isNew(l.Form) {
			fresh += free
		} else {
			returns += free
		}
	}
	return max(0, min(need, fresh+min(returns, usualMost.Of(need))))
}

// bought is what new metal was last bought for, between the prices of a year; else what
// stock of it costs.
func (b *quoter) bought(alloy string) (p priced, ok bool) {
	if paid := b.past.paid[alloy]; len(paid) > 0 {
		last := paid[len(paid)-1]
		p.Range = ledger.Range{Low: last.perTonne, Likely: last.perTonne, High: last.perTonne}
		for _, x := range paid {
			if x.at.After(b.clock().AddDate(-1, 0, 0)) {
				p.Low, p.High = min(p.Low, x.perTonne), max(p.High, x.perTonne)
			}
		}
		p.day = last.at.Format(time.DateOnly)
		p.from = "as paid last on " + dayWords(p.day)
		return p, true
	}
	for _, x := range b.past.costs.Stock() {
		if x.Pool == alloy && x.Mass > 0 && x.Cost > 0 {
			v := cost.Part(x.Cost, int64(ledger.Tonne), x.Mass)
			return priced{Range: ledger.Range{Low: v, Likely: v, High: v}, from: "at what stock of it cost"}, true
		}
	}
	return p, false
}

// byOffer is what an amount costs by the offer that is cheapest for it, in whole packs and
// with freight; the dearest of the others is how much it may cost.
func (b *quoter) byOffer(alloy string, amount ledger.Mass) (p priced, ok bool, err error) {
	_, kg := byWeight(b.past.massUnit)
	for i := range b.past.offers {
		x := &b.past.offers[i]
		if x.Buys || x.Alloy != alloy || !isNew(x.Form) || amount <= 0 {
			continue
		}
		best, _, err := reorder.Cheapest(termsOf(x, kg), reorder.Wish{Need: int64(amount)})
		if err != nil {
			return p, false, orderError(err)
		}
		v := cost.Part(best.Goods+best.Freight, int64(ledger.Tonne), best.Amount)
		if !ok || v < p.Likely {
			p.Low, p.Likely, p.day = v, v, x.From
			p.from = fmt.Sprintf("by offer %s of %s since %s", x.ID, x.Party, dayWords(x.From))
		}
		p.High, ok = max(p.High, v), true
	}
	return p, ok, nil
}

func (b *quoter) byMarket(alloy string) (p priced, ok bool) {
	m, found := b.past.market[alloy]
	minor, per, rated := m.Rate(b.past.currency)
	if !found || !rated || minor <= 0 {
		return p, false
	}
	v := cost.Part(minor, int64(ledger.Tonne), per)
	return priced{Range: ledger.Range{Low: v, Likely: v, High: v}, from: "at the market's price of " + dayWords(m.Day), day: m.Day}, true
}

// priceWords are "10.00 USD/kg as paid last on 2 Mar 2026, between 9.00 and …".
func (b *quoter) priceWords(p priced) string {
	s := b.perUnit(p.Likely) + " " + p.from
	if p.Low != p.High {
		s += fmt.Sprintf(" (%s to %s)", b.perUnit(p.Low), b.perUnit(p.High))
	}
	return s
}

// perUnit writes a price by mass in the shop's unit.
func (b *quoter) perUnit(perTonne int64) string {
	u := b.past.massUnit
	one, err := unit.ParseMass("1", u)
	if err != nil {
		u, one = unit.KG, int64(ledger.Kilogram)
	}
	return unit.FormatMoney(cost.Part(perTonne, one, int64(ledger.Tonne)), b.past.currency) + "/" + string(u)
}

func (b *quoter) mass(m ledger.Mass) string { return about(int64(m), b.past.massUnit) }

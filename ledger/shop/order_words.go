package shop

import (
	"fmt"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/reorder"
	"example.org/remelt/ledger/unit"
)

// about is a mass as people say it who order: in whole pounds, or kilograms with one decimal.
func (o *orderer) about(mg int64) string { return about(mg, unit.MassUnit(o.shop.MassUnit)) }

func about(mg int64, in unit.MassUnit) string {
	if strings.HasPrefix(string(in), "lb") {
		return fmt.Sprintf("%.0f lb", unit.MassInUnit(mg, unit.LB))
	}
	return fmt.Sprintf("%.1f kg", unit.MassInUnit(mg, unit.KG))
}

func (o *orderer) money(minor int64) string { return unit.FormatMoney(minor, o.shop.Currency) }

func (o *orderer) dayMonth(day int) string { return o.date(day).Format("2 Jan") }

// heatDay is when a heat is planned for.
func (o *orderer) heatDay(l reorder.NetLine) string {
	switch h := o.past.heats[l.Heat]; {
	case h == nil || h.Planned.IsZero():
		return "no date"
	case l.Day < 0:
		return "overdue since " + o.dayMonth(l.Day)
	}
	return o.dayMonth(l.Day)
}

func (o *orderer) packs(n int64, f offered) string {
	if f.word == "kg" || f.word == "lb" {
		return fmt.Sprintf("%d %s", n, f.word)
	}
	s := count(int(n), f.word)
	if f.bundle > 0 {
		s += " of " + count(int(f.bundle), f.piece)
	}
	if f.word == "ingot" || f.word == "bag" || f.bundle > 0 && f.piece != "piece" {
		s += fmt.Sprintf(" (%s)", o.about(n*f.terms.Pack))
	}
	return s
}

func (o *orderer) cost(c reorder.Choice, f offered) string {
	if !f.priced {
		return "no price in the book"
	}
	return o.money(c.Goods + c.Freight)
}

// sayMetal writes the sentence and its reasons.
func (o *orderer) sayMetal(a *OrderAdvice, net reorder.Netting) {
	what := a.Sentence
	if what == "" {
		what = o.about(a.Amount)
	}
	if !a.Order {
		a.Sentence = fmt.Sprintf("No %s to order: %s of new metal here%s.", a.Alloy, o.about(int64(a.Here)), o.onItsWay(a, o.about))
	} else {
		a.Sentence = fmt.Sprintf("Order %s of %s %s", what, a.Alloy, o.by(a))
		if a.Supplier != "" {
			a.Sentence += " from " + a.Supplier
		}
		if a.Priced {
			a.Sentence += ", " + o.money(a.Goods)
		}
		a.Sentence += ": " + o.because(a, net) + "."
	}
	a.Reasons = append(a.Reasons, a.Why...)
	o.sayExpected(a, o.about)
	say := func(format string, args ...any) { a.Reasons = append(a.Reasons, fmt.Sprintf(format, args...)) }
	for _, l := range net.Lines {
		s := fmt.Sprintf("heat %s, %s, takes %s: %s of returns, %s of new metal", l.Heat, o.heatDay(l), o.about(l.Gross), o.about(l.Returns), o.about(l.New+l.Short))
		if l.Short > 0 {
			s += fmt.Sprintf(", %s of it missing", o.about(l.Short))
			if o.tooLate(l, *a) {
				s += "; an order of today comes too late for it"
			}
		}
		say("%s", s)
	}
	if sd := o.habits(a.Alloy).sd; len(net.Lines) > 0 && sd > 0 {
		say("charges differ from their plans by about %.2g %%, and a margin is kept for it", 100*sd)
	}
	if net.Capped > 0 {
		say("%s of returns stay on the shelf all the same: a charge takes %s of them at most", o.about(net.Returns), unit.FormatPercent(int64(*o.Most)))
	}
	o.sayPoint(a, o.about)
	if c := o.dirty(a.Alloy); c > 0 {
		say("%s more waits to be cleaned and is not counted", o.about(int64(c)))
	}
}

func (o *orderer) sayPoint(a *OrderAdvice, amount func(int64) string) {
	if a.Point.Uses > 0 && o.days() < youngDays {
		a.Reasons = append(a.Reasons, fmt.Sprintf("the book is %s old: what was used in it is taken for that of %d", count(o.days(), "day"), youngDays))
	}
	if a.Point.Uses > 0 {
		a.Reasons = append(a.Reasons, fmt.Sprintf("reorder point %s: %s for what is not named yet in the %s of a delivery and %s so that %.3g %% of deliveries come in time (%s, %s)",
			amount(a.Point.Amount), amount(int64(a.Point.Lead.Mean)), leadWords(a.Leads), amount(a.Point.Safety), 100**o.Service, a.Point.Method, count(a.Point.Uses, "use")))
	}
	if t := a.Tried; t != nil && t.Cycles > 0 {
		low, high := t.Interval(curveLevel)
		a.Reasons = append(a.Reasons, fmt.Sprintf("tried on the shop's own last %s: %d of %s in time (%.0f %%; for so few anything from %.0f to %.0f %%), %s here on the average",
			count(t.Days, "day"), t.Kept, count(t.Cycles, "delivery"), 100*t.Share(), 100*low, 100*high, amount(t.AverageStock)))
	}
}

func (o *orderer) by(a *OrderAdvice) string {
	if a.By.Equal(o.date(0)) {
		return "today"
	}
	return "by " + a.By.Format("2 Jan")
}

// because is the reason in a few words: heats that are short first.
func (o *orderer) because(a *OrderAdvice, net reorder.Netting) string {
	if net.Short == 0 {
		s := o.about(int64(a.Here)) + " of new metal here" + o.onItsWay(a, o.about)
		taken := int64(0)
		for _, l := range net.Lines {
			taken += l.New
		}
		if taken > 0 {
			s += fmt.Sprintf(", planned heats take %s of it", o.about(taken))
		}
		if a.By.Equal(o.date(0)) {
			return s + fmt.Sprintf(", and less than the reorder point of %s is left", o.about(a.Point.Amount))
		}
		return s + fmt.Sprintf(", at the usual pace down to the reorder point of %s by then", o.about(a.Point.Amount))
	}
	var heats []string
	late := false
	for _, l := range net.Lines {
		if l.Short > 0 {
			heats = append(heats, fmt.Sprintf("%s (%s)", l.Heat, o.heatDay(l)))
			late = late || o.tooLate(l, *a)
		}
	}
	word := "heat "
	if len(heats) > 1 {
		word = "heats "
	}
	s := fmt.Sprintf("%s of new metal here%s and %s missing for %s%s", o.about(int64(a.Here)), o.onItsWay(a, o.about), o.about(net.Short), word, strings.Join(heats, ", "))
	if late {
		s += ", later than wanted"
	}
	return s
}

// tooLate is whether nothing that is ordered now comes in time for a heat.
func (o *orderer) tooLate(l reorder.NetLine, a OrderAdvice) bool {
	return l.Short > 0 && l.Day < a.LeadDays
}

func (o *orderer) dirty(id string) ledger.Mass {
	if p := o.stock[posKey{id, ""}]; p != nil {
		return p.ToClean
	}
	return 0
}

// otherAlloys are those of which new metal may go into a charge of this one: what is
// here, and by the offer that is cheapest for it so much as is to be ordered, of which the
// charge may take the part that is said.
func (o *orderer) otherAlloys(id string, need int64) (out []string, err error) {
	here := map[string]ledger.Mass{}
	for _, l := range o.lots {
		if l.Owner == "" && l.Usable() && isNew(l.Form) && l.Alloy != id {
			here[l.Alloy] += l.Free()
		}
	}
	for _, x := range o.current {
		if _, ok := here[x.Alloy]; !ok && !x.Buys && x.Alloy != "" && x.Alloy != id && isNew(x.Form) {
			here[x.Alloy] = 0
		}
	}
	for _, other := range sortedKeys(here) {
		mix, err := o.table.MayMix(id, other)
		if err != nil || !mix.OK {
			continue
		}
		if here[other] > 0 {
			out = append(out, fmt.Sprintf("instead some of the %s of %s here: %s", o.about(int64(here[other])), other, mix.Why))
		}
		var best bid
		for _, f := range o.offers(other) {
			if f.offer == nil {
				continue
			}
			c, _, err := reorder.Cheapest(f.terms, reorder.Wish{Need: need})
			if err != nil {
				return nil, orderError(err)
			}
			if !best.known || c.Goods+c.Freight < best.choice.Goods+best.choice.Freight {
				best = bid{offered: f, choice: c}
			}
		}
		if best.known {
			out = append(out, fmt.Sprintf("instead of some of it %s of %s of %s: %s, %s: %s", o.packs(best.choice.Packs, best.offered), other, best.supplier, o.cost(best.choice, best.offered), o.source(best.offered), mix.Why))
		}
	}
	return out, nil
}

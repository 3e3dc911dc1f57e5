package shop

import (
	"fmt"
	"math"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/reorder"
)

// supply says what to buy of a supply item. A crucible's use is foreseen from the
// heats that those in the shop have left.
func (o *orderer) supply(l SupplyLine) (a OrderAdvice, err error) {
	a = OrderAdvice{Supply: l.ID, InPieces: l.InPieces, Here: l.Amount}
	amount := o.about
	if l.InPieces {
		amount = func(n int64) string { return count(int(n), "piece") }
	}
	j := job{here: int64(l.Amount), history: o.history(o.past.spent[l.ID]), floor: l.OrderBelow}
	for i, x := range o.current {
		if !x.Buys && x.Supply == l.ID && x.InPieces == l.InPieces {
			j.offers = append(j.offers, o.byOffer(&o.current[i], map[bool]string{true: "piece", false: "bag"}[l.InPieces]))
		}
	}
	if d, ok := o.past.received[l.ID]; ok && len(j.offers) == 0 {
		f := offered{word: "bag", priced: d.priced, known: true, day: d.day, leads: []int{*o.Lead}, terms: reorder.Offer{Pack: d.amount, Work: *o.Work}}
		if l.InPieces {
			f.word, f.terms.Pack = "piece", 1
		}
		f.terms.Breaks = []reorder.Break{{Price: reorder.Price{Minor: d.minor, Per: d.amount}}}
		j.offers = []offered{f}
	}
	j.offers = o.withDates(j.offers)
	a.Coming = o.expected["/"+l.ID]
	j.coming = arrivals(a.Coming)
	had := int64(l.Amount)
	for _, c := range j.coming {
		had += c.Amount
	}
	var worn []string
	if l.Purpose == "crucible" {
		j.named, worn = o.worn()
	}
	j.first = -1
	for _, n := range j.named {
		if j.short += n.Amount; j.first < 0 && j.short > had {
			j.first = n.Day
		}
	}
	j.short = max(0, j.short-had)
	if err := o.decide(&a, j); err != nil {
		return a, err
	}
	what := a.Sentence
	if what == "" {
		what = amount(a.Amount)
	}
	if a.Order {
		a.Sentence = fmt.Sprintf("Order %s of %s %s", what, l.Name, o.by(&a))
		if a.Supplier != "" {
			a.Sentence += " from " + a.Supplier
		}
		if a.Priced {
			a.Sentence += ", " + o.money(a.Goods)
		}
		a.Sentence += fmt.Sprintf(": %s here%s, %s wanted.", amount(int64(l.Amount)), o.onItsWay(&a, amount), amount(a.Point.Amount+j.short))
	} else {
		a.Sentence = fmt.Sprintf("No %s to order: %s here%s.", l.Name, amount(int64(l.Amount)), o.onItsWay(&a, amount))
	}
	a.Reasons = append(worn, a.Why...)
	o.sayExpected(&a, amount)
	if l.OrderBelow > 0 {
		a.Reasons = append(a.Reasons, fmt.Sprintf("the shop never wants less than %s", amount(l.OrderBelow)))
	}
	if a.Point.Amount > l.OrderBelow {
		o.sayPoint(&a, amount)
	}
	return a, nil
}

// worn are the crucibles that will have melted all their heats within the horizon, at
// the pace of the past.
func (o *orderer) worn() (named []reorder.Arrival, why []string) {
	days := max(1, o.today+1-o.past.first)
	for _, p := range o.pots {
		n := o.past.pourings[p.ID]
		if p.Kind != ledger.PotCrucible || p.Retired || p.LifeHeats <= 0 || n == 0 {
			continue
		}
		left := max(0, p.LifeHeats-p.Heats)
		end := int(math.Floor(float64(left) * float64(days) / float64(n)))
		if end <= o.Horizon {
			named = append(named, reorder.Arrival{Day: end, Amount: 1})
			why = append(why, fmt.Sprintf("crucible %s has %s left, until about %s", p.Name, count(int(left), "heat"), o.dayMonth(end)))
		}
	}
	return named, why
}

// surplusDays is how long returns may wait before they are called surplus: common
// practice, no source.
const surplusDays = 182

// surplus is what of returns the shop will not melt within half a year at its pace, as far
// as a book knows that, and
// all skimmings.
func (o *orderer) surplus(advice []OrderAdvice) (out []Surplus) {
	for _, a := range advice {
		if a.Alloy == "" {
			continue
		}
		ahead := ledger.Mass(0)
		for _, h := range a.Heats {
			ahead += ledger.Mass(h.Returns)
		}
		used := 0.0
		for _, heat := range sortedKeys(o.past.heats) { // in order, so that sums are the same every time
			h := o.past.heats[heat]
			if h.Alloy == a.Alloy && h.Owner == "" {
				used += max(0, (h.in - h.new[a.Alloy]).Kg())
			}
		}
		pace := ledger.Mass(used * 1e6 * surplusDays / float64(max(1, o.today+1-o.past.first)))
		if m := a.Returns - max(ahead, pace); m > 0 && o.days() > surplusDays/2 { // a younger book does not know the pace
			out = append(out, o.sell(a.Alloy, false, m))
		}
		if p := o.stock[posKey{a.Alloy, ""}]; p != nil && p.Skimmings > 0 {
			out = append(out, o.sell(a.Alloy, true, p.Skimmings))
		}
	}
	return out
}

func (o *orderer) sell(id string, dross bool, m ledger.Mass) Surplus {
	s := Surplus{Alloy: id, Dross: dross, Mass: m}
	key, what, offered := id, fmt.Sprintf("%s of returns of %s is more than half a year of heats takes", o.about(int64(m)), id), m
	if dross {
		offered = o.skimmed(id)
		key, what = "dross/"+id, fmt.Sprintf("%s of skimmings of %s with about %s of metal in them", o.about(int64(offered)), id, o.about(int64(m)))
	}
	best, least := o.outlet(id, dross, offered)
	if best.Offer != nil {
		s.Outlet, s.Offer, s.Worth = best.Party, best.ID, best.pays
		s.Sentence = fmt.Sprintf("%s: %s pays %s for it (offer %s: %s)", what, best.Party, o.money(best.pays), best.ID, best.price)
		if best.Freight != nil {
			s.Sentence += ", freight taken off"
		}
		s.Sentence += "."
		return s
	}
	if least != nil {
		what += fmt.Sprintf("; %s takes it from %s on (offer %s)", least.Party, o.about(int64(least.Least.Mass)), least.ID)
	}
	g, ok := o.past.sold[key]
	if !ok {
		s.Sentence = what + ": could be sold; the book knows no price that was got for the like."
		return s
	}
	s.Worth = int64(math.Round(float64(g.minor) * float64(m) / float64(g.mass)))
	s.Sentence = fmt.Sprintf("%s: could be sold for about %s, as on %s.", what, o.money(s.Worth), o.date(int(g.day)-o.today).Format("2 Jan 2006"))
	return s
}

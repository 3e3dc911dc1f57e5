package shop

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/reorder"
	"example.org/remelt/ledger/unit"
)

// offered is how something can be bought, as far as the book knows: by an offer that
// holds, else as it came last.
type offered struct {
	terms    reorder.Offer
	supplier string
	word     string // of a pack: ingot, bag, piece, bundle, kg
	bundle   int64  // pieces in a pack, when they are sold together
	piece    string // word of a piece
	leads    []int  // days that a delivery takes, each as likely
	priced   bool
	known    bool
	offer    *ledger.Offer // nil for a delivery
	day      int           // of that delivery
}

// bid is an offer tried on what is needed.
type bid struct {
	offered
	point    reorder.Point
	leadDays int
	day      int   // to order on
	missing  int64 // on that day
	need     int64 // 0: nothing is to be ordered
	choice   reorder.Choice
	next     *reorder.Choice // at the next price break
	late     bool            // comes too late for a planned heat
}

// readOffers reads the offers that hold today and the last market price of each alloy.
func (o *orderer) readOffers(r ledger.Reader) (err error) {
	o.current, o.market, err = offersIn(r, o.shop, o.now)
	return err
}

// offersIn are the offers that hold at a moment, of those whose prices are in the book's
// currency, and the last market price of each metal.
func offersIn(r ledger.Reader, own ledger.Shop, at time.Time) (current []ledger.Offer, market map[string]ledger.MarketPrice, err error) {
	today := own.DayOf(at)
	if current, err = ledger.OffersIn(r, "", today); err != nil {
		return nil, nil, err
	}
	current = slices.DeleteFunc(current, func(x ledger.Offer) bool { // of before the book had its currency
		p := x.Breaks[0].Price
		return p.Currency != own.Currency && p.BookCurrency != own.Currency
	})
	all, err := ledger.MarketPricesIn(r, "", "", today)
	market = map[string]ledger.MarketPrice{}
	for _, p := range all {
		if p.Day >= market[p.Metal].Day {
			market[p.Metal] = p
		}
	}
	return current, market, err
}

// offers are the offers that hold for an alloy's new metal; of suppliers without one,
// their last deliveries, taken as what they would ask today.
func (o *orderer) offers(id string) (out []offered) {
	asked := map[string]bool{}
	for i, x := range o.current {
		if !x.Buys && x.Alloy == id && isNew(x.Form) {
			out = append(out, o.byOffer(&o.current[i], "ingot"))
			asked[x.Party] = true
		}
	}
	for _, supplier := range sortedKeys(o.past.offers[id]) {
		d := o.past.offers[id][supplier]
		if asked[supplier] {
			continue
		}
		f := offered{supplier: supplier, word: "ingot", priced: d.priced, known: true, day: d.day, leads: []int{*o.Lead}, terms: reorder.Offer{Pack: d.amount / max(d.pieces, 1), Work: *o.Work}}
		if d.pieces == 0 || f.terms.Pack == 0 { // sold by weight, in no pieces that the book knows
			f.word, f.terms.Pack = o.byWeight()
		}
		f.terms.Breaks = []reorder.Break{{Price: reorder.Price{Minor: d.minor, Per: d.amount}}}
		out = append(out, f)
	}
	return out
}

func (o *orderer) byWeight() (word string, pack int64) {
	return byWeight(unit.MassUnit(o.shop.MassUnit))
}

// byWeight is in what metal is sold that comes in no pieces that the book knows.
func byWeight(u unit.MassUnit) (word string, pack int64) {
	if u == unit.LB {
		return "lb", 453_592
	}
	return "kg", 1_000_000
}

// byOffer takes an offer at its word.
func (o *orderer) byOffer(x *ledger.Offer, piece string) offered {
	f := offered{offer: x, supplier: x.Party, word: piece, piece: piece, priced: true, known: true, leads: o.leadsOf(x)}
	word, loose := o.byWeight()
	f.terms = termsOf(x, loose)
	f.terms.Work = *o.Work
	if x.Pack() == 0 {
		f.word = word
	} else if x.Bundle > 1 {
		f.word, f.bundle = "bundle", x.Bundle
	}
	return f
}

// termsOf are the terms of an offer; what is sold loose comes in such packs.
func termsOf(x *ledger.Offer, loose int64) (t reorder.Offer) {
	t.Pack, t.Least = cmp.Or(x.Pack(), loose), int64(x.Least.Mass)
	for _, b := range x.Breaks {
		t.Breaks = append(t.Breaks, reorder.Break{From: int64(b.From.Mass), Price: price(&b.Price)})
	}
	if x.Freight != nil {
		if x.Freight.Per == "" {
			t.Freight = x.Freight.Total()
		} else {
			t.FreightPer = price(x.Freight)
		}
	}
	return t
}

func price(t *ledger.Terms) reorder.Price {
	minor, per := t.Rate()
	return reorder.Price{Minor: minor, Per: per}
}

// leadsOf are the days that a delivery by an offer takes: the one said, and as likely
// as it those by which it is off.
func (o *orderer) leadsOf(x *ledger.Offer) []int {
	switch {
	case o.leadSaid || x.LeadDays == nil:
		return []int{*o.Lead}
	case x.LeadOff > 0:
		return []int{max(0, *x.LeadDays-x.LeadOff), *x.LeadDays, min(365, *x.LeadDays+x.LeadOff)}
	}
	return []int{*x.LeadDays}
}

// middle is the median of leads.
func middle(leads []int) int {
	sorted := slices.Sorted(slices.Values(leads))
	return sorted[len(sorted)/2]
}

// soonest is when at the earliest something ordered today is here.
func (o *orderer) soonest(all []offered) int {
	days := *o.Lead
	for i, f := range all {
		if m := middle(f.leads); i == 0 || m < days {
			days = m
		}
	}
	return days
}

// choose tries every offer and takes the one that comes in time for planned heats, and
// of those the cheapest; the others are alternatives.
func (o *orderer) choose(a *OrderAdvice, j job) (best bid, err error) {
	all := make([]bid, 0, len(j.offers))
	at := 0
	for i, f := range j.offers {
		t, err := o.try(f, j)
		if err != nil {
			return t, err
		}
		if all = append(all, t); i > 0 && t.better(all[at]) {
			at = i
		}
	}
	best = all[at]
	if best.need == 0 || !best.known {
		return best, nil
	}
	a.Why = o.why(a.Alloy, best, all)
	for i, t := range all {
		if i != at {
			s := fmt.Sprintf("%s of %s: %s, %s", o.packs(t.choice.Packs, t.offered), t.supplier, o.cost(t.choice, t.offered), o.source(t.offered))
			if t.late && !best.late {
				s += ", too late for a planned heat"
			}
			a.Alternatives = append(a.Alternatives, s)
		}
	}
	if best.next != nil {
		a.Alternatives = append(a.Alternatives, fmt.Sprintf("the next price break, %s: %s", o.packs(best.next.Packs, best.offered), o.cost(*best.next, best.offered)))
	}
	return best, nil
}

func (t bid) better(than bid) bool {
	switch {
	case t.late != than.late:
		return than.late
	case t.priced != than.priced:
		return t.priced
	}
	return t.priced && t.choice.PerYear < than.choice.PerYear
}

func (o *orderer) try(f offered, j job) (t bid, err error) {
	t.offered = f
	if t.point, err = reorder.Reorder(j.history, f.leads, *o.Service, reorder.Choose); err != nil {
		return t, orderError(err)
	}
	t.point.Amount = max(t.point.Amount, j.floor)
	if t.leadDays, err = reorder.LeadWithin(f.leads, *o.Service); err != nil {
		return t, orderError(err)
	}
	t.day, t.missing = o.when(j, t.point, t.leadDays)
	t.need = max(t.missing, j.short)
	t.late = j.first >= 0 && j.first < t.leadDays
	if !f.known {
		return t, nil
	}
	w := reorder.Wish{Need: t.need}
	if f.priced {
		w.Yearly, w.Carry = t.point.Daily*365, *o.Carry
	}
	t.choice, t.next, err = reorder.Cheapest(f.terms, w)
	return t, orderError(err)
}

// why says from whom and why, each a phrase.
func (o *orderer) why(alloy string, t bid, all []bid) (out []string) {
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	x := t.offer
	if x == nil {
		if t.supplier != "" {
			say("no offer of %s holds: taken as its last delivery on %s, and %s to come", t.supplier, o.date(t.offered.day-o.today).Format("2 Jan 2006"), leadWords(t.leads))
		} else {
			say("no offer holds: taken as the last delivery on %s, and %s to come", o.date(t.offered.day-o.today).Format("2 Jan 2006"), leadWords(t.leads))
		}
	} else {
		at := x.At(t.choice.Amount)
		s := fmt.Sprintf("offer %s of %s since %s: %s", x.ID, x.Party, dayWords(x.From), at.Price.String())
		if at.From.Mass > 0 {
			s += " from " + o.amountOf(x, int64(at.From.Mass))
		}
		if x.Least.Mass > 0 {
			s += ", no less than " + o.amountOf(x, int64(x.Least.Mass))
		}
		if t.choice.Freight > 0 {
			s += ", freight " + o.money(t.choice.Freight)
		}
		s += ", " + leadWords(t.leads) + " to come"
		if x.Until != "" {
			s += ", until " + dayWords(x.Until)
			if x.Until < o.date(t.day).Format(time.DateOnly) {
				s += ": it ends before the day to order"
			}
		}
		out = append(out, s)
	}
	if len(all) > 1 {
		switch {
		case slices.ContainsFunc(all, func(u bid) bool { return u.late && !t.late }):
			say("of %d that could deliver those in time for planned heats were compared; it costs least of them", len(all))
		case t.priced && t.point.Daily > 0:
			say("a year of such orders, with freight, work and keeping the metal, costs least of %d that could deliver", len(all))
		case t.priced:
			say("it costs least of %d that could deliver", len(all))
		}
	}
	if m, ok := o.market[alloy]; ok && t.priced && alloy != "" {
		if minor, per, ok := m.Rate(o.shop.Currency); ok && minor > 0 && t.choice.Amount > 0 {
			part := float64(t.choice.Goods)/float64(t.choice.Amount)/(float64(minor)/float64(per)) - 1
			word := "above"
			if part < 0 {
				word, part = "below", -part
			}
			say("%.1f %% %s the market's %s of %s", 100*part, word, m.Price, dayWords(m.Day))
		}
	}
	return out
}

// source says what an alternative's terms are taken from.
func (o *orderer) source(f offered) string {
	if f.offer != nil {
		return fmt.Sprintf("offer %s, %s to come", f.offer.ID, leadWords(f.leads))
	}
	return fmt.Sprintf("as delivered on %s", o.date(f.day-o.today).Format("2 Jan 2006"))
}

func (o *orderer) amountOf(x *ledger.Offer, n int64) string {
	if x.InPieces {
		return count(int(n), "piece")
	}
	return o.about(n)
}

// leadWords are days of delivery for people: "7 days", "5 to 9 days".
func leadWords(leads []int) string {
	low, high := slices.Min(leads), slices.Max(leads)
	if low == high {
		return count(low, "day")
	}
	return fmt.Sprintf("%d to %s", low, count(high, "day"))
}

// dayWords writes a day (2026-11-02) for people.
func dayWords(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.Format("2 Jan 2006")
}

// sale is an outlet's offer for an amount.
type sale struct {
	*ledger.Offer
	price string // that holds for the amount
	pays  int64  // less the freight
}

// outlet finds who pays best for returns of an alloy, or for skimmings weighed as they
// are, by an offer that holds; and one that takes no less than is there.
func (o *orderer) outlet(id string, dross bool, m ledger.Mass) (best sale, least *ledger.Offer) {
	for i := range o.current {
		x := &o.current[i]
		if !x.Buys || x.Alloy != id || dross != (x.Form == ledger.Skimmings) {
			continue
		}
		if m < x.Least.Mass {
			least = x
			continue
		}
		at := x.At(int64(m))
		pays := price(&at.Price).Of(int64(m))
		if x.Freight != nil && x.Freight.Per == "" {
			pays -= x.Freight.Total()
		} else if x.Freight != nil {
			pays -= price(x.Freight).Of(int64(m))
		}
		if pays > best.pays {
			best = sale{x, at.Price.String(), pays}
		}
	}
	return best, least
}

// skimmed is what the lots of skimmings of an alloy weigh as they are, flux and oxide
// with them.
func (o *orderer) skimmed(id string) (m ledger.Mass) {
	for _, l := range o.lots {
		if l.Alloy != id || l.Form != ledger.Skimmings || l.Owner != "" {
			continue
		}
		if s := l.Skim; s != nil && s.Trapped > 0 {
			m += ledger.Mass(math.Round(float64(s.Net) * float64(l.Mass) / float64(s.Trapped)))
		} else {
			m += l.Mass
		}
	}
	return m
}

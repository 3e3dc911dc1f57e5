package shop

import (
	"math"
	"slices"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/reorder"
)

// metal says what to buy of an alloy's new metal.
func (o *orderer) metal(id string) (a OrderAdvice, err error) {
	a = OrderAdvice{Alloy: id}
	offers := o.withDates(o.offers(id))
	a.Coming = o.expected[id+"/"]
	heats, metal := o.needs(id, o.soonest(offers), &a)
	if o.Alloy != "" && len(offers) == 0 && len(a.Coming) == 0 && a.Here == 0 && a.Returns == 0 && len(o.past.uses[id]) == 0 {
		return a, &ledger.Error{Class: ledger.ErrState, Reason: "NO_OFFER", Field: "alloy", Value: id,
			Want: "is not here, was never bought and nobody offers it: write an offer down, or receive some once, so that its pieces and its price are known"}
	}
	metal.NewComing = arrivals(a.Coming)
	net, err := reorder.Net(heats, metal)
	if err != nil {
		return a, orderError(err)
	}
	a.Short = net.Short
	first := -1
	if net.Short > 0 {
		first = max(0, net.By)
	}
	named := make([]reorder.Arrival, 0, len(net.Lines))
	for _, l := range net.Lines {
		a.Heats = append(a.Heats, HeatNeed{l, o.date(l.Day)})
		named = append(named, reorder.Arrival{Day: l.Day, Amount: l.New + l.Short})
	}
	j := job{here: int64(a.Here), coming: metal.NewComing, named: named, short: net.Short, first: first, history: o.history(o.past.uses[id]), sd: o.habits(id).sd, offers: offers}
	if err := o.decide(&a, j); err != nil {
		return a, err
	}
	o.sayMetal(&a, net)
	if a.Order {
		others, err := o.otherAlloys(id, a.Amount)
		if err != nil {
			return a, err
		}
		a.Alternatives = append(a.Alternatives, others...)
	}
	return a, nil
}

// needs are the planned heats of an alloy and the metal there is for them. What is
// spoken for one of them counts for it alone.
func (o *orderer) needs(id string, soonest int, a *OrderAdvice) (heats []reorder.Heat, m reorder.Metal) {
	mine := map[string]bool{}
	for _, h := range o.planned {
		if h.Alloy == id {
			mine[h.ID] = true
		}
	}
	kept, keptReturns := map[string]int64{}, map[string]int64{}
	for _, l := range o.lots {
		if l.Alloy != id || l.Owner != "" || !l.Usable() {
			continue
		}
		if isNew(l.Form) {
			a.Here += l.Free()
		} else {
			a.Returns += l.Free()
		}
		for _, c := range l.SpokenFor {
			if heat := c.Heat(); mine[heat] {
				kept[heat] += int64(c.Mass)
				if !isNew(l.Form) {
					keptReturns[heat] += int64(c.Mass)
				}
			}
		}
	}
	m = reorder.Metal{New: int64(a.Here), Returns: int64(a.Returns), BackAgain: o.late[id]}
	habits, back := o.habits(id), o.lag()
	for _, h := range o.planned {
		if !mine[h.ID] {
			continue
		}
		gross := o.gross(h, habits)
		day := soonest // without a date: as soon as what is ordered now can be here
		if !h.Planned.IsZero() {
			day = o.day(h.Planned) - o.today
		}
		if day > o.Horizon {
			continue
		}
		left := max(0, gross-kept[h.ID])
		share := int64(o.Most.Of(ledger.Mass(gross)))
		if share*int64(ledger.Whole) > gross*int64(*o.Most) { // rounded up: no more than the share
			share--
		}
		most := max(0, share-keptReturns[h.ID])
		heats = append(heats, reorder.Heat{ID: h.ID, Day: day, Gross: left, Most: min(most, left),
			Back: min(left, int64(habits.back*float64(gross))), BackOn: max(day, 0) + back})
	}
	return heats, m
}

// gross is the charge of a planned heat: as much as a proposed charge is of at the least,
// what is usually poured off, and no less than was planned for it.
func (o *orderer) gross(h plannedHeat, habits habits) int64 {
	molds := 0.0
	for _, m := range h.molds {
		molds += m.Metal.Mean
	}
	family := familyOf(o.table, h.Alloy)
	shares, _ := usualShares(o.heats, family)
	f, err := o.learned.Forecast(loss.Charge{Family: family, Crucible: h.Crucible, Furnace: h.Furnace, Kg: 1, Shares: shares}) // the rate does not depend on the kg
	// Where too little is known what is planned stands: one odd heat is no reason to say
	// nothing of the others.
	if err != nil || molds == 0 {
		return max(int64(h.Charge), int64(molds))
	}
	want := charge.Heat{ID: h.ID, Molds: h.molds, Filling: o.filling, ChanceShort: part(usualShort), Loss: f, Skull: int64(o.skull(h.Heat))}
	least, err := charge.LeastCharge(&want)
	if err != nil {
		least = 0
	}
	rate := min(max(f.Mean, 0), 0.5)
	return max(int64(h.Charge), least, int64(math.Ceil(molds/(1-rate-min(habits.pigs, 0.4)))))
}

// skull is what stays in a heat's crucible after the pour, as the book says of it, else of
// the furnace.
func (o *orderer) skull(h ledger.Heat) (m ledger.Mass) {
	for _, id := range []string{h.Furnace, h.Crucible} {
		if i := slices.IndexFunc(o.pots, func(p ledger.Pot) bool { return p.ID == id }); i >= 0 && o.pots[i].Skull > 0 {
			m = o.pots[i].Skull
		}
	}
	return m
}

// job is what has to be decided of one thing.
type job struct {
	here    int64
	coming  []reorder.Arrival // of open orders
	named   []reorder.Arrival // new metal, days from today
	short   int64
	first   int // day of the first shortage; -1 for none
	history reorder.History
	sd      float64 // of what a named heat takes, as a part of it
	margin  float64 // kept for that, as a part of the root of the sum of their squares
	offers  []offered
	floor   int64 // never less than this on the shelf
}

// decide finds from whom, when and how much to order and looks ahead.
func (o *orderer) decide(a *OrderAdvice, j job) (err error) {
	if len(j.offers) == 0 {
		j.offers = []offered{{leads: []int{*o.Lead}}}
	}
	z, _, _, err := reorder.NormalPoint(reorder.Spread{}, *o.Service)
	if err != nil {
		return orderError(err)
	}
	j.margin = max(0, z) * j.sd
	best, err := o.choose(a, j)
	if err != nil {
		return err
	}
	a.Point, a.Leads, a.LeadDays = best.point, best.leads, best.leadDays
	coming := slices.Clone(j.coming)
	lot := a.Point.Amount
	if best.need > 0 {
		a.Order, a.By, a.Amount = true, o.date(best.day), best.need
		if best.known {
			c := best.choice
			a.Amount, a.Packs, a.Supplier, a.Goods, a.Priced = c.Amount, c.Packs, best.supplier, c.Goods+c.Freight, best.priced
			a.Sentence = o.packs(c.Packs, best.offered)
		}
		if best.offer != nil {
			a.Offer = best.offer.ID
		}
		lot = max(0, a.Amount-best.missing)
		coming = append(coming, reorder.Arrival{Day: best.day + middle(best.leads), Amount: a.Amount})
	}
	a.Curve, err = reorder.Project(reorder.Outlook{Here: j.here, Coming: coming, Named: j.named, NamedSD: j.sd, Past: j.history, Leads: best.leads, Days: o.Horizon, Level: curveLevel})
	if err != nil {
		return orderError(err)
	}
	start := j.history.From + 90
	if start < j.history.To-90 && a.Point.Uses >= 4 {
		tried, err := reorder.Replay(reorder.Past{History: j.history, Start: start, Leads: best.leads, Service: *o.Service, Pack: max(1, best.terms.Pack), Lot: lot})
		if err != nil {
			return orderError(err)
		}
		a.Tried = &tried
	}
	return nil
}

// when is the first day on which less will be here than the point and what is named until
// a delivery ordered that day, with a margin since charges differ from their plans, and how
// much less; missing is 0 when there is none. Beside the named heats the mean of the past
// is taken.
func (o *orderer) when(j job, p reorder.Point, lead int) (day int, missing int64) {
	for day = range o.Horizon {
		position, squares := float64(j.here)-p.Daily*float64(day), 0.0
		for _, n := range j.named {
			if n.Day <= day+lead {
				position -= float64(n.Amount)
				squares += float64(n.Amount) * float64(n.Amount)
			}
		}
		for _, c := range j.coming {
			if c.Day <= day+lead {
				position += float64(c.Amount)
			}
		}
		position -= j.margin * math.Sqrt(squares)
		if position < float64(p.Amount) {
			return day, int64(math.Ceil(float64(p.Amount) - position))
		}
	}
	return 0, 0
}

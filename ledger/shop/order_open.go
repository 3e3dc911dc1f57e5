package shop

import (
	"fmt"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/reorder"
)

// learnFrom is how many orders of a supplier must have come before their dates are
// believed to say how long its deliveries take: common practice, no source.
const learnFrom = 3

// Expected is what is still to come of a purchase order, of one thing.
type Expected struct {
	Order, Supplier string
	Amount          int64 // milligrams, or pieces of a supply that is counted
	Day             time.Time
	Late            bool // its day is over: it is reckoned as coming today
	day             int  // from today, never before
}

// readOrders reads how long the deliveries of each supplier took, and what is still to
// come. An order without an expected day is reckoned by those.
func (o *orderer) readOrders(k kept) error {
	o.took, o.expected = map[string][]int{}, map[string][]Expected{}
	recs, err := k.records(ledger.RecOrder, "")
	if err != nil {
		return err
	}
	all := make([]ledger.Order, len(recs))
	for i, rec := range recs {
		if err := rec.Into(&all[i]); err != nil {
			return err
		}
		if here := all[i].AllHereOn(); !all[i].Placed.IsZero() && !here.IsZero() {
			days := max(0, o.day(here)-o.day(all[i].Placed))
			o.took[all[i].Supplier] = append(o.took[all[i].Supplier], min(days, 1000))
		}
	}
	for i := range all {
		if s := all[i].State(); s == ledger.Ordered || s == ledger.SomeHere {
			o.expect(&all[i])
		}
	}
	for _, e := range o.expected {
		slices.SortStableFunc(e, func(a, b Expected) int { return a.day - b.day })
	}
	return nil
}

// expect notes what is still to come of an order.
func (o *orderer) expect(order *ledger.Order) {
	x := Expected{Order: order.ID, Supplier: order.Supplier}
	switch {
	case !order.Expected.IsZero():
		x.day = o.day(order.Expected) - o.today
	case !order.Placed.IsZero():
		x.day = o.day(order.Placed) + middle(o.leadsBy(order.Supplier, []int{*o.Lead})) - o.today
	}
	x.Day, x.Late = o.date(x.day), x.day < 0
	x.day = max(0, x.day)
	for i, l := range order.Lines {
		mass, pieces := order.Missing(i)
		if x.Amount = int64(mass); o.counted(l.Supply) {
			x.Amount = pieces
		}
		switch key := l.Alloy + "/" + l.Supply; {
		case x.Amount <= 0 || l.Supply == "" && !isNew(l.Form):
		case len(o.expected[key]) > 0 && o.expected[key][len(o.expected[key])-1].Order == order.ID: // another line of the same
			o.expected[key][len(o.expected[key])-1].Amount += x.Amount
		default:
			o.expected[key] = append(o.expected[key], x)
		}
	}
}

func (o *orderer) counted(supply string) bool {
	return slices.ContainsFunc(o.supplies, func(l SupplyLine) bool { return l.ID == supply && l.InPieces })
}

// withDates lets the dates of a supplier's orders say how long its deliveries take, when
// there are enough of them and nothing else was asked for.
func (o *orderer) withDates(all []offered) []offered {
	for i := range all {
		all[i].leads = o.leadsBy(all[i].supplier, all[i].leads)
	}
	return all
}

func (o *orderer) leadsBy(supplier string, otherwise []int) []int {
	if l := o.took[supplier]; len(l) >= learnFrom && !o.leadSaid {
		return l
	}
	return otherwise
}

// arrivals are days and amounts of what is to come.
func arrivals(all []Expected) (out []reorder.Arrival) {
	for _, x := range all {
		out = append(out, reorder.Arrival{Day: x.day, Amount: x.Amount})
	}
	return out
}

// sayExpected names the orders that something is still to come of.
func (o *orderer) sayExpected(a *OrderAdvice, amount func(int64) string) {
	for _, x := range a.Coming {
		s := fmt.Sprintf("%s still to come of order %s of %s, expected %s", amount(x.Amount), x.Order, x.Supplier, x.Day.Format("2 Jan"))
		if x.Late {
			s += "; that day is over, so it is reckoned as coming today: ask for it"
		}
		a.Reasons = append(a.Reasons, s)
	}
}

// onItsWay is what is ordered already, for the sentence.
func (o *orderer) onItsWay(a *OrderAdvice, amount func(int64) string) string {
	sum := int64(0)
	for _, x := range a.Coming {
		sum += x.Amount
	}
	switch len(a.Coming) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf(", %s on its way (order %s, %s)", amount(sum), a.Coming[0].Order, a.Coming[0].Day.Format("2 Jan"))
	}
	return fmt.Sprintf(", %s on its way in %s", amount(sum), count(len(a.Coming), "order"))
}

// tookNotes say of which suppliers the orders tell how long they take.
func (o *orderer) tookNotes() (out []string) {
	for _, s := range sortedKeys(o.took) {
		if l := o.took[s]; len(l) >= learnFrom {
			out = append(out, fmt.Sprintf("Deliveries of %s took %s, by %s.", s, leadWords(l), count(len(l), "order")))
		}
	}
	return out
}

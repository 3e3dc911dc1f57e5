package shop

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/reorder"
	"example.org/remelt/ledger/unit"
)

// OrderQuery asks what to buy. A zero field takes what its comment says.
type OrderQuery struct {
	Alloy   string      // this one only; all metals and supplies when empty
	Horizon int         // days to look ahead; 60
	Service *float64    // part of deliveries before which nothing runs out; 0.95
	Most    *ledger.PPM // returns in a charge at most; half of it
	Lead    *int        // delivery time in days; that of the offer, else 10
	Carry   *float64    // what keeping costs in a year, as a part of the value; 0.2
	Work    *int64      // what an order costs the shop itself, minor units; 25 of the currency
}

// Assumptions, for want of anything in the book that tells. Common practice, no source.
const (
	usualHorizon = 60
	usualService = 0.95
	usualMost    = ledger.Whole / 2
	usualLead    = 10
	usualCarry   = 0.2
	usualWork    = "25"
	curveLevel   = 0.9
)

// OrderAdvice is what to buy of one thing: an alloy's new metal, or a supply item.
type OrderAdvice struct {
	Alloy, Supply string
	InPieces      bool // of a supply: amounts are pieces
	Sentence      string
	Reasons       []string
	Why           []string // from whom, and why from them; among the reasons too
	Alternatives  []string

	Order    bool      // something should be ordered within the horizon
	By       time.Time // the day to order, at the latest
	Amount   int64     // milligrams or pieces, as offered
	Packs    int64     // of the offer; 0 when nothing is known of how it is sold
	Supplier string
	Offer    string // that it is bought by; "" when the last delivery tells
	Goods    int64  // minor units; 0 when no price is known
	Priced   bool

	Here, Returns ledger.Mass // usable new metal and returns that are not promised to others
	Short         int64       // of it for named heats
	Coming        []Expected  // of open orders
	Heats         []HeatNeed
	Point         reorder.Point
	Leads         []int // days that a delivery takes, each as likely
	LeadDays      int   // that deliveries keep, by the service asked for
	Curve         []reorder.Day
	Tried         *reorder.Replayed // the rule on the shop's own past; nil with too little of it
}

// HeatNeed is what a planned heat takes.
type HeatNeed struct {
	reorder.NetLine
	Date time.Time
}

// Surplus is metal that the shop will not melt soon.
type Surplus struct {
	Alloy    string
	Dross    bool // skimmings, by the metal believed to be in them
	Mass     ledger.Mass
	Sentence string
	Outlet   string // who pays best for it by an offer that holds; "" when nobody
	Offer    string // by which
	Worth    int64  // by that offer, else at the price last got for the like; 0 when none is known
}

// Orders is what to buy and what to sell.
type Orders struct {
	From     time.Time // day 0
	Currency string
	Service  float64
	Advice   []OrderAdvice // orders first, by their days
	Surplus  []Surplus
	Notes    []string // what was assumed
	Seq      int64
}

// AdviseOrders says what to buy now: for named heats first, and beyond them up to a
// reorder point from the shop's own past. See package reorder for the model.
func (s *Shop) AdviseOrders(ctx context.Context, q OrderQuery) (out Orders, err error) {
	said := q.Lead != nil
	if err := q.check(); err != nil {
		return out, err
	}
	asked := q.Alloy
	if asked != "" {
		if q.Alloy, _, err = s.ResolveAlloy(ctx, asked); err != nil {
			return out, err
		}
	}
	learned, heats, err := s.learned(ctx)
	if err != nil {
		return out, err
	}
	o := &orderer{OrderQuery: q, leadSaid: said, learned: learned, heats: heats, now: time.Now()}
	if s.Now != nil {
		o.now = s.Now()
	}
	if o.table, err = s.Table(ctx); err != nil {
		return out, err
	}
	err = s.view(ctx, func(r ledger.Reader) error { return o.read(r) })
	if err != nil {
		return out, err
	}
	return o.answer()
}

func (q *OrderQuery) check() error {
	bad := func(field string, v any, want string) error {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "OUT_OF_RANGE", Field: field, Value: fmt.Sprint(v), Want: want}
	}
	set(&q.Service, usualService)
	set(&q.Most, usualMost)
	set(&q.Lead, usualLead)
	set(&q.Carry, usualCarry)
	if q.Horizon == 0 {
		q.Horizon = usualHorizon
	}
	switch {
	case q.Horizon < 1 || q.Horizon > 365:
		return bad("horizon_days", q.Horizon, "must be between 1 and 365 days")
	case reorder.Service(*q.Service) != nil:
		return bad("service_percent", 100**q.Service, "must be above 0 and below 100 %: certainty would need endless stock")
	case *q.Most < 0 || *q.Most > ledger.Whole:
		return bad("most_returns_percent", *q.Most, "must be between 0 and 100 %")
	case *q.Lead < 0 || *q.Lead > 365:
		return bad("lead_days", *q.Lead, "must be between 0 and 365 days")
	case !(*q.Carry >= 0 && *q.Carry <= 10):
		return bad("carry_percent", 100**q.Carry, "must be between 0 and 1000 % a year")
	case q.Work != nil && *q.Work < 0:
		return bad("order_cost", *q.Work, "must not be negative")
	}
	return nil
}

func set[T any](p **T, usual T) {
	if *p == nil {
		*p = &usual
	}
}

func (o *orderer) answer() (out Orders, err error) {
	if o.Work == nil {
		work, _, err := unit.ParseMoney(usualWork, o.shop.Currency)
		if err != nil {
			return out, err
		}
		o.Work = &work
	}
	out = Orders{From: o.date(0), Currency: o.shop.Currency, Service: *o.Service, Seq: o.seq}
	for _, id := range o.alloys() {
		a, err := o.metal(id)
		if err != nil {
			return out, err
		}
		out.Advice = append(out.Advice, a)
	}
	if o.Alloy == "" {
		for _, l := range o.supplies {
			a, err := o.supply(l)
			if err != nil {
				return out, err
			}
			out.Advice = append(out.Advice, a)
		}
	}
	slices.SortStableFunc(out.Advice, func(a, b OrderAdvice) int {
		if a.Order != b.Order {
			return map[bool]int{true: -1, false: 1}[a.Order]
		}
		return a.By.Compare(b.By)
	})
	out.Surplus = o.surplus(out.Advice)
	out.Notes = o.notes()
	return out, nil
}

// alloys are those asked for: else all that are here, were used, or are planned.
func (o *orderer) alloys() (ids []string) {
	if o.Alloy != "" {
		return []string{o.Alloy}
	}
	seen := map[string]bool{}
	for _, p := range o.planned {
		seen[p.Alloy] = true
	}
	for id := range o.past.offers {
		seen[id] = true
	}
	for _, x := range o.current {
		if !x.Buys && x.Alloy != "" && isNew(x.Form) {
			seen[x.Alloy] = true
		}
	}
	for id := range o.past.uses {
		seen[id] = true
	}
	for key := range o.expected {
		if id, supply, _ := strings.Cut(key, "/"); supply == "" {
			seen[id] = true
		}
	}
	delete(seen, ledger.UnknownAlloy)
	for id := range seen {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	return ids
}

func (o *orderer) notes() []string {
	if o.leadSaid {
		return append([]string{fmt.Sprintf("A delivery is taken to last %s, whatever offers say.", count(*o.Lead, "day"))}, o.assumed()[1:]...)
	}
	return append(o.assumed(), o.tookNotes()...)
}

func (o *orderer) assumed() []string {
	return []string{
		fmt.Sprintf("A delivery is taken to last what its offer says, else %s; what three orders of a supplier took says more than either.", count(*o.Lead, "day")),
		fmt.Sprintf("A heat is taken to be charged as its charge is proposed: so that its molds run short with a chance of %s.", unit.FormatPercent(usualShort)),
		fmt.Sprintf("Returns may be up to %s of a charge; metal to be cleaned, set apart, spoken for others or a customer's own is not counted.", unit.FormatPercent(int64(*o.Most))),
		fmt.Sprintf("Prices and weights of pieces are those of an offer that holds, else of the last delivery; keeping metal is taken to cost %.4g %% of its value a year, an order %s of work.", 100**o.Carry, unit.FormatMoney(*o.Work, o.shop.Currency)),
	}
}

// orderError gives what package reorder refuses as the book's error.
func orderError(err error) error {
	if err == nil {
		return nil
	}
	return &ledger.Error{Class: ledger.ErrInvalid, Reason: "NOT_DETERMINED", Field: "alloy", Cause: err}
}

func count(n int, what string) string {
	if n == 1 || n == -1 {
		return fmt.Sprintf("%d %s", n, what)
	}
	if strings.HasSuffix(what, "y") && !strings.HasSuffix(what, "ay") {
		return fmt.Sprintf("%d %sies", n, strings.TrimSuffix(what, "y"))
	}
	return fmt.Sprintf("%d %ss", n, what)
}

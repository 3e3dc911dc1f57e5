package shop

import (
	"cmp"
	"math"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/reorder"
)

// orderer gathers what an answer about orders is made of. Days are counted from 1970 in
// the shop's time zone until they are given out, and from today then.
type orderer struct {
	OrderQuery
	learned  *loss.Model
	heats    []loss.Heat
	table    alloy.Table
	leadSaid bool // the delivery time was asked for
	now      time.Time
	zone     *time.Location
	today    int
	shop     ledger.Shop
	seq      int64
	stock    map[posKey]*Position
	lots     []ledger.LotView
	supplies []SupplyLine
	pots     []ledger.Pot
	planned  []plannedHeat
	filling  charge.Filling                // how much molds take beside their plans
	current  []ledger.Offer                // that hold today
	market   map[string]ledger.MarketPrice // alloy → the last price
	took     map[string][]int              // supplier → days its orders took
	expected map[string][]Expected         // "alloy/" or "/supply" → still to come
	late     map[string][]reorder.Arrival  // alloy → returns expected of heats in molds, days from today
	past     orderPast
}

type plannedHeat struct {
	ledger.Heat
	molds []charge.Mold // that wait to be poured
}

// delivery is the last that came of a supplier.
type delivery struct {
	supplier string
	day      int
	amount   int64
	pieces   int64
	minor    int64
	priced   bool
}

// got is what metal that left was sold for.
type got struct {
	day, minor, mass int64
}

// orderPast is what the log tells of buying and using.
type orderPast struct {
	first    int
	uses     map[string][]reorder.Use       // alloy → new metal charged, by heat
	offers   map[string]map[string]delivery // alloy → supplier
	spent    map[string][]reorder.Use       // supply → used
	received map[string]delivery            // supply
	sold     map[string]got                 // alloy; "dross/" before it for skimmings
	lags     []lag
	heats    map[string]*heatPast
	pourings map[string]int // crucible → heats
}

type lag struct {
	days int
	mass ledger.Mass
}

// heatPast is a heat as the log tells it.
type heatPast struct {
	ledger.Heat
	known, charged int
	new            map[string]ledger.Mass // alloy → new metal
	in, back, pigs ledger.Mass
}

func (o *orderer) day(t time.Time) int {
	y, m, d := t.In(o.zone).Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// date is a day from today.
func (o *orderer) date(day int) time.Time {
	y, m, d := o.now.In(o.zone).Date()
	return time.Date(y, m, d+day, 0, 0, 0, 0, o.zone)
}

func (o *orderer) read(r ledger.Reader) error {
	recs, err := r.Records(ledger.RecShop, "", "", 1)
	if err != nil {
		return err
	}
	if len(recs) == 0 {
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_SHOP", Field: "shop", Want: "no book of this shop; open one first"}
	}
	if err := recs[0].Into(&o.shop); err != nil {
		return err
	}
	if o.zone, err = time.LoadLocation(o.shop.TimeZone); err != nil {
		o.zone = time.UTC
	}
	o.today = o.day(o.now)
	head, err := r.Head()
	if err != nil {
		return err
	}
	o.seq = head.Seq
	if err := o.readPast(r); err != nil {
		return err
	}
	if err := o.readOffers(r); err != nil {
		return err
	}
	k := kept{r}
	o.stock, o.lots, o.planned, o.pots, o.late = map[posKey]*Position{}, nil, nil, nil, map[string][]reorder.Arrival{}
	if err := addLots(plain{k}, o.stock); err != nil {
		return err
	}
	if o.lots, err = lotsIn(k); err != nil {
		return err
	}
	if o.supplies, err = supplies(plain{k}); err != nil {
		return err
	}
	pots, err := k.records(ledger.RecPot, "")
	if err != nil {
		return err
	}
	for _, rec := range pots {
		var p ledger.Pot
		if err := rec.Into(&p); err != nil {
			return err
		}
		o.pots = append(o.pots, p)
	}
	if err := o.readOrders(k); err != nil {
		return err
	}
	if o.filling, _, err = learnedFilling(r); err != nil {
		return err
	}
	return o.readHeats(k)
}

// lotsIn are the lots that hold metal.
func lotsIn(k kept) (out []ledger.LotView, err error) {
	held, err := k.holdings(ledger.OfLot, ledger.RecLot)
	if err != nil {
		return nil, err
	}
	for _, h := range held {
		v := ledger.LotView{Mass: h.Mass}
		if err := h.Record.Into(&v.Lot); err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

// readHeats reads the heats to come and the returns of those that are in molds.
func (o *orderer) readHeats(k kept) error {
	for _, id := range sortedKeys(o.past.heats) {
		h := o.past.heats[id].Heat
		if h.Owner != "" {
			continue
		}
		switch h.State {
		case ledger.Planned:
			p := plannedHeat{Heat: h}
			molds, err := k.records(ledger.RecMold, ledger.OfHeat(id))
			if err != nil {
				return err
			}
			for _, rec := range molds {
				var m ledger.Mold
				if err := rec.Into(&m); err != nil {
					return err
				}
				if m.State == ledger.MoldPlanned && m.Metal+m.Gating > 0 {
					p.molds = append(p.molds, moldToFill(m))
				}
			}
			o.planned = append(o.planned, p)
		case ledger.Late:
			in, err := k.balance(ledger.Acct(ledger.InMolds, id))
			if err != nil {
				return err
			}
			back, err := expectedBack(plain{k}, id, in)
			if err != nil {
				return err
			}
			sawn, err := gatingOnCastings(plain{k}, id)
			if err != nil {
				return err
			}
			if back += sawn; back > 0 {
				on := max(1, o.day(h.Poured)+o.lag()-o.today)
				o.late[h.Alloy] = append(o.late[h.Alloy], reorder.Arrival{Day: on, Amount: int64(back)})
			}
		}
	}
	return nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

func isNew(f ledger.Form) bool { return f == ledger.Ingot || f == ledger.BoughtScrap }

// readPast folds the log.
func (o *orderer) readPast(r ledger.Reader) error {
	p := &o.past
	*p = orderPast{uses: map[string][]reorder.Use{}, offers: map[string]map[string]delivery{}, spent: map[string][]reorder.Use{},
		received: map[string]delivery{}, sold: map[string]got{}, heats: map[string]*heatPast{}, pourings: map[string]int{}}
	f := &orderFold{orderer: o, lots: map[string]ledger.Lot{}, kinds: map[int64]ledger.Kind{}}
	p.first = o.today
	if err := eachEntry(r, f.entry); err != nil {
		return err
	}
	for _, id := range sortedKeys(p.heats) {
		h := p.heats[id]
		if !h.Opened.IsZero() {
			p.pourings[h.Crucible]++
		}
		for _, a := range sortedKeys(h.new) {
			if m := int64(h.new[a]); m > 0 && h.Owner == "" {
				known := min(max(h.known, p.first), o.today)
				p.uses[a] = append(p.uses[a], reorder.Use{Known: known, Day: max(known, h.charged), Amount: m})
			}
		}
	}
	for _, b := range f.backs {
		if h := p.heats[b.heat]; h != nil && !h.Poured.IsZero() {
			p.lags = append(p.lags, lag{max(0, b.day-o.day(h.Poured)), b.mass})
		}
	}
	return nil
}

// youngDays is how long a book's past is taken to be at the least: what one heat of its
// first day took is not what each day takes. An assumption.
const youngDays = 56

// days is how long the book's past is.
func (o *orderer) days() int { return o.today + 1 - o.past.first }

// history is the past of some uses.
func (o *orderer) history(uses []reorder.Use) reorder.History {
	return reorder.History{From: min(o.past.first, o.today+1-youngDays), To: o.today + 1, Uses: uses}
}

// lag is the days within which three quarters of the returns, by mass, were weighed back;
// with none yet 14, an assumption.
func (o *orderer) lag() int {
	lags := slices.Clone(o.past.lags)
	total := ledger.Mass(0)
	for _, l := range lags {
		total += l.mass
	}
	if total <= 0 {
		return 14
	}
	slices.SortFunc(lags, func(a, b lag) int { return cmp.Compare(a.days, b.days) })
	sum := ledger.Mass(0)
	for _, l := range lags {
		if sum += l.mass; sum*4 >= total*3 {
			return l.days
		}
	}
	return 14
}

// habits are what settled heats of an alloy, else of all, have done with their charge.
type habits struct {
	back, pigs float64 // parts of the charge
	sd         float64 // of what was charged against what was planned, as a part
	heats      int
}

func (o *orderer) habits(id string) habits {
	for _, any := range []bool{false, true} {
		var in, back, pigs, ss float64
		n, planned := 0, 0.0
		for _, heat := range sortedKeys(o.past.heats) { // in order, so that sums are the same every time
			h := o.past.heats[heat]
			if h.State != ledger.Settled || h.in <= 0 || !any && h.Alloy != id {
				continue
			}
			n++
			in += h.in.Kg()
			back += h.back.Kg()
			pigs += h.pigs.Kg()
			if h.Charge > 0 {
				planned++
				x := h.in.Kg()/h.Charge.Kg() - 1
				ss += x * x
			}
		}
		if n >= 3 {
			return habits{max(0, min(back/in, 1)), max(0, min(pigs/in, 1)), min(math.Sqrt(ss/max(planned, 1)), 0.5), n}
		}
	}
	return habits{back: 0.4, sd: 0.05} // assumptions
}

package shop

import (
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
)

// costBuilder turns entries into events of cost.
type costBuilder struct {
	shop     ledger.Shop
	policies policies
	events   []cost.Event
	lots     map[string]ledger.Lot
	heats    map[string]ledger.Heat
	molds    map[string]ledger.Mold
	pots     map[string]ledger.Pot // heat → its crucible as it was when the heat was opened
	first    map[string]int        // heat → its first event
	proceeds map[string]int64
	foreign  int
	paid     map[int64]map[ledger.Account]int64 // by the entry that received it of an order
}

// readOrders takes in what an entry makes of purchase orders.
func readOrders(e *ledger.Entry, orders map[string]ledger.Order) error {
	for _, rec := range e.Records {
		if rec.Kind == ledger.RecOrder {
			var o ledger.Order
			if err := rec.Into(&o); err != nil {
				return err
			}
			orders[rec.ID] = o
		}
	}
	return nil
}

// paidByReceipt is what deliveries of orders cost. It is dealt anew when one of them
// turns out never to have been, so the order knows it and not the entry.
func paidByReceipt(orders map[string]ledger.Order) map[int64]map[ledger.Account]int64 {
	out := map[int64]map[ledger.Account]int64{}
	for _, o := range orders {
		for i := range o.Receipts {
			if r := &o.Receipts[i]; !r.Void {
				out[r.Entry] = o.Paid(r)
			}
		}
	}
	return out
}

// plan is what is known of a heat before anything of it happened.
func (b *costBuilder) plan(heat string, zone *time.Location) *cost.Plan {
	p := &cost.Plan{}
	if c, ok := b.policies.of(heat); ok {
		under := reckoned(c, zone)
		if h := b.heats[heat]; h.Expected != nil && learnedOf(c, h.Alloy) {
			under.Normal[h.Alloy] = int64(*h.Expected)
		}
		p.Under = &under
	} else if _, known := b.policies.opened[heat]; known {
		p.Under = &cost.Policy{Method: cost.ByLot}
	}
	for _, m := range b.molds {
		if m.Heat == heat && m.State != ledger.MoldUnused {
			p.Casting += int64(m.Metal)
			p.Gating += int64(m.Gating)
		}
	}
	return p
}

func (b *costBuilder) learn(e *ledger.Entry) error {
	for _, rec := range e.Records {
		var err error
		switch rec.Kind {
		case ledger.RecLot:
			var l ledger.Lot
			if err = rec.Into(&l); err == nil {
				was, known := b.lots[rec.ID]
				b.lots[rec.ID] = l
				if known && (was.Alloy != l.Alloy || was.Owner != l.Owner) { // it takes its cost along to what it is now
					at := b.place(ledger.Acct(ledger.OfLot, rec.ID))
					b.add(e, cost.Event{From: at, To: at})
				}
			}
		case ledger.RecHeat:
			var h ledger.Heat
			if err = rec.Into(&h); err == nil {
				b.heats[rec.ID] = h
			}
		case ledger.RecMold:
			var m ledger.Mold
			if err = rec.Into(&m); err == nil {
				b.molds[rec.ID] = m
			}
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (b *costBuilder) add(e *ledger.Entry, x cost.Event) {
	x.Seq, x.At = e.Seq, e.Happened
	for _, p := range []cost.Place{x.From, x.To} {
		if p.Kind == cost.Melt {
			if _, ok := b.first[p.ID]; !ok {
				b.first[p.ID] = len(b.events)
			}
		}
	}
	b.events = append(b.events, x)
}

func (b *costBuilder) entry(e *ledger.Entry) error {
	if err := b.learn(e); err != nil {
		return err
	}
	paid := map[ledger.Account]int64{}
	for _, c := range e.Costs {
		switch {
		case c.Currency != b.shop.Currency:
			b.foreign++
		case c.Account.Kind() == ledger.Left:
			b.proceeds[c.Account.Ref()] -= c.Minor
		case c.Account.Heat() != "":
			b.add(e, cost.Event{To: b.place(c.Account), Cost: c.Minor, What: string(e.Kind)})
		default:
			paid[c.Account] += c.Minor
		}
	}
	if of, ok := b.paid[e.Seq]; ok {
		paid = of
	}
	heat := ""
	if e.Kind == ledger.KindAdd {
		for _, rec := range e.Records {
			if rec.Kind == ledger.RecAddition {
				var a ledger.Addition
				if err := rec.Into(&a); err != nil {
					return err
				}
				heat = a.Heat
			}
		}
	}
	for _, supplies := range []bool{false, true} {
		for _, p := range pairs(e, supplies) {
			x := cost.Event{From: b.place(p.from), To: b.place(p.to), Mass: int64(p.mass), Charge: e.Kind == ledger.KindCharge}
			if x.From.Kind == cost.Outside {
				x.Cost = paid[p.to]
				if _, x.Priced = paid[p.to]; x.Priced { // what is given to twice bears it once
					paid[p.to] = 0
				}
			}
			if heat != "" && p.to.Kind() == ledger.Spent {
				x.To = b.place(ledger.Acct(ledger.InHeat, heat))
			}
			b.add(e, x)
		}
	}
	switch e.Kind {
	case ledger.KindOpenHeat:
		return b.open(e)
	case ledger.KindSettle:
		for _, rec := range e.Records {
			if rec.Kind == ledger.RecHeat {
				b.add(e, cost.Event{To: cost.Place{Kind: cost.Melt, ID: rec.ID}, Settle: true, Normal: cost.ByPolicy})
			}
		}
	case ledger.KindFinishPour:
		for _, rec := range e.Records {
			if rec.Kind == ledger.RecHeat {
				if c := b.policies.wear(rec.ID, b.crucible(rec.ID)); c != 0 {
					b.add(e, cost.Event{To: cost.Place{Kind: cost.Melt, ID: rec.ID}, Cost: c, What: "wear of the crucible"})
				}
			}
		}
	}
	return nil
}

// pair is an amount that went from one account to another.
type pair struct {
	from, to ledger.Account
	mass     ledger.Mass
}

// pairs are an entry's movements of metal, or of supplies: each giver is emptied in
// the order of the postings, of supplies within its item. What a casting gives to what
// its settled heat has unaccounted for was cut off it, and is metal of the heat again
// first; what is ground off stays on the casting.
func pairs(e *ledger.Entry, supplies bool) (out []pair) {
	var give, take []ledger.Posting
	for _, p := range e.Postings {
		switch {
		case p.Account.CountsSupplies() != supplies:
		case p.Mass < 0:
			p.Mass = -p.Mass
			give = append(give, p)
		default:
			take = append(take, p)
		}
	}
	for i := range give {
		for j := range take {
			if supplies && give[i].Account.Ref() != take[j].Account.Ref() {
				continue
			}
			if m := min(give[i].Mass, take[j].Mass); m > 0 {
				from, to := give[i].Account, take[j].Account
				if from.Kind() == ledger.OfCasting && to.Kind() == ledger.Unaccounted {
					molds := ledger.Acct(ledger.InMolds, to.Ref())
					out = append(out, pair{from, molds, m})
					from = molds
				}
				out = append(out, pair{from, to, m})
				give[i].Mass, take[j].Mass = give[i].Mass-m, take[j].Mass-m
			}
		}
	}
	return out
}

// place is what an account is to cost.
func (b *costBuilder) place(a ledger.Account) cost.Place {
	ref := a.Ref()
	switch a.Kind() {
	case ledger.OfLot:
		l := b.lots[ref]
		p := cost.Place{Kind: cost.Lot, ID: ref, Pool: l.Alloy, Owner: l.Owner}
		if l.Skim != nil {
			p.Kind = cost.Skimmings
		}
		return p
	case ledger.InHeat, ledger.InMolds:
		h := b.heats[ref]
		return cost.Place{Kind: cost.Melt, ID: ref, Pool: h.Alloy, Owner: h.Owner}
	case ledger.Heel:
		return cost.Place{Kind: cost.Heel, ID: "heel " + ref, Pool: "heel"}
	case ledger.OfCasting:
		return cost.Place{Kind: cost.Casting, ID: ref}
	case ledger.Oxide, ledger.Vapour, ledger.Spill, ledger.Kerf, ledger.Unaccounted:
		return cost.Place{Kind: cost.Lost, ID: ref}
	case ledger.Left:
		return cost.Place{Kind: cost.Gone, ID: ref}
	case ledger.Additive:
		return cost.Place{Kind: cost.Additive, ID: ref}
	case ledger.InSupply:
		return cost.Place{Kind: cost.Supply, ID: ref, Pool: ref}
	case ledger.Spent:
		return cost.Place{Kind: cost.Used, ID: ref}
	case ledger.Origin, ledger.Count:
		return cost.Place{Kind: cost.Found, ID: ref}
	}
	return cost.Place{Kind: cost.Outside, ID: ref}
}

// open keeps the crucible that a heat was opened in.
func (b *costBuilder) open(e *ledger.Entry) error {
	var h ledger.Heat
	if _, err := e.First(ledger.RecHeat, &h); err != nil {
		return err
	}
	for _, rec := range e.Records {
		if rec.Kind == ledger.RecPot && rec.ID == h.Crucible {
			var p ledger.Pot
			if err := rec.Into(&p); err != nil {
				return err
			}
			b.pots[h.ID] = p
		}
	}
	return nil
}

// crucible is a heat's; of one it was not opened in nothing is known but the name.
func (b *costBuilder) crucible(heat string) ledger.Pot {
	id := b.heats[heat].Crucible
	if p := b.pots[heat]; p.ID == id {
		return p
	}
	return ledger.Pot{ID: id}
}

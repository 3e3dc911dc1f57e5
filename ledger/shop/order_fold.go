package shop

import (
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/reorder"
)

// orderFold reads entries into an orderPast.
type orderFold struct {
	*orderer
	lots  map[string]ledger.Lot
	kinds map[int64]ledger.Kind // of the entries that may be reversed and matter
	backs []cameBack
}

type cameBack struct {
	heat string
	day  int
	mass ledger.Mass
}

func (f *orderFold) entry(e *ledger.Entry) error {
	day := f.day(e.Happened)
	f.past.first = min(f.past.first, day)
	if err := f.records(e, day); err != nil {
		return err
	}
	kind := e.Kind
	if e.Reverses != 0 { // its postings take the other's back
		kind = f.kinds[e.Reverses]
	}
	f.kinds[e.Seq] = kind
	switch kind {
	case ledger.KindCharge:
		f.charge(e, day)
	case ledger.KindReceive:
		f.receive(e, day)
	case ledger.KindReceiveOrder:
		f.receive(e, day)
		f.receiveSupply(e, day)
	case ledger.KindReceiveSupply:
		f.receiveSupply(e, day)
	case ledger.KindRemove:
		f.remove(e, day)
	case ledger.KindAdd, ledger.KindUseSupply:
		for _, p := range e.Postings {
			if p.Account.Kind() == ledger.Spent && p.Mass > 0 {
				known := min(max(day, f.past.first), f.today)
				f.past.spent[p.Account.Ref()] = append(f.past.spent[p.Account.Ref()], reorder.Use{Known: known, Day: known, Amount: int64(p.Mass)})
			}
		}
	default:
		f.back(e, day)
	}
	return nil
}

func (f *orderFold) records(e *ledger.Entry, day int) error {
	for _, r := range e.Records {
		switch r.Kind {
		case ledger.RecLot:
			var l ledger.Lot
			if err := r.Into(&l); err != nil {
				return err
			}
			f.lots[r.ID] = l
		case ledger.RecHeat:
			h := f.past.heats[r.ID]
			if h == nil {
				h = &heatPast{known: day, new: map[string]ledger.Mass{}}
				f.past.heats[r.ID] = h
			}
			h.Heat = ledger.Heat{}
			if err := r.Into(&h.Heat); err != nil {
				return err
			}
		}
	}
	return nil
}

func (f *orderFold) charge(e *ledger.Entry, day int) {
	var h *heatPast
	for _, p := range e.Postings {
		if p.Account.Kind() == ledger.InHeat {
			h = f.past.heats[p.Account.Ref()]
		}
	}
	if h == nil {
		return
	}
	if h.charged == 0 {
		h.charged = day
	}
	for _, p := range e.Postings {
		if p.Account.Kind() != ledger.OfLot {
			continue
		}
		h.in -= p.Mass
		if l := f.lots[p.Account.Ref()]; isNew(l.Form) && l.Owner == "" {
			h.new[l.Alloy] -= p.Mass
		}
	}
}

func (f *orderFold) receive(e *ledger.Entry, day int) {
	for _, p := range e.Postings {
		l, ok := f.lots[p.Account.Ref()]
		if p.Account.Kind() != ledger.OfLot || !ok || !isNew(l.Form) || l.Owner != "" || p.Mass <= 0 || len(l.From) == 0 || e.Reverses != 0 {
			continue
		}
		d := delivery{supplier: l.From[0].Account.Ref(), day: day, amount: int64(p.Mass), pieces: l.Pieces}
		if l.Price != nil && l.Price.InBook().Currency == f.shop.Currency {
			d.minor, d.priced = l.Price.InBook().Minor, true
		}
		by := f.past.offers[l.Alloy]
		if by == nil {
			by = map[string]delivery{}
			f.past.offers[l.Alloy] = by
		}
		if by[d.supplier].day <= day {
			by[d.supplier] = d
		}
	}
}

func (f *orderFold) receiveSupply(e *ledger.Entry, day int) {
	for _, p := range e.Postings {
		if p.Account.Kind() != ledger.InSupply || p.Mass <= 0 || e.Reverses != 0 {
			continue
		}
		d := delivery{day: day, amount: int64(p.Mass)}
		for _, c := range e.Costs {
			if c.Currency == f.shop.Currency && c.Account == p.Account {
				d.minor, d.priced = d.minor+c.Minor, true
			}
		}
		f.past.received[p.Account.Ref()] = d
	}
}

func (f *orderFold) remove(e *ledger.Entry, day int) {
	var g got
	what := ""
	for _, p := range e.Postings {
		if l, ok := f.lots[p.Account.Ref()]; ok && p.Account.Kind() == ledger.OfLot && p.Mass < 0 && l.Owner == "" {
			g.mass -= int64(p.Mass)
			if what = l.Alloy; l.Form == ledger.Skimmings {
				what = "dross/" + l.Alloy
			}
		}
	}
	for _, c := range e.Costs {
		if c.Currency == f.shop.Currency && c.Minor < 0 {
			g.minor -= c.Minor
		}
	}
	if g.mass > 0 && g.minor > 0 && e.Reverses == 0 {
		g.day = int64(day)
		f.past.sold[what] = g
	}
}

// back takes what a heat gave back to the shelves: gating, pigs, and what cleaning took
// off them again.
func (f *orderFold) back(e *ledger.Entry, day int) {
	var of []*heatPast
	var mass, pigs ledger.Mass
	for _, p := range e.Postings {
		switch p.Account.Kind() {
		case ledger.InMolds, ledger.InHeat:
			if h := f.past.heats[p.Account.Ref()]; h != nil && (len(of) == 0 || of[len(of)-1] != h) {
				of = append(of, h)
			}
		case ledger.OfLot:
			switch l := f.lots[p.Account.Ref()]; {
			case isNew(l.Form) || l.Form == ledger.Skimmings:
			case l.Form == ledger.Pig:
				pigs += p.Mass
				mass += p.Mass
			default:
				mass += p.Mass
			}
		}
	}
	if mass == 0 {
		return
	}
	for _, h := range of { // of several heats alike: what each gave is not told
		n := ledger.Mass(len(of))
		h.back += mass / n
		h.pigs += pigs / n
		if mass-pigs > 0 {
			f.backs = append(f.backs, cameBack{h.ID, day, (mass - pigs) / n})
		}
	}
}

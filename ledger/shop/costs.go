package shop

import (
	"context"
	"maps"
	"slices"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
)

// Costs is where the money of a shop's metal is, as the book knows it.
type Costs struct {
	*cost.Flow
	Currency string
	Seq      int64
	Proceeds map[string]int64 // got for lots that left, by how
	Foreign  int              // prices in another currency without a rate: taken for none
	heats    map[string]ledger.Heat
}

// Costs folds the whole book into cost. Metal and money are taken in the order they
// happened, so a late weigh-in or a correction changes the heats it is about.
func (s *Shop) Costs(ctx context.Context, at AsOf) (out Costs, err error) {
	err = s.Store.View(ctx, s.Book.Shop, func(r ledger.Reader) error {
		out, err = costsIn(r, at)
		return err
	})
	return out, err
}

func costsIn(r ledger.Reader, at AsOf) (out Costs, err error) {
	b := &costBuilder{lots: map[string]ledger.Lot{}, heats: map[string]ledger.Heat{}, plans: map[string]*cost.Plan{}, molds: map[string]ledger.Mold{}, first: map[string]int{}, proceeds: map[string]int64{}}
	head, err := r.Head()
	if err != nil {
		return out, err
	}
	if b.policies, err = b.costings(r); err != nil {
		return out, err
	}
	undone := map[int64]*ledger.Entry{} // what took an entry back, as the book knew it then
	if err := eachEntry(r, func(e *ledger.Entry) error {
		if e.Reverses != 0 && (at.Recorded.IsZero() || !e.Recorded.After(at.Recorded)) {
			undone[e.Reverses] = e
		}
		return nil
	}); err != nil {
		return out, err
	}
	if err := eachEntry(r, func(e *ledger.Entry) error {
		switch {
		case !at.includes(e):
			return nil
		case undone[e.Seq] != nil:
			return b.entry(leftOf(e, undone[e.Seq]))
		case e.Reverses != 0:
			return b.learn(e)
		}
		return b.entry(e)
	}); err != nil {
		return out, err
	}
	last := time.Time{}
	for i := range b.events {
		if b.events[i].At.After(last) {
			last = b.events[i].At
		}
	}
	for _, id := range slices.Sorted(maps.Keys(b.lots)) { // whatever the dates say, what it is now it is now
		at := b.place(ledger.Acct(ledger.OfLot, id))
		b.events = append(b.events, cost.Event{Seq: head.Seq + 1, At: last, From: at, To: at})
	}
	for id, i := range b.first { // what its molds are planned to hold, known before anything of it
		e := &b.events[i]
		b.events = append(b.events, cost.Event{Seq: e.Seq - 1, At: e.At, To: cost.Place{Kind: cost.Melt, ID: id}, Plan: b.plan(id)})
	}
	return Costs{Flow: cost.Follow(b.events, b.policies), Currency: b.shop.Currency, Seq: head.Seq, Proceeds: b.proceeds, Foreign: b.foreign, heats: b.heats}, nil
}

// leftOf is what is left of an entry and of the one that took it back: nothing, unless
// its metal had been used meanwhile and was found to have come from elsewhere.
func leftOf(e, back *ledger.Entry) *ledger.Entry {
	out := *e
	out.Postings, out.Costs, out.Kind = nil, nil, ledger.KindReverse
	for _, p := range append(slices.Clone(e.Postings), back.Postings...) {
		if i := slices.IndexFunc(out.Postings, func(o ledger.Posting) bool { return o.Account == p.Account }); i >= 0 {
			out.Postings[i].Mass += p.Mass
		} else {
			out.Postings = append(out.Postings, p)
		}
	}
	return &out
}

// costBuilder turns entries into events of cost.
type costBuilder struct {
	shop     ledger.Shop
	policies []cost.Policy
	wear     []ledger.Costing
	events   []cost.Event
	lots     map[string]ledger.Lot
	heats    map[string]ledger.Heat
	molds    map[string]ledger.Mold
	plans    map[string]*cost.Plan
	first    map[string]int // heat → its first event
	proceeds map[string]int64
	foreign  int
}

func (b *costBuilder) costings(r ledger.Reader) (out []cost.Policy, err error) {
	shops, err := r.Records(ledger.RecShop, "", "", 1)
	if err != nil {
		return nil, err
	}
	for _, rec := range shops {
		if err := rec.Into(&b.shop); err != nil {
			return nil, err
		}
	}
	zone, err := time.LoadLocation(b.shop.TimeZone)
	if err != nil {
		zone = time.UTC
	}
	recs, err := kept{r}.records(ledger.RecCosting, "")
	for _, rec := range recs {
		var c ledger.Costing
		if err := rec.Into(&c); err != nil {
			return nil, err
		}
		p := cost.Policy{From: c.From, Method: cost.Method(c.Method), Zone: zone, Recovered: map[string]cost.Rate{}, Skimmings: map[string]cost.Rate{}, Normal: map[string]int64{}}
		for _, x := range c.Recovered {
			p.Recovered[x.Alloy] = cost.Rate{Cost: x.PerTonne, Mass: int64(ledger.Tonne)}
		}
		for _, x := range c.Skimmings {
			p.Skimmings[x.Alloy] = cost.Rate{Cost: x.PerTonne, Mass: int64(ledger.Tonne)}
		}
		for _, x := range c.Normal {
			p.Normal[x.Alloy] = int64(x.PPM)
		}
		out = append(out, p)
		b.wear = append(b.wear, c)
	}
	return out, err
}

func (b *costBuilder) plan(heat string) *cost.Plan {
	p := &cost.Plan{}
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
			paid[c.Account] = c.Minor
		}
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
				x.Cost, x.Priced = paid[p.to], x.To.Pool == "" && !supplies
				if _, ok := paid[p.to]; ok {
					x.Priced = true
				}
			}
			if heat != "" && p.to.Kind() == ledger.Spent {
				x.To = b.place(ledger.Acct(ledger.InHeat, heat))
			}
			b.add(e, x)
		}
	}
	switch e.Kind {
	case ledger.KindSettle:
		for _, rec := range e.Records {
			if rec.Kind == ledger.RecHeat {
				b.add(e, cost.Event{To: cost.Place{Kind: cost.Melt, ID: rec.ID}, Settle: true, Normal: cost.ByPolicy})
			}
		}
	case ledger.KindFinishPour:
		for _, rec := range e.Records {
			if rec.Kind == ledger.RecHeat {
				if c := b.wears(b.heats[rec.ID].Crucible, e.Happened); c != 0 {
					b.add(e, cost.Event{To: cost.Place{Kind: cost.Melt, ID: rec.ID}, Cost: c, What: "wear of the crucible"})
				}
			}
		}
	}
	return nil
}

// wears is what a heat wears off a pot under the policy of a date.
func (b *costBuilder) wears(pot string, at time.Time) (minor int64) {
	for _, c := range b.wear { // by id, which is the date
		if c.From.After(at) {
			break
		}
		minor = 0
		for _, w := range c.Wear {
			if w.Pot == pot {
				minor = w.Minor
			}
		}
	}
	return minor
}

// pair is an amount that went from one account to another.
type pair struct {
	from, to ledger.Account
	mass     ledger.Mass
}

// pairs are an entry's movements of metal, or of supplies: each giver is emptied in
// the order of the postings, of supplies within its item.
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
				out = append(out, pair{give[i].Account, take[j].Account, m})
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
		p := cost.Place{Kind: cost.Lot, ID: ref, Pool: l.Alloy}
		if l.Skim != nil {
			p.Kind = cost.Skimmings
		}
		if l.Owner != "" {
			p.Pool = ""
		}
		return p
	case ledger.InHeat, ledger.InMolds:
		h := b.heats[ref]
		p := cost.Place{Kind: cost.Melt, ID: ref, Pool: h.Alloy}
		if h.Owner != "" {
			p.Pool = ""
		}
		return p
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

// Statement is a period's money: Opening + In = Out + Closing, line by line.
type Statement struct {
	From, To         time.Time
	Opening, Closing cost.Where
	Adjusted         []ClosedAgain // closed periods that would be reported otherwise now
	Currency         string
	Seq              int64
}

// Figures are the lines of the statement: what came in, and where it went.
func (s Statement) Figures() []ledger.ClosedLine {
	d := func(f func(cost.Where) int64) int64 { return f(s.Closing) - f(s.Opening) }
	here := func(w cost.Where) int64 { return w.Stock + w.Supplies + w.InProcess + w.Castings }
	return []ledger.ClosedLine{
		{Name: "opening", Minor: here(s.Opening)},
		{Name: "bought and spent", Minor: d(func(w cost.Where) int64 { return w.In })},
		{Name: "castings that left", Minor: d(func(w cost.Where) int64 { return w.Shipped })},
		{Name: "lots that left", Minor: d(func(w cost.Where) int64 { return w.Left })},
		{Name: "abnormal loss", Minor: d(func(w cost.Where) int64 { return w.Abnormal })},
		{Name: "differences and supplies used", Minor: d(func(w cost.Where) int64 { return w.Expensed })},
		{Name: "metal in stock", Minor: s.Closing.Stock},
		{Name: "supplies in stock", Minor: s.Closing.Supplies},
		{Name: "in process", Minor: s.Closing.InProcess},
		{Name: "castings here", Minor: s.Closing.Castings},
	}
}

// ClosedAgain is a closed period beside what the book says of it now.
type ClosedAgain struct {
	ledger.Closed
	Now []ledger.ClosedLine
}

// Changed reports whether any figure differs.
func (c ClosedAgain) Changed() bool { return !slices.Equal(c.Figures, c.Now) }

// CostStatement is a period's money, and the closed periods that later facts changed.
func (s *Shop) CostStatement(ctx context.Context, from, to time.Time) (out Statement, err error) {
	if !from.Before(to) {
		return out, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PERIOD", Field: "end_time", Value: to.Format(time.RFC3339), Want: "must be after the start"}
	}
	err = s.Store.View(ctx, s.Book.Shop, func(r ledger.Reader) error {
		if out, err = statementIn(r, from, to); err != nil {
			return err
		}
		recs, err := kept{r}.records(ledger.RecClosed, "")
		if err != nil {
			return err
		}
		for _, rec := range recs {
			var c ledger.Closed
			if err := rec.Into(&c); err != nil {
				return err
			}
			now, err := statementIn(r, c.From, c.To)
			if err != nil {
				return err
			}
			if again := (ClosedAgain{c, now.Figures()}); again.Changed() {
				out.Adjusted = append(out.Adjusted, again)
			}
		}
		return nil
	})
	return out, err
}

func statementIn(r ledger.Reader, from, to time.Time) (out Statement, err error) {
	opening, err := costsIn(r, AsOf{Happened: from.Add(-time.Nanosecond)})
	if err != nil {
		return out, err
	}
	closing, err := costsIn(r, AsOf{Happened: to.Add(-time.Nanosecond)})
	return Statement{From: from, To: to, Opening: opening.Where(), Closing: closing.Where(), Currency: closing.Currency, Seq: closing.Seq}, err
}

// CloseMonth closes a period with the figures of now.
func (s *Shop) CloseMonth(ctx context.Context, m ledger.Meta, from, to time.Time) (*ledger.Entry, error) {
	st, err := s.CostStatement(ctx, from, to)
	if err != nil {
		return nil, err
	}
	return s.ClosePeriod(ctx, m, ledger.ClosePeriod{From: from, To: to}, st.Figures(), st.Seq)
}

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
}

// Costs folds the whole book into cost. Metal and money are taken in the order they
// happened, so a late weigh-in or a correction changes the heats it is about.
func (s *Shop) Costs(ctx context.Context, at AsOf) (out Costs, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		out, err = costsIn(r, at)
		return err
	})
	return out, err
}

func costsIn(r ledger.Reader, at AsOf) (out Costs, err error) {
	b := &costBuilder{policies: policies{versions: map[string][]policy{}, settled: map[string]int64{}, opened: map[string]time.Time{}},
		lots: map[string]ledger.Lot{}, heats: map[string]ledger.Heat{}, molds: map[string]ledger.Mold{}, pots: map[string]ledger.Pot{}, first: map[string]int{}, proceeds: map[string]int64{}}
	head, err := r.Head()
	if err != nil {
		return out, err
	}
	if b.shop, err = shopIn(r); err != nil {
		return out, err
	}
	undone := map[int64]*ledger.Entry{} // what took an entry back, as the book knew it then
	orders := map[string]ledger.Order{}
	if err := eachEntry(r, func(e *ledger.Entry) error {
		if !(AsOf{Recorded: at.Recorded, through: at.through}).includes(e) {
			return nil
		}
		if e.Reverses != 0 {
			undone[e.Reverses] = e
		}
		if err := readOrders(e, orders); err != nil {
			return err
		}
		return b.policies.learn(e)
	}); err != nil {
		return out, err
	}
	b.paid = paidByReceipt(orders)
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
	zone := zoneOf(b.shop)
	for id := range b.first {
		b.events = append(b.events, cost.Event{At: last, To: cost.Place{Kind: cost.Melt, ID: id}, Plan: b.plan(id, zone)})
	}
	return Costs{Flow: cost.Follow(b.events, b.policies.all(zone)), Currency: b.shop.Currency, Seq: head.Seq, Proceeds: b.proceeds, Foreign: b.foreign}, nil
}

func shopIn(r ledger.Reader) (s ledger.Shop, err error) {
	recs, err := r.Records(ledger.RecShop, "", "", 1)
	for _, rec := range recs {
		if err := rec.Into(&s); err != nil {
			return s, err
		}
	}
	return s, err
}

func zoneOf(s ledger.Shop) *time.Location {
	zone, err := time.LoadLocation(s.TimeZone)
	if err != nil {
		return time.UTC
	}
	return zone
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

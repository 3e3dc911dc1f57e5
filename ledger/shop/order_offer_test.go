package shop_test

import (
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// forHeat is a shop with two ingots of 5 kg and 100 kg of cups here, and a heat of 40 kg in
// 20 days: 10 kg of new metal are missing, 11.6 with the margin at 95 %.
func forHeat(t *testing.T) *ledgertest.Shop {
	t.Helper()
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.SetParty(ctx, m, ledger.Party{ID: "calder", Name: "Calder Ingot", Roles: []string{ledger.RoleSupplier}}))
	two := ledgertest.Net(10_000)
	two.Pieces = 2
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: two, Price: "9.00 USD/kg"}))
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Cup, Weighing: ledgertest.Net(100_000)}))
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "41", Alloy: "C87300", Planned: b.Now.AddDate(0, 0, 20), Charge: ledgertest.Grams(40_000),
		Molds: []ledger.MoldPlan{{Name: "heron", Metal: ledgertest.Grams(18_000), Gating: ledgertest.Grams(14_000)}}}))
	return b
}

func keepOffer(b *ledgertest.Shop, party string, lead int, change func(*ledger.NewOffer), prices ...string) {
	o := ledger.NewOffer{Party: party, Alloy: "C87300", LeadDays: &lead, Piece: ledgertest.Grams(5_000)}
	for i, p := range prices {
		x := ledger.NewOfferBreak{Price: p}
		if i > 0 {
			x.From = ledgertest.Grams(20_000 * int64(i))
		}
		o.Breaks = append(o.Breaks, x)
	}
	if change != nil {
		change(&o)
	}
	b.Do(b.KeepOffer(ctx, ledger.Meta{}, o))
}

func says(t *testing.T, where string, all []string, want string) {
	t.Helper()
	if !strings.Contains(strings.Join(all, "\n"), want) {
		t.Errorf("%s: %q says nothing of %q", where, all, want)
	}
}

func bought(t *testing.T, a shop.OrderAdvice, supplier, offer string, packs, minor int64, daysBefore float64) {
	t.Helper()
	before := a.Heats[0].Date.Sub(a.By).Hours() / 24
	if !a.Order || a.Supplier != supplier || a.Offer != offer || a.Packs != packs || a.Goods != minor || before < daysBefore-0.1 || before > daysBefore+0.1 {
		t.Errorf("%d packs of %s by offer %q for %d, %.0f days before: %s", a.Packs, a.Supplier, a.Offer, a.Goods, before, a.Sentence)
	}
}

// The figures are multiplied by hand.
func TestOrderByTheBestOffer(t *testing.T) {
	b := forHeat(t)
	a := advise(t, b, shop.OrderQuery{})
	bought(t, a, "northmetal", "", 3, 13_500, 10)
	says(t, "as delivered", a.Reasons, "no offer of northmetal holds: taken as its last delivery on 2 Mar 2026, and 10 days to come")

	// A bundle of four at 8.50, 170.00 with 30.00 of freight, is dearer than three at 9.00.
	keepOffer(b, "calder", 7, func(o *ledger.NewOffer) { o.Bundle, o.Freight = 4, "30.00 USD" }, "8.50 USD/kg")
	a = advise(t, b, shop.OrderQuery{})
	bought(t, a, "northmetal", "", 3, 13_500, 10)
	says(t, "the dearer", a.Alternatives, "1 bundle of 4 ingots (20.0 kg) of calder: 200.00 USD, offer 1, 7 days to come")

	// The supplier's own offer replaces its delivery, with its own days; the break at 20 kg
	// is named, and not worth it: 160.00 for four.
	keepOffer(b, "northmetal", 3, nil, "9.10 USD/kg", "8.00 USD/kg")
	b.Do(b.KeepMarketPrices(ctx, ledger.Meta{}, ledger.MarketPrices{Prices: []ledger.MarketPrice{{Metal: "C87300", Day: "2026-02-27", Price: "8.00 EUR/kg at 1.25 USD/EUR"}}}))
	a = advise(t, b, shop.OrderQuery{})
	bought(t, a, "northmetal", "2", 3, 13_650, 3)
	says(t, "by offer", a.Reasons, "offer 2 of northmetal since 2 Mar 2026: 9.10 USD/kg, 3 days to come")
	says(t, "by offer", a.Reasons, "it costs least of 2 that could deliver")
	says(t, "by offer", a.Reasons, "9.0 % below the market's 8.00 EUR/kg at 1.25 USD/EUR of 27 Feb 2026") // 9.10 of 10.00
	says(t, "by offer", a.Alternatives, "the next price break, 4 ingots (20.0 kg): 160.00 USD")

	// A delivery time that was asked for stands above those of offers.
	asked := 5
	bought(t, advise(t, b, shop.OrderQuery{Lead: &asked}), "northmetal", "2", 3, 13_650, 5)

	// What comes too late for the heat is only an alternative.
	keepOffer(b, "northmetal", 30, nil, "7.00 USD/kg")
	a = advise(t, b, shop.OrderQuery{})
	bought(t, a, "calder", "1", 1, 20_000, 7)
	says(t, "in time", a.Alternatives, "3 ingots (15.0 kg) of northmetal: 105.00 USD, offer 3, 30 days to come, too late for a planned heat")

	// The least order counts.
	keepOffer(b, "northmetal", 3, func(o *ledger.NewOffer) { o.Least = ledgertest.Grams(22_000) }, "7.00 USD/kg")
	bought(t, advise(t, b, shop.OrderQuery{}), "northmetal", "4", 5, 17_500, 3)
	// One day off either way: at 95 % the slower one is reckoned with.
	keepOffer(b, "northmetal", 4, func(o *ledger.NewOffer) { o.LeadOff = 1 }, "7.00 USD/kg")
	bought(t, advise(t, b, shop.OrderQuery{}), "northmetal", "5", 3, 10_500, 5)

	// When it has run out the last delivery tells again.
	keepOffer(b, "northmetal", 3, func(o *ledger.NewOffer) { o.From, o.Until = "2026-03-02", "2026-03-03" }, "7.00 USD/kg")
	b.Now = b.Now.AddDate(0, 0, 2)
	bought(t, advise(t, b, shop.OrderQuery{}), "northmetal", "", 3, 13_500, 10)
}

// Another alloy that may go into the charge is named with what its cheapest offer asks for
// as much, 15 kg; one of another family, or that only somebody buys, is not.
func TestOtherAlloysAreOffered(t *testing.T) {
	b := forHeat(t)
	of := func(alloy, price string, buys bool) {
		o := ledger.NewOffer{Party: "calder", Alloy: alloy, Buys: buys, Breaks: []ledger.NewOfferBreak{{Price: price}}}
		if !buys {
			o.Piece = ledgertest.Grams(5_000)
		}
		b.Do(b.KeepOffer(ctx, ledger.Meta{}, o))
	}
	of("C87200", "8.00 USD/kg", false)
	of("C83600", "7.00 USD/kg", false)
	of("C87600", "7.00 USD/kg", true)
	a := advise(t, b, shop.OrderQuery{Alloy: "C87300"})
	says(t, "another alloy", a.Alternatives, "instead of some of it 3 ingots (15.0 kg) of C87200 of calder: 120.00 USD, offer 1, 10 days to come: same family (silicon bronze)")
	if all := strings.Join(a.Alternatives, "\n"); strings.Contains(all, "C83600") || strings.Contains(all, "C87600") {
		t.Errorf("%s", all)
	}
}

// 100 kg of cups are here, the planned heat takes 20 of them and nothing was ever melted, so
// 80 are surplus.
func TestSurplusHasAnOutlet(t *testing.T) {
	b := forHeat(t)
	buys := func(party string, form ledger.Form, least int64, breaks ...ledger.NewOfferBreak) {
		b.Do(b.KeepOffer(ctx, ledger.Meta{}, ledger.NewOffer{Party: party, Buys: true, Alloy: "C87300", Form: form, Least: ledgertest.Grams(least * 1000), Breaks: breaks}))
	}
	surplus := func() shop.Surplus {
		o, err := b.AdviseOrders(ctx, shop.OrderQuery{Alloy: "C87300"})
		if err != nil || len(o.Surplus) != 1 {
			t.Fatalf("%+v, %v", o.Surplus, err)
		}
		return o.Surplus[0]
	}
	if o, err := b.AdviseOrders(ctx, shop.OrderQuery{Alloy: "C87300"}); err != nil || len(o.Surplus) > 0 {
		t.Errorf("a book of a few days knows of a surplus: %+v, %v", o.Surplus, err)
	}
	b.Now = b.Now.AddDate(0, 0, 100)
	says(t, "nobody", []string{surplus().Sentence}, "the book knows no price")
	buys("calder", ledger.Skimmings, 0, ledger.NewOfferBreak{Price: "9.90 USD/kg"}) // of something else
	buys("calder", "", 100, ledger.NewOfferBreak{From: ledgertest.Grams(100_000), Price: "3.00 USD/kg"})
	says(t, "too little", []string{surplus().Sentence}, "calder takes it from 100.0 kg on")
	buys("northmetal", "", 0, ledger.NewOfferBreak{Price: "2.10 USD/kg"}, ledger.NewOfferBreak{From: ledgertest.Grams(80_000), Price: "2.20 USD/kg"})
	if s := surplus(); s.Mass.Kg() != 80 || s.Outlet != "northmetal" || s.Worth != 17_600 {
		t.Errorf("%+v", s)
	} else {
		says(t, "sold", []string{s.Sentence}, "80.0 kg of returns of C87300 is more than half a year of heats takes: northmetal pays 176.00 USD for it (offer 3: 2.20 USD/kg)")
	}
}

// A supply is ordered by its offer too: whole boxes of ten.
func TestSupplyByOffer(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.SetSupply(ctx, ledger.Meta{}, ledger.Supply{ID: "tablets", Name: "degassing tablets", Purpose: "degasser", InPieces: true, OrderBelow: 12}))
	b.Do(b.KeepOffer(ctx, ledger.Meta{}, ledger.NewOffer{Party: "northmetal", Supply: "tablets", Bundle: 10, Breaks: []ledger.NewOfferBreak{{Price: "1.10 USD/pc"}}}))
	o, err := b.AdviseOrders(ctx, shop.OrderQuery{})
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range o.Advice {
		if a.Supply == "tablets" {
			says(t, "supply", []string{a.Sentence}, "Order 2 bundles of 10 pieces of degassing tablets today from northmetal, 22.00 USD")
			return
		}
	}
	t.Error("no advice on tablets")
}

// One delivery or offer with a slipped unit does not keep the shop from hearing what to buy.
func TestOrderBesideOddPieces(t *testing.T) {
	b := forHeat(t)
	dust := ledgertest.Net(0)
	dust.Net.Mass, dust.Pieces = 1, 2
	b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "calder", Alloy: "C87300", Form: ledger.Ingot, Weighing: dust, Price: "0.01 USD"}))
	keepOffer(b, "northmetal", 7, func(o *ledger.NewOffer) { o.Piece = ledger.Quantity{Mass: 1} }, "9.00 USD/kg")
	o, err := b.AdviseOrders(ctx, shop.OrderQuery{})
	if err != nil || len(o.Advice) == 0 || !o.Advice[0].Order || o.Advice[0].Amount < o.Advice[0].Short {
		t.Errorf("%v: %+v", err, o.Advice)
	}
}

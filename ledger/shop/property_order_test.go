package shop_test

import (
	"fmt"
	"math/big"
	"slices"
	"time"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// asked are prices as suppliers ask them, dearest first, and what a kilogram is in
// hundredths of a US dollar: 1 lb = 0.45359237 kg, 1 EUR = 1.25 USD.
var asked = [][]struct {
	typed string
	cents *big.Rat
}{
	{{"9.99 USD/kg", big.NewRat(999, 1)}, {"9.01 USD/kg", big.NewRat(901, 1)}, {"8.77 USD/kg", big.NewRat(877, 1)}},
	{{"7.50 EUR/kg at 1.25 USD/EUR", big.NewRat(9375, 10)}, {"7.33 EUR/kg at 1.25 USD/EUR", big.NewRat(91625, 100)}, {"7.32 EUR/kg at 1.25 USD/EUR", big.NewRat(915, 1)}},
	{{"4.44 USD/lb", big.NewRat(444_00000000, 45359237)}, {"4.43 USD/lb", big.NewRat(443_00000000, 45359237)}, {"3.33 USD/lb", big.NewRat(333_00000000, 45359237)}},
}

func (d *day) orderActions() map[string]func(*rapid.T) {
	alloy := func() string { return rapid.SampledFrom([]string{"C87300", "C87300", "C83600"}).Draw(d.r, "alloy") }
	return map[string]func(*rapid.T){
		"offer": func(*rapid.T) {
			lead := rapid.IntRange(0, 20).Draw(d.r, "lead")
			c := ledger.NewOffer{Party: rapid.SampledFrom([]string{"northmetal", "calder"}).Draw(d.r, "party"), Alloy: alloy(), LeadDays: &lead,
				Freight: rapid.SampledFrom([]string{"", "33.33 USD"}).Draw(d.r, "freight"), Piece: ledgertest.Grams(rapid.SampledFrom([]int64{0, 4_999, 10_433}).Draw(d.r, "piece")),
				Buys: rapid.IntRange(0, 3).Draw(d.r, "buys") == 0}
			if c.Piece.Mass > 0 {
				c.Bundle = rapid.Int64Range(0, 4).Draw(d.r, "bundle")
			}
			prices := rapid.SampledFrom(asked).Draw(d.r, "prices")
			if c.Buys {
				prices = slices.Clone(prices)
				slices.Reverse(prices)
			}
			for i := range rapid.IntRange(1, 3).Draw(d.r, "breaks") {
				c.Breaks = append(c.Breaks, ledger.NewOfferBreak{From: ledgertest.Grams(int64(i) * 30_000), Price: prices[i].typed})
			}
			if rapid.IntRange(0, 3).Draw(d.r, "ends") == 0 {
				c.Until = d.Now.AddDate(0, 0, 1).Format(time.DateOnly)
			}
			d.did(d.KeepOffer(ctx, d.meta(), c))
		},
		"withdraw offer": func(*rapid.T) {
			d.did(d.WithdrawOffer(ctx, d.meta(), ledger.WithdrawOffer{Offer: fmt.Sprint(rapid.IntRange(1, 5).Draw(d.r, "offer"))}))
		},
		"market price": func(*rapid.T) {
			d.did(d.KeepMarketPrices(ctx, d.meta(), ledger.MarketPrices{Prices: []ledger.MarketPrice{{Metal: alloy(), Day: d.Now.Format(time.DateOnly),
				Price: rapid.SampledFrom(asked).Draw(d.r, "prices")[0].typed}}}))
		},
		"plan for later": func(*rapid.T) {
			d.did(d.PlanHeat(ctx, d.meta(), ledger.PlanHeat{Alloy: alloy(), Charge: ledgertest.Grams(rapid.Int64Range(1, 90_000).Draw(d.r, "charge")),
				Planned: d.Now.AddDate(0, 0, rapid.IntRange(0, 40).Draw(d.r, "days"))}))
		},
	}
}

// buying checks what is advised against the offers themselves: whole packs of one that
// holds, at its price for so much with its freight, and no less than planned heats miss.
func (d *day) buying() (byOffer int) {
	offers, err := d.OffersOn(ctx, "", d.Now.Format(time.DateOnly))
	if err != nil {
		d.r.Fatal(err)
	}
	got, err := d.AdviseOrders(ctx, shop.OrderQuery{})
	if err != nil {
		d.r.Fatal(err)
	}
	for _, a := range got.Advice {
		for _, x := range a.Curve {
			if x.Low > x.Middle || x.Middle > x.High {
				d.r.Fatalf("%s: low %d, middle %d, high %d", a.Sentence, x.Low, x.Middle, x.High)
			}
		}
		if !a.Order {
			continue
		}
		if a.Amount <= 0 || a.Amount < a.Short {
			d.r.Fatalf("%d are short: %s", a.Short, a.Sentence)
		}
		if a.Offer == "" {
			continue
		}
		byOffer++
		i := slices.IndexFunc(offers, func(o ledger.Offer) bool { return o.ID == a.Offer })
		if i < 0 || offers[i].Buys || offers[i].Party != a.Supplier || offers[i].Alloy != a.Alloy {
			d.r.Fatalf("by offer %s, of those that hold %+v: %s", a.Offer, offers, a.Sentence)
		}
		o := offers[i]
		if pack := int64(o.Piece.Mass) * max(o.Bundle, 1); pack > 0 && a.Amount != a.Packs*pack {
			d.r.Fatalf("%d mg are %d packs of %d: %s", a.Amount, a.Packs, pack, a.Sentence)
		}
		freight := int64(0)
		if o.Freight != nil {
			freight = 33_33
		}
		if want := exactly(o, a.Amount); !within(a.Goods-freight, want) {
			d.r.Fatalf("%d for %d mg with %d of freight, the goods are %s: %s", a.Goods, a.Amount, freight, want.FloatString(3), a.Sentence)
		}
	}
	return byOffer
}

// exactly is what so much costs by the last price of an offer that holds for it.
func exactly(o ledger.Offer, mg int64) *big.Rat {
	cents := new(big.Rat)
	for _, b := range o.Breaks {
		for _, prices := range asked {
			for _, p := range prices {
				if int64(b.From.Mass) <= mg && p.typed == b.Price.Typed {
					cents = p.cents
				}
			}
		}
	}
	return new(big.Rat).Mul(cents, big.NewRat(mg, 1_000_000))
}

// within reports whether an amount is the whole one next to an exact one.
func within(minor int64, exact *big.Rat) bool {
	off := new(big.Rat).Sub(new(big.Rat).SetInt64(minor), exact)
	return off.Abs(off).Cmp(big.NewRat(1, 2)) <= 0
}

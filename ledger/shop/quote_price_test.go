package shop_test

import (
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// needing is a shop with an offer of 5 kg ingots by calder, and a commission of one bell
// that takes 60 kg beside what is lost.
func needing(t *testing.T) *ledgertest.Shop {
	t.Helper()
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.SetParty(ctx, m, ledger.Party{ID: "calder", Name: "Calder Ingot", Roles: []string{ledger.RoleSupplier}}))
	b.Do(b.SetCommission(ctx, m, ledger.Commission{ID: "bell", Title: "A bell",
		Patterns: []ledger.Pattern{{Name: "bell", Alloy: "C87300", Copies: 1, Metal: ledger.Range{Typed: "40 kg"}, Gating: ledger.Range{Typed: "20 kg"}}}}))
	return b
}

// quotedPrice is what a quote says of the price of its metal.
func quotedPrice(t *testing.T, b *ledgertest.Shop) (ledger.QuoteMetal, int64) {
	t.Helper()
	q := lastQuote(t, b.Do(b.MakeQuote(ctx, ledger.Meta{}, ledger.MakeQuote{Commission: "bell"})))
	m := q.Basis.Metals[0]
	// What is charged so that 60 kg are left, as the quote itself rounds it.
	return m, (60_000_000*1_000_000 + (1_000_000-m.Loss.Likely)/2) / (1_000_000 - m.Loss.Likely)
}

// The price of metal comes from stock while it is enough, then from offers for what is
// missing, then from the market or the last delivery, whichever is newer. By hand.
func TestQuotePricesWhatIsMissing(t *testing.T) {
	b := needing(t)
	m := ledger.Meta{}
	is := func(got ledger.QuoteMetal, low, likely, high int64, source string) {
		t.Helper()
		if got.Price.Low != low || got.Price.Likely != likely || got.Price.High != high || got.Source != source {
			t.Errorf("%+v from %q, want %d..%d..%d from %q", got.Price, got.Source, low, likely, high, source)
		}
	}
	market := func(day, price string) {
		b.Do(b.KeepMarketPrices(ctx, m, ledger.MarketPrices{Prices: []ledger.MarketPrice{{Metal: "C87300", Day: day, Price: price}}}))
	}

	// Nothing but the market's price: 8.00 EUR at 1.25 is 10.00 USD.
	market("2026-02-27", "8.00 EUR/kg at 1.25 USD/EUR")
	got, _ := quotedPrice(t, b)
	is(got, 1_000_000, 1_000_000, 1_000_000, "at the market's price of 27 Feb 2026")

	// An offer: between 61 and 65 kg are 13 ingots, 65 kg; from 40 kg on 8.00 a kilogram, 520.00,
	// and 32.50 of freight are 552.50, 8.50 a kilogram. The dearer one is 9.00 a kilogram.
	keepOffer(b, "calder", 7, func(o *ledger.NewOffer) { o.Freight = "32.50 USD" }, "9.00 USD/kg", "8.50 USD/kg", "8.00 USD/kg")
	keepOffer(b, "northmetal", 7, nil, "9.00 USD/kg")
	b.Do(b.KeepOffer(ctx, m, ledger.NewOffer{Party: "calder", Buys: true, Alloy: "C87300", // what an outlet pays is no price to buy at
		Breaks: []ledger.NewOfferBreak{{Price: "2.00 USD/kg"}, {From: ledgertest.Grams(50_000), Price: "3.00 USD/kg"}}}))
	got, charge := quotedPrice(t, b)
	if charge <= 60*1_000_000 || charge > 65*1_000_000 {
		t.Fatalf("it takes %d mg", charge)
	}
	is(got, 850_000, 850_000, 900_000, "by offer 1 of calder since 2 Mar 2026")

	// 20 kg of new metal at 7.00 and 100 kg of cups, of which half the charge may be used: what
	// is missing, 10 to 12.5 kg, is 3 ingots of northmetal at 9.00; calder's would be at 9.00
	// too, with the freight on 15 kg 11.166… a kilogram.
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: ledgertest.Net(20_000), Price: "7.00 USD/kg"}))
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Cup, Weighing: ledgertest.Net(100_000)}))
	got, charge = quotedPrice(t, b)
	have := 20_000_000 + charge/2
	blend := func(stock, order int64) int64 { return (have*stock + (charge-have)*order + charge/2) / charge }
	for _, x := range [][2]int64{{got.Price.Low, blend(700_000, 900_000)}, {got.Price.Likely, blend(700_000, 900_000)}, {got.Price.High, blend(700_000, 1_116_667)}} {
		if d := x[0] - x[1]; d < -1 || d > 1 { // two parts, each rounded
			t.Errorf("%+v: %d, not %d", got.Price, x[0], x[1])
		}
	}

	// A little more of it and stock is enough: as it was paid last, the year's prices beside it.
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: ledgertest.Net(15_000), Price: "7.50 USD/kg"}))
	got, _ = quotedPrice(t, b)
	is(got, 700_000, 750_000, 750_000, "as paid last on 2 Mar 2026")

	// Without enough of it and without offers, the newer of the last delivery and the market.
	b.Now = b.Now.AddDate(0, 0, 3)
	market("2026-03-04", "9.90 USD/kg")
	b.Do(b.SetCommission(ctx, m, ledger.Commission{ID: "bell", Title: "Ten bells",
		Patterns: []ledger.Pattern{{Name: "bell", Alloy: "C87300", Copies: 10, Metal: ledger.Range{Typed: "40 kg"}, Gating: ledger.Range{Typed: "20 kg"}}}}))
	for _, o := range []string{"1", "2"} {
		b.Do(b.WithdrawOffer(ctx, ledger.Meta{Reason: "sold out"}, ledger.WithdrawOffer{Offer: o}))
	}
	got, _ = quotedPrice(t, b)
	is(got, 990_000, 990_000, 990_000, "at the market's price of 4 Mar 2026")
}

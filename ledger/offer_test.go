package ledger_test

import (
	"errors"
	"fmt"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

func priced(from int64, price string) ledger.NewOfferBreak {
	b := ledger.NewOfferBreak{Price: price}
	if from > 0 {
		b.From = ledgertest.Grams(from * 1000)
	}
	return b
}

func ingotOffer(breaks ...ledger.NewOfferBreak) ledger.NewOffer {
	return ledger.NewOffer{Party: "northmetal", Alloy: "873", Breaks: breaks}
}

// Each thing that cannot be is refused with its field, and nothing is kept.
func TestOffersRefused(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.SetSupply(ctx, ledger.Meta{}, ledger.Supply{ID: "pot", Name: "crucible", Purpose: "crucible", InPieces: true}))
	head, err := b.HeadOf(ctx)
	if err != nil {
		t.Fatal(err)
	}
	late := -3
	with := func(change func(*ledger.NewOffer)) ledger.NewOffer {
		o := ledger.NewOffer{Party: "northmetal", Alloy: "C87300", Breaks: []ledger.NewOfferBreak{priced(0, "9.00 USD/kg"), priced(100, "8.50 USD/kg")}}
		change(&o)
		return o
	}
	breaks := func(all ...ledger.NewOfferBreak) func(*ledger.NewOffer) {
		return func(o *ledger.NewOffer) { o.Breaks = all }
	}
	for _, c := range []struct {
		change        func(*ledger.NewOffer)
		reason, field string
	}{
		{breaks(priced(0, "9.00/kg")), "MISSING_CURRENCY", "breaks[0].price"},
		{breaks(priced(0, "9.00")), "MISSING_CURRENCY", "breaks[0].price"},
		{breaks(priced(0, " ")), "REQUIRED", "breaks[0].price"},
		{breaks(priced(0, "9.00 USD")), "NOT_BY_WEIGHT", "breaks[0].price"},
		{breaks(priced(0, "9.00 USD/pc")), "NOT_BY_WEIGHT", "breaks[0].price"},
		{breaks(priced(0, "9.00 EUR/kg")), "MISSING_EXCHANGE", "breaks[0].price"},
		{breaks(priced(0, "-9.00 USD/kg")), "NEGATIVE", "breaks[0].price"},
		{breaks(), "REQUIRED", "breaks"},
		{breaks(priced(0, "9.00 USD/kg"), priced(100, "9.10 USD/kg")), "PRICE_RISES", "breaks[1].price"},
		{breaks(priced(0, "9.00 USD/kg"), priced(100, "4.09 USD/lb")), "PRICE_RISES", "breaks[1].price"}, // 9.0169 a kg
		{breaks(priced(100, "9.00 USD/kg"), priced(100, "8.50 USD/kg")), "BREAKS_NOT_RISING", "breaks[1].from"},
		{breaks(priced(200, "9.00 USD/kg"), priced(100, "8.50 USD/kg")), "BREAKS_NOT_RISING", "breaks[1].from"},
		{breaks(priced(0, "9.00 USD/kg"), priced(100, "7.50 EUR/kg at 1.08 USD/EUR")), "OTHER_CURRENCY", "breaks[1].price"},
		{func(o *ledger.NewOffer) { o.Least = ledgertest.Grams(150_000) }, "BREAK_BELOW_LEAST", "breaks[0]"},
		{func(o *ledger.NewOffer) { o.Least, o.Breaks = ledgertest.Grams(1000), o.Breaks[1:] }, "LEAST_WITHOUT_PRICE", "least"},
		{func(o *ledger.NewOffer) { o.LeadDays = &late }, "OUT_OF_RANGE", "lead_days"},
		{func(o *ledger.NewOffer) { o.LeadOff = 2 }, "REQUIRED", "lead_days"},
		{func(o *ledger.NewOffer) { o.Bundle = 4 }, "REQUIRED", "piece"},
		{func(o *ledger.NewOffer) { o.Bundle = -4 }, "OUT_OF_RANGE", "bundle"},
		{func(o *ledger.NewOffer) { o.From = "2 Nov" }, "BAD_DATE", "from_day"},
		{func(o *ledger.NewOffer) { o.From, o.Until = "2026-03-02", "2026-03-01" }, "BAD_PERIOD", "until_day"},
		{func(o *ledger.NewOffer) { o.Party = "nobody" }, "NOT_FOUND", "party"},
		{func(o *ledger.NewOffer) { o.Alloy = "" }, "REQUIRED", "alloy"},
		{func(o *ledger.NewOffer) { o.Alloy = "unknown" }, "UNKNOWN_ALLOY", "alloy"},
		{func(o *ledger.NewOffer) { o.Supply = "borax" }, "CONTRADICTION", "supply"},
		{func(o *ledger.NewOffer) { o.Alloy, o.Supply = "", "pot" }, "NOT_FOR_A_PIECE", "breaks[0].price"},
		{func(o *ledger.NewOffer) { o.Freight = "40" }, "MISSING_CURRENCY", "freight"},
		{func(o *ledger.NewOffer) { o.Buys = true }, "PRICE_FALLS", "breaks[1].price"},
	} {
		_, err := b.KeepOffer(ctx, ledger.Meta{}, with(c.change))
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != c.reason || e.Field != c.field || e.Want == "" {
			t.Errorf("want %s of %s: %v", c.reason, c.field, err)
		}
	}
	if after, err := b.HeadOf(ctx); err != nil || after.Seq != head.Seq {
		t.Errorf("%d entries were kept, %v", after.Seq-head.Seq, err)
	}
}

// The newest offer of a party for an item counts on a day; one that ran out or was
// withdrawn does not bring back what it replaced.
func TestTheNewestOfferCounts(t *testing.T) {
	b := ledgertest.Open(t)
	keep := func(price, from, until string) {
		o := ledger.NewOffer{Party: "northmetal", Alloy: "C87300", Breaks: []ledger.NewOfferBreak{priced(0, price)}, From: from, Until: until}
		b.Do(b.KeepOffer(ctx, ledger.Meta{}, o))
	}
	on := func(day, want string) {
		t.Helper()
		all, err := b.OffersOn(ctx, "alloy/C87300", day)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, o := range all {
			got += o.ID + " at " + o.Breaks[0].Price.String()
		}
		if got != want {
			t.Errorf("on %s %q, want %q", day, got, want)
		}
	}
	keep("9.00 USD/kg", "2026-01-01", "")
	keep("9.20 USD/kg", "2026-04-01", "2026-04-30")
	keep("8.80 USD/kg", "2026-03-01", "")
	on("2025-12-31", "")
	on("2026-02-28", "1 at 9.00 USD/kg")
	on("2026-03-31", "3 at 8.80 USD/kg")
	on("2026-04-30", "2 at 9.20 USD/kg")
	on("2026-05-01", "")
	written := b.Do(b.KeepOffer(ctx, ledger.Meta{}, ledger.NewOffer{Party: "northmetal", Alloy: "C87300", Breaks: []ledger.NewOfferBreak{priced(0, "8.10 USD/kg")}, From: "2026-03-01"}))
	on("2026-03-31", "4 at 8.10 USD/kg")
	b.Do(b.WithdrawOffer(ctx, ledger.Meta{}, ledger.WithdrawOffer{Offer: "3"}))
	on("2026-03-31", "4 at 8.10 USD/kg")
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "misheard"}, ledger.ReverseEntry{Entry: written.Seq}))
	on("2026-03-31", "")
	b.Verify()
}

// One pound is 453 592.37 mg (NIST Handbook 44, Appendix C), so a price by the pound is
// exact by the kilogram too; a foreign one goes through its rate.
func TestOfferRatesAreExact(t *testing.T) {
	b := ledgertest.Open(t)
	for typed, want := range map[string][2]int64{
		"4.85 USD/lb":                    {500, 467_621}, // cents for milligrams, in lowest terms
		"9.00 USD/kg":                    {9, 10_000},
		"10.00 EUR/kg at 1.0832 USD/EUR": {677, 625_000}, // 1083.2 cents a kilogram
	} {
		e := b.Do(b.KeepOffer(ctx, ledger.Meta{}, ingotOffer(priced(0, typed))))
		var o ledger.Offer
		if _, err := e.First(ledger.RecOffer, &o); err != nil {
			t.Fatal(err)
		}
		if minor, per := o.Breaks[0].Price.Rate(); minor != want[0] || per != want[1] || o.Alloy != "C87300" || o.Form != ledger.Ingot {
			t.Errorf("%s is %d for %d: %+v", typed, minor, per, o)
		}
	}
}

// Three bad lines in ten thousand are each named with their field, and nothing is kept.
func TestMarketPricesAreKeptAllOrNone(t *testing.T) {
	b := ledgertest.Open(t)
	c := ledger.MarketPrices{}
	day := b.Now
	for range ledger.MaxMarketPrices {
		c.Prices = append(c.Prices, ledger.MarketPrice{Metal: "copper", Day: day.Format("2006-01-02"), Price: fmt.Sprintf("%d.%02d EUR/kg at 1.%04d USD/EUR", 7+day.Day()%3, day.YearDay()%100, day.YearDay()*17)})
		day = day.AddDate(0, 0, -1)
	}
	bad := ledger.MarketPrices{Prices: append([]ledger.MarketPrice(nil), c.Prices...)}
	bad.Prices[17].Price = "9,5,3 USD/kg"
	bad.Prices[4_000].Day = "2015-02-30"
	bad.Prices[9_999].Metal = "unobtainium"
	head, _ := b.HeadOf(ctx)
	_, err := b.KeepMarketPrices(ctx, ledger.Meta{}, bad)
	var e *ledger.Error
	if !errors.As(err, &e) || len(e.More) != 2 || e.Field != "prices[17].price" || e.More[0].Field != "prices[4000].day" || e.More[1].Field != "prices[9999].metal" {
		t.Fatalf("%v", err)
	}
	if now, _ := b.HeadOf(ctx); now != head {
		t.Fatal("something was kept")
	}
	b.Do(b.KeepMarketPrices(ctx, ledger.Meta{}, c))
	b.Verify()
	for _, p := range []ledger.MarketPrice{c.Prices[0], c.Prices[9_999], c.Prices[123]} {
		got, err := b.MarketPriceOf(ctx, "Cu", p.Day)
		if err != nil || got.Day != p.Day || got.Price != p.Price || got.Metal != "Cu" {
			t.Errorf("on %s %+v, %v; want %s", p.Day, got, err, p.Price)
		}
	}
	if got, err := b.MarketPriceOf(ctx, "copper", "2030-01-01"); err != nil || got.Day != c.Prices[0].Day {
		t.Errorf("later: %+v, %v", got, err)
	}
	if _, err := b.MarketPriceOf(ctx, "copper", "1990-01-01"); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("before all: %v", err)
	}
	twice := ledger.MarketPrices{Prices: []ledger.MarketPrice{c.Prices[0], {Metal: "Cu", Day: c.Prices[0].Day, Price: "1 USD/lb"}}}
	if _, err := b.KeepMarketPrices(ctx, ledger.Meta{}, twice); !errors.As(err, &e) || e.Reason != "TWICE" {
		t.Errorf("twice: %v", err)
	}
	// Another unit on another day of the same year; and a correction.
	b.Do(b.KeepMarketPrices(ctx, ledger.Meta{}, ledger.MarketPrices{Prices: []ledger.MarketPrice{{Metal: "Cu", Day: "2026-03-03", Price: "$4.31 per lb"}, {Metal: "C87300", Day: "2026-03-03", Price: "5.05 USD/lb"}}}))
	b.Do(b.KeepMarketPrices(ctx, ledger.Meta{}, ledger.MarketPrices{Prices: []ledger.MarketPrice{{Metal: "Cu", Day: "2026-03-03", Price: "4.32 USD/lb"}}}))
	if got, err := b.MarketPriceOf(ctx, "Cu", "2026-03-05"); err != nil || got.Price != "4.32 USD/lb" {
		t.Errorf("in pounds: %+v, %v", got, err)
	}
}

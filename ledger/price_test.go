package ledger_test

import (
	"errors"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// receive books 12.5 kg at a price.
func receiveAt(b *ledgertest.Shop, price string) (*ledger.Entry, error) {
	return b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Price: price,
		Weighing: ledger.WeighingIn{Net: ledger.Quantity{Typed: "12.5 kg"}}})
}

// The wanted amounts are worked by hand in the comments; rounding is half to even
// once, of the exact product.
func TestForeignPriceIsBookedByItsRate(t *testing.T) {
	for _, c := range []struct {
		price       string
		minor, book int64
		currency    string
	}{
		{"310.00 USD", 31000, 31000, "USD"},
		{"310.00 EUR at 1.0832 USD/EUR", 31000, 33579, "EUR"},   // 335.792
		{"4.10 EUR/kg at 1.0832 USD/EUR", 5125, 5551, "EUR"},    // 51.25 × 1.0832 = 55.514
		{"4.10 EUR/kg @ 1.0832 USD per EUR", 5125, 5551, "EUR"}, //
		{"100 EUR at 0.8 EUR/USD", 10000, 12500, "EUR"},         // the rate the other way round
		{"0.05 EUR at 0.5 USD/EUR", 5, 2, "EUR"},                // 2.5 cents: half to even
		{"0.15 EUR at 0.1 USD/EUR", 15, 2, "EUR"},               // 1.5 cents: half to even
		{"0.0012 EUR/kg at 1.4 USD/EUR", 2, 2, "EUR"},           // 1.5 → 2 euro cents; 2.1, not 2.8, dollar cents
		{"1200 JPY at 150 JPY/USD", 1200, 800, "JPY"},           // no minor unit there, cents here
	} {
		b := ledgertest.Open(t)
		e := b.Do(receiveAt(b, c.price))
		var l ledger.Lot
		if _, err := e.First(ledger.RecLot, &l); err != nil {
			t.Fatal(err)
		}
		if l.Price.Typed != c.price || l.Price.Minor != c.minor || l.Price.Currency != c.currency {
			t.Errorf("%s: kept as %+v, want %d %s", c.price, *l.Price, c.minor, c.currency)
		}
		if len(e.Costs) != 1 || e.Costs[0].Minor != c.book || e.Costs[0].Currency != "USD" {
			t.Errorf("%s: costs %+v, want %d cents of USD", c.price, e.Costs, c.book)
		}
	}
}

func TestForeignPriceRefusals(t *testing.T) {
	for price, reason := range map[string]string{
		"310":                               "MISSING_CURRENCY",
		"4.85/lb":                           "MISSING_CURRENCY",
		"4.85 per lb":                       "MISSING_CURRENCY",
		"310 EUR":                           "MISSING_EXCHANGE",
		"4.10 EUR/kg":                       "MISSING_EXCHANGE",
		"310 EUR at 1.0832":                 "MISSING_CURRENCY",
		"310 EUR at 1.27 USD/GBP":           "OTHER_EXCHANGE",
		"310 USD at 1.0832 USD/EUR":         "CONTRADICTION",
		"310 EUR at 0 USD/EUR":              "NOT_A_NUMBER",
		"310 EUR at -1 USD/EUR":             "NEGATIVE",
		"310 EUR at 1 EUR/EUR":              "AMBIGUOUS_CURRENCY",
		"310 EUR at 1.12345678901 USD/EUR":  "TOO_MANY_DECIMALS",
		"9999999999 EUR at 1000000 USD/EUR": "TOO_LARGE",
	} {
		b := ledgertest.Open(t)
		_, err := receiveAt(b, price)
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != reason || e.Field != "price" {
			t.Errorf("%s: %v, want %s of price", price, err, reason)
		}
		if lots, _, err := b.Lots(ctx, ledger.LotQuery{Empty: true}); err != nil || len(lots) > 0 {
			t.Errorf("%s: left %v, %v", price, lots, err)
		}
	}
}

// Supplies bought and metal sold are booked in the book's currency too, and the
// book keeps that one currency once it has costs.
func TestCostsAreInOneCurrency(t *testing.T) {
	b := ledgertest.Open(t)
	settings := ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: "g", Currency: "CAD"}
	b.Do(b.SetShop(ctx, ledger.Meta{}, settings))
	e := b.Do(b.ReceiveSupply(ctx, ledger.Meta{}, ledger.SupplyMove{Supply: "borax", Amount: ledger.Quantity{Typed: "2 kg"}, Price: "20 USD at 1.35 CAD/USD"}))
	if len(e.Costs) != 1 || e.Costs[0] != (ledger.Cost{Account: "supply/borax", Currency: "CAD", Minor: 2700}) {
		t.Errorf("supply: %+v", e.Costs)
	}
	lot := b.Do(receiveAt(b, "10 CAD/kg"))
	var l ledger.Lot
	if _, err := lot.First(ledger.RecLot, &l); err != nil {
		t.Fatal(err)
	}
	e = b.Do(b.Remove(ctx, ledger.Meta{}, ledger.RemoveLot{Lot: l.ID, How: "sold", For: "4 USD/kg at 1.35 CAD/USD"}))
	if len(e.Costs) != 1 || e.Costs[0] != (ledger.Cost{Account: "left/sold", Currency: "CAD", Minor: -6750}) {
		t.Errorf("sale: %+v", e.Costs)
	}
	settings.Currency = "USD"
	_, err := b.SetShop(ctx, ledger.Meta{}, settings)
	var refused *ledger.Error
	if !errors.As(err, &refused) || refused.Reason != "CURRENCY_IN_USE" || refused.Field != "currency" {
		t.Errorf("another currency: %v", err)
	}
}

// A decimal mark in the wrong place, or the price of a kilogram for that of all of it, is
// asked about; so much as metal ever moved within a year is not. The figures are invented.
func TestPriceOutOfLine(t *testing.T) {
	for price, ask := range map[string]bool{
		"4.85 USD/kg":                   false,
		"60.63 USD":                     false, // for 12.5 kg
		"9.70 USD/kg":                   false,
		"2.20 USD/lb":                   false,
		"4.20 EUR/kg at 1.1 USD/EUR":    false,
		"485 USD/kg":                    true,
		"48.50 USD/kg":                  true,
		"4.85 USD":                      true,
		"60.63 USD/kg":                  true,
		"0.485 USD/kg":                  true,
		"485 EUR/kg at 1.1 USD/EUR":     true,
		"4.20 EUR/kg at 110.0 USD/EUR":  true,
		"0.00 USD":                      false, // a gift
		"5000 JPY at 150 JPY/USD":       false, // 33 USD
		"50000000 JPY at 150.0 JPY/USD": true,
	} {
		b := ledgertest.Open(t)
		first := b.Do(receiveAt(b, "4.85 USD/kg"))
		b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C83600", Price: "60 USD/kg", Weighing: ledgertest.Net(5_000)}))
		b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(5_000)}))
		if _, err := receiveAt(b, price); ask != asks(err, ledger.FlagPrice) || !ask && err != nil {
			t.Errorf("%s after 4.85 USD/kg: %v", price, err)
		}
		b.Do(b.Reverse(ctx, ledger.Meta{Reason: "the decimal mark"}, ledger.ReverseEntry{Entry: first.Seq}))
		if _, err := receiveAt(b, price); err != nil {
			t.Errorf("%s after nothing that stands: %v", price, err)
		}
	}
}

// What comes of an order is asked about when it comes, after what came of another order.
func TestPriceOfAnOrderOutOfLine(t *testing.T) {
	b := ledgertest.Open(t)
	delivery := func(price string) error {
		order := ingotsAndBorax()
		order.Lines[0].Price = price
		o := orderOf(t, b.Do(b.WriteOrder(ctx, none, order)))
		b.Do(b.PlaceOrder(ctx, none, ledger.PlaceOrder{Order: o.ID}))
		_, err := b.ReceiveOrder(ctx, none, ledger.ReceiveOrder{Order: o.ID, Lines: []ledger.Delivered{came(2, 20_000, 0), came(1, 101_000, 10)}})
		return err
	}
	for _, c := range []struct {
		price string
		asks  bool
	}{{"9.00 USD/kg", false}, {"900 USD/kg", true}, {"0.90 USD/kg", true}, {"94.00 USD/pc", false}, {"940.00 USD", false}, {"94.00 USD", true}} {
		if err := delivery(c.price); c.asks != asks(err, ledger.FlagPrice) || !c.asks && err != nil {
			t.Errorf("%s: %v", c.price, err)
		}
	}
}

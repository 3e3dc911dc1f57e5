package paper_test

import (
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/server/paper"
)

// A purchase order says what is asked for, of whom, at which price, and what came.
func TestOrderSheet(t *testing.T) {
	f := newFoundry(t)
	f.Do(f.SetParty(t.Context(), ledger.Meta{}, ledger.Party{ID: "calder", Name: "Calder Ingots", Roles: []string{ledger.RoleSupplier}}))
	f.Do(f.WriteOrder(t.Context(), ledger.Meta{}, ledger.WriteOrder{ID: "P1", Supplier: "calder", Freight: "42.00 USD", Note: "leave it at the gate",
		Lines: []ledger.OrderItem{{Alloy: "C87300", Pieces: 12, Each: ledger.Quantity{Mass: 10 * ledger.Kilogram}, Price: "9.80 USD/kg"}}}))
	f.Do(f.WriteOrder(t.Context(), ledger.Meta{}, ledger.WriteOrder{ID: "P2", Supplier: "calder",
		Lines: []ledger.OrderItem{{Alloy: "C87300", Pieces: 2, Each: ledger.Quantity{Mass: 10 * ledger.Kilogram}, Price: "9.80 USD/kg"}, {Alloy: "C83600", Mass: ledger.Quantity{Mass: ledger.Kilogram}}}}))
	d := made(f.OrderSheet(t.Context(), harrow+"/purchaseOrders/P1", paper.A4))(t)
	onPaper(t, d.PDF, 0)
	wants(t, d, "Purchase order P1", "Calder Ingots", "C87300 ingot", "12 pieces", "9.80 USD/kg 1176.00 USD", "42.00 USD", "1218.00 USD, by the weights ordered.", "leave it at the gate", "being written")
	wants(t, made(f.OrderSheet(t.Context(), harrow+"/purchaseOrders/P2", paper.A4))(t), "All of it: 196.00 USD, by the weights ordered, as far as a price is agreed.")
	// 1 kg at 4.10 EUR is 4.10 EUR; 10 EUR freight; at 1.0832 USD for a EUR 14.10 EUR are
	// 4.44 + 10.83 = 15.27 USD, each rounded for itself.
	f.Do(f.WriteOrder(t.Context(), ledger.Meta{}, ledger.WriteOrder{ID: "P3", Supplier: "calder", Freight: "10 EUR at 1.0832 USD/EUR",
		Lines: []ledger.OrderItem{{Alloy: "C87300", Mass: ledger.Quantity{Mass: ledger.Kilogram}, Price: "4.10 EUR/kg at 1.0832 USD/EUR"}}}))
	wants(t, made(f.OrderSheet(t.Context(), harrow+"/purchaseOrders/P3", paper.A4))(t), "All of it: 14.10 EUR, by the weights ordered.", "In the book of the shop: 15.27 USD, at 1.0832 USD/EUR.")
	if _, err := f.OrderSheet(t.Context(), harrow+"/purchaseOrders/none", paper.A4); reason(err) != "NOT_FOUND" {
		t.Errorf("of no order: %v", err)
	}
}

// What a quote's customer needs is on its first page, and what is the shop's own is not.
func TestQuoteSheet(t *testing.T) {
	f := newFoundry(t)
	m := ledger.Meta{}
	f.Do(f.SetRates(t.Context(), m, ledger.Rates{From: f.Now.AddDate(0, -1, 0), Margin: 200_000, Work: []ledger.WorkRate{{Kind: "molding", Typed: "36 USD"}}}))
	f.Do(f.SetCommission(t.Context(), m, ledger.Commission{ID: "otters", Title: "Two otters", Customer: "iris", Patterns: []ledger.Pattern{
		{Name: "otter", Alloy: "C87300", Copies: 2, Metal: ledger.Range{Typed: "10..11..13 kg"}, Gating: ledger.Range{Typed: "8 kg"}}}}))
	typed := func(name, text string) []ledger.NamedRange {
		return []ledger.NamedRange{{Name: name, Range: ledger.Range{Typed: text}}}
	}
	f.Do(f.MakeQuote(t.Context(), m, ledger.MakeQuote{Commission: "otters", Hours: typed("molding", "10 h"), Prices: typed("C87300", "10 USD/kg"), Until: "2026-04-30", Note: "with the base"}))
	for _, name := range []string{"otters-1", "1"} {
		d := made(f.QuoteSheet(t.Context(), harrow+"/commissions/otters/quotes/"+name, paper.A4))(t)
		onPaper(t, d.PDF, 0)
		pages := strings.Split(text(t, d), "\f")
		if d.Name != "quote-otters-1.pdf" || d.Pages != 2 || len(pages) < 2 {
			t.Fatalf("%s has %d pages", d.Name, d.Pages)
		}
		for page, words := range [][]string{
			{"Quote otters-1", "Iris Vale", "30 Apr 2026", "otter C87300 2 10000 g to 13000 g, likeliest 11000 g", "Tax is not in it", "with the base"},
			{"For the shop", "Of 100 outcomes a price of", "margin", "10.00 USD/kg · said for this quote", "tax is not in it"}} {
			said := strings.Join(strings.Fields(pages[page]), " ")
			for _, w := range words {
				if !strings.Contains(said, w) {
					t.Errorf("page %d does not say %q: %s", page+1, w, said)
				}
			}
		}
		if strings.Contains(pages[0], "margin") || strings.Contains(pages[0], "labour") {
			t.Errorf("the customer reads %s", pages[0])
		}
	}
	if _, err := f.QuoteSheet(t.Context(), harrow+"/commissions/otters/quotes/2", paper.A4); reason(err) != "NOT_FOUND" {
		t.Errorf("of no quote: %v", err)
	}
}

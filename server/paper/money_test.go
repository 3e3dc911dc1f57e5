package paper_test

import (
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
	d := made(f.OrderSheet(t.Context(), harrow+"/purchaseOrders/P1", paper.A4))(t)
	onPaper(t, d.PDF, 0)
	wants(t, d, "Purchase order P1", "Calder Ingots", "C87300 ingot", "12 pieces", "9.80 USD/kg", "42.00 USD", "1218.00 USD", "leave it at the gate", "being written")
	if _, err := f.OrderSheet(t.Context(), harrow+"/purchaseOrders/none", paper.A4); reason(err) != "NOT_FOUND" {
		t.Errorf("of no order: %v", err)
	}
}

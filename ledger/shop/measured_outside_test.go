package shop_test

import (
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// TestAnalysisOutsideIsTakenAndTold: an analysis is a fact and asks for nothing, but the
// answer says at once by how much the metal is outside; a charge of it still asks.
func TestAnalysisOutsideIsTakenAndTold(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	e := b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{LotID: "NEW", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9_000)}))
	if len(e.Flags) != 0 {
		t.Errorf("metal without an analysis is flagged: %v", e.Flags)
	}
	told := func(e *ledger.Entry) {
		t.Helper()
		if len(e.Flags) != 1 || e.Flags[0].Code != ledger.FlagMeasured || !strings.Contains(e.Flags[0].Text, "2 % Pb, where C87300 may hold") {
			t.Errorf("told %v", e.Flags)
		}
	}
	told(b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: "NEW", Alloy: "C87300", Certificate: analysis("Pb", 20_000)})))
	told(b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{LotID: "CERT", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9_000), Certificate: analysis("Pb", 20_000)})))
	b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "1", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "1"))
	_, err := b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "NEW"}}})
	if got := questions(t, err); len(got) != 1 || got[0] != ledger.FlagOutside {
		t.Errorf("charging it asks %v", got)
	}
	again := b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: "NEW", Alloy: "C87300", Certificate: analysis("Pb", 100)}))
	if len(again.Flags) != 0 {
		t.Errorf("an analysis within the limits is flagged: %v", again.Flags)
	}
}

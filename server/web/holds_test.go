package web_test

import (
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// A lot and a heat that was melted from it say how they stand against the limits of their
// alloy: C87300 may have 0.09 % of lead (ASTM B584-14).
func TestPagesSayWhatMetalHolds(t *testing.T) {
	f := foundryOf(t, ledgertest.Open(t))
	ctx := t.Context()
	lead := &ledger.Certificate{Elements: []ledger.Element{{Symbol: "Pb", PPM: 3_100}}}
	f.book.Do(f.book.Receive(ctx, ledger.Meta{}, ledger.Receive{LotID: "ING", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9_000)}))
	f.book.Do(f.book.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: "ING", Alloy: "C87300", Certificate: lead}))
	f.book.Do(f.book.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "9", Alloy: "C87300"}))
	f.book.Do(f.book.OpenHeat(ctx, ledger.Meta{}, "9"))
	f.book.Do(f.book.Charge(ctx, ledger.Meta{Reason: "for a test piece"}, ledger.ChargeHeat{Heat: "9", Items: []ledger.ChargeItem{{Lot: "ING"}}}))
	for _, page := range []string{"/lots/ING", "/heats/9"} {
		if code, body := f.get(f.url(page)); code != 200 || !strings.Contains(body, "Outside the limits of C87300: Pb 0.31") {
			t.Errorf("%s: HTTP %d\n%s", page, code, body)
		}
	}
}

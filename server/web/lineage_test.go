package web_test

import (
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// A lot's page draws what its metal is from: the pigs of the worked heat are half its
// ingots (30 of 60 kg; DEVELOPERS.md), and an ingot lot's picture says where all of it is.
func TestLineage(t *testing.T) {
	f := newFoundry(t)
	_, page := f.get(f.url("/lots/" + f.lots[0])) // 6300 g of pigs
	for _, want := range []string{"<svg", "Where the metal of lot " + f.lots[0] + " is from", "lot " + f.heat.Ingots.ID, "<td>3150</td><td>50.0</td>", "still in this lot", "melted here 1.0 times"} {
		if !strings.Contains(page, want) {
			t.Errorf("pigs: no %q in\n%s", want, page)
		}
	}
	_, page = f.get(f.url("/lots/" + f.heat.Ingots.ID))
	for _, want := range []string{"other lots", "in molds, melts", "lost", "in molds, heat 41", "oxide of heat 41", "pig " + f.lots[0]} {
		if !strings.Contains(page, want) {
			t.Errorf("ingots: no %q in\n%s", want, page)
		}
	}
}

// A lot's page says what to mind with it, by its alloy and by what was measured of it.
func TestLotHasItsCautions(t *testing.T) {
	f := newFoundry(t)
	f.book.Do(f.book.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", LotID: "BERY", Weighing: ledgertest.Net(5_000),
		Certificate: &ledger.Certificate{Elements: []ledger.Element{{Symbol: "Be", PPM: 20_000}}}}))
	_, page := f.get(f.url("/lots/BERY"))
	for _, want := range []string{"Be 2 %", "harm the lungs", "lot BERY holds about 2 % Be"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in\n%s", want, page)
		}
	}
}

// The lots of an alloy stand below what the next heats need of it and how long it lasts.
func TestAlloyOfTheStock(t *testing.T) {
	f := newFoundry(t)
	f.furnish("for the mill pond")
	_, page := f.get(f.url("?alloy=C87300"))
	for _, want := range []string{"How long new C87300 lasts", "Lots of C87300"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q in\n%s", want, page)
		}
	}
	if _, page := f.get(f.url("?alloy=unknown")); strings.Contains(page, "How long new") || !strings.Contains(page, "Lots of unknown") {
		t.Errorf("unknown metal:\n%s", page)
	}
}

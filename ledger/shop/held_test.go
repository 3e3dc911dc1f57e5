package shop_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestLeadAndBerylliumThatTheBookHolds: what a certificate, an assay, or what metal was
// melted from says of lead and beryllium calls for the cautions of a lot and of a heat,
// whatever the metal is called; what was measured of metal itself goes before what it came
// from; and a reversal takes back what it takes back. What is kept between questions says
// what somebody says who reads the book for the first time.
func TestLeadAndBerylliumThatTheBookHolds(t *testing.T) {
	b, ctx, m := ledgertest.Open(t), t.Context(), ledger.Meta{Reason: "as it comes"}
	because := func(all []alloy.Caution, err error) string {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		var out []string
		for _, c := range all {
			if c.Code == alloy.CautionLead || c.Code == alloy.CautionBeryllium {
				out = append(out, c.Code+": "+c.Because)
			}
		}
		return strings.Join(out, "; ")
	}
	heat := func(want string) {
		t.Helper()
		for _, s := range []*shop.Shop{b.Shop, shop.New(b.Store, "harrow", func() time.Time { return b.Now })} {
			for _, id := range []string{"1", "2"} {
				all, err := s.HeatCautions(ctx, id, nil)
				if got := because(all, err); id == "2" && got != want {
					t.Errorf("heat 2: %q, want %q", got, want)
				}
			}
		}
	}
	lot := func(id, want string) {
		t.Helper()
		all, err := b.LotCautions(ctx, id)
		if got := because(all, err); got != want {
			t.Errorf("lot %s: %q, want %q", id, got, want)
		}
	}
	receive := func(id string, grams int64, c *ledger.Certificate) {
		b.Do(b.Receive(ctx, m, ledger.Receive{LotID: id, Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(grams), Certificate: c}))
	}
	melt := func(heat string, lots ...string) (last *ledger.Entry) {
		t.Helper()
		if heat != "2" || !slices.Contains(lots, "-") {
			b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: heat, Alloy: "C87300", Crucible: "A60"}))
			b.Do(b.OpenHeat(ctx, m, heat))
		}
		for _, id := range lots {
			if id != "-" {
				last = b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: heat, Items: []ledger.ChargeItem{{Lot: id}}}))
			}
		}
		return last
	}
	receive("BERY", 5_000, analysis("Be", 20_000, "Pb", 90_000))
	receive("ING", 45_000, analysis("Cu", 951_000, "Si", 39_000))
	receive("MORE", 20_000, nil)
	lot("BERY", "lead: lot BERY holds about 9 % Pb; beryllium: lot BERY holds about 2 % Be")
	lot("ING", "")
	lot("MORE", "")

	// A tenth of the first heat is that lot: its returns hold a tenth of what it does.
	melt("1", "BERY", "ING")
	b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: "1", Heel: ledgertest.Grams(2_000)}))
	cup := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "1"}}, Form: ledger.Cup, Weighing: ledgertest.Net(10_000)}))).ID
	lot(cup, "lead: lot "+cup+" holds about 0.9 % Pb; beryllium: lot "+cup+" holds about 0.2 % Be")

	// It goes on: through the heel, and through the returns.
	melt("2", "MORE")
	heat("")
	heel := b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "2", Heel: true}))
	heat("lead: the heel of crucible A60 holds about 0.9 % Pb; beryllium: the heel of crucible A60 holds about 0.2 % Be")
	b.Do(b.Reverse(ctx, m, ledger.ReverseEntry{Entry: heel.Seq}))
	heat("")
	e := melt("2", "-", cup)
	carried := "lead: lot " + cup + " holds about 0.9 % Pb; beryllium: lot " + cup + " holds about 0.2 % Be"
	heat(carried)

	// An assay of the returns themselves goes before what they came from.
	assay := b.Do(b.Identify(ctx, m, ledger.IdentifyLot{Lot: cup, Alloy: "C87300", Certificate: analysis("Pb", 200, "Be", 15_000)}))
	heat("beryllium: lot " + cup + " holds about 1.5 % Be")
	lot(cup, "beryllium: lot "+cup+" holds about 1.5 % Be")
	b.Do(b.Reverse(ctx, m, ledger.ReverseEntry{Entry: assay.Seq}))
	heat(carried)
	b.Do(b.Reverse(ctx, m, ledger.ReverseEntry{Entry: e.Seq}))
	heat("")
	lot("GONE", "")
}

// TestMeasuredMetalOutsideItsAlloyIsAskedAbout: lead or beryllium that an alloy may not
// hold are charged with a reason only; what is as it should be, or nearly, is not asked about.
func TestMeasuredMetalOutsideItsAlloyIsAskedAbout(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "1", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "1"))
	for id, c := range map[string]struct {
		of   *ledger.Certificate
		want []string
	}{
		"BERY":  {analysis("Be", 20_000, "Pb", 90_000), []string{ledger.FlagOutside, ledger.FlagOutside}},
		"ING":   {analysis("Cu", 951_000, "Si", 39_000, "Pb", 500), nil},
		"DIGIT": {analysis("Pb", 1_000), nil},
		"BRASS": {analysis("Zn", 350_000), []string{ledger.FlagOutside}},
	} {
		b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{LotID: id, Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9_000), Certificate: c.of}))
		charge := ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: id}}}
		_, err := b.Charge(ctx, ledger.Meta{}, charge)
		if diff := cmp.Diff(c.want, questions(t, err)); diff != "" {
			t.Errorf("lot %s (-want +asked):\n%s", id, diff)
		}
		if err != nil {
			b.Do(b.Charge(ctx, ledger.Meta{Reason: "it is meant for a test piece"}, charge))
		}
	}
}

// TestCertificateNamesElements: what is no element is refused where it is new.
func TestCertificateNamesElements(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	for _, symbol := range []string{"Xx", "cu", "", "CU", "Qq"} {
		_, err := b.Receive(ctx, ledger.Meta{}, ledger.Receive{LotID: "L9", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9_000),
			Certificate: analysis(symbol, 90_000)})
		if err == nil || !strings.Contains(err.Error(), "BAD_ELEMENT") && !strings.Contains(err.Error(), "symbol of an element") {
			t.Errorf("%q: %v", symbol, err)
		}
	}
	id := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9_000)}))).ID
	if _, err := b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: id, Alloy: "C87300", Certificate: analysis("Xx", 1)}); err == nil {
		t.Error("an assay of no element was taken")
	}
	b.Do(b.Identify(ctx, ledger.Meta{}, ledger.IdentifyLot{Lot: id, Alloy: "C87300", Certificate: analysis("Og", 1, "H", 1)}))
	part := b.Do(b.Split(ctx, ledger.Meta{}, ledger.SplitLot{Lot: id, Parts: []ledger.Part{{LotID: "HALF", Weighing: ledgertest.Net(4_000)}}}))
	var half ledger.Lot
	if found, err := part.Find(ledger.RecLot, "HALF", &half); !found || err != nil || half.Certificate == nil {
		t.Errorf("the part of a lot has its certificate: %+v, %v", half, err)
	}
}

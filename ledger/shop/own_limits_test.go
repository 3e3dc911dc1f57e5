package shop_test

import (
	"errors"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestOwnLimitsHoldEverywhere: what a shop asks of an alloy, of its own or of the table,
// none of an element included, is what its charges are planned to, what a charge asks a
// reason for, and what contents are held against; what it does not say of an alloy of the
// table stays as the table has it. The figures are invented.
func TestOwnLimitsHoldEverywhere(t *testing.T) {
	b := ledgertest.Open(t)
	why := ledger.Meta{Reason: "as it comes"}
	b.Do(b.SetAlloy(ctx, why, ledger.Alloy{ID: "NL1", Family: "silicon bronze", DensityMgCm3: 8300, Limits: []ledger.Limit{{Element: "Pb", None: true}, {Element: "Cu", Rest: true}}}))
	b.Do(b.SetAlloy(ctx, why, ledger.Alloy{ID: "C87300", Limits: []ledger.Limit{{Element: "Zn", MaxPPM: 100}}}))
	receive := func(id, of string, holds *ledger.Certificate) {
		b.Do(b.Receive(ctx, why, ledger.Receive{LotID: id, Supplier: "northmetal", Alloy: of, Weighing: ledgertest.Net(40_000), Price: "10 USD/kg", Certificate: holds}))
	}
	receive("PB", "NL1", analysis("Pb", 30_000, "Cu", 970_000))
	receive("ZN", "C87300", analysis("Cu", 951_000, "Si", 38_500, "Mn", 9_500, "Zn", 700, "Pb", 100))
	receive("LEAD", "C87300", analysis("Cu", 931_000, "Si", 38_500, "Mn", 9_500, "Zn", 50, "Pb", 20_000))
	plan := func(heat, of string) error {
		b.Do(b.PlanHeat(ctx, why, ledger.PlanHeat{ID: heat, Alloy: of, Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(9_000), Gating: ledgertest.Grams(6_000)}}}))
		_, err := b.PlanCharge(ctx, shop.PlanQuery{Heat: heat})
		return err
	}
	var e *ledger.Error
	if err := plan("1", "NL1"); !errors.As(err, &e) || e.Reason != "NO_SUCH_CHARGE" || !strings.Contains(err.Error(), "Pb at most 0 %") {
		t.Errorf("3 %% lead for an alloy that may hold none: %v", err)
	}
	if err := plan("2", "C87300"); !errors.As(err, &e) || e.Reason != "NO_SUCH_CHARGE" || !strings.Contains(err.Error(), "Zn at most 0.01 %") {
		t.Errorf("0.07 %% zinc for at most 0.01: %v", err)
	}
	for heat, lots := range map[string]map[string][]string{
		"1": {"PB": {ledger.FlagOutside}},
		"2": {"ZN": nil, "LEAD": {ledger.FlagOutside}}, // 0.07 % zinc is not clearly another metal
	} {
		b.Do(b.OpenHeat(ctx, why, heat))
		for lot, want := range lots {
			_, err := b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: heat, Items: []ledger.ChargeItem{{Lot: lot, Mass: ledgertest.Grams(1_000)}}})
			if diff := cmp.Diff(want, questions(t, err)); diff != "" {
				t.Errorf("charging %s (-want +asked):\n%s", lot, diff)
			}
		}
	}
	for lot, element := range map[string]string{"PB": "Pb", "ZN": "Zn", "LEAD": "Pb"} {
		c, err := b.Content(ctx, ledger.Acct(ledger.OfLot, lot), "")
		if err != nil || c.Limits == nil || c.Limits.Edition != alloy.OwnEdition {
			t.Errorf("%s is held against %+v (%v)", lot, c.Limits, err)
			continue
		}
		if l, ok := c.Limits.Limit(element); !ok || !l.HasMax || c.Chance.AtLeast < 0.99 {
			t.Errorf("%s: %s is held to %+v, outside with a chance of %g", lot, element, l, c.Chance.AtLeast)
		}
	}
	b.Verify()
}

// TestOneBoundOfItsOwn: a shop that asks for a least of an element has not lifted the
// greatest of the table, nor the other way round. C87300 has 3.5 to 4.5 % silicon
// (CDA data sheet C87300, 2006).
func TestOneBoundOfItsOwn(t *testing.T) {
	for _, c := range []struct {
		own      ledger.Limit
		min, max float64
		least    bool
	}{
		{ledger.Limit{Element: "Si", MinPPM: 38_000}, 3.8, 4.5, true},
		{ledger.Limit{Element: "Si", MaxPPM: 42_000}, 3.5, 4.2, true},
		{ledger.Limit{Element: "Si", MinPPM: 38_000, MaxPPM: 60_000}, 3.8, 6, true},
		{ledger.Limit{Element: "Si", MaxPPM: 20_000}, 0, 2, false}, // less than the table's least
	} {
		b := ledgertest.Open(t)
		b.Do(b.SetAlloy(ctx, ledger.Meta{}, ledger.Alloy{ID: "C87300", Limits: []ledger.Limit{c.own}}))
		lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(1_000)})))
		got, err := b.Content(ctx, ledger.Acct(ledger.OfLot, lot.ID), "")
		if err != nil {
			t.Fatal(err)
		}
		if l, _ := got.Limits.Limit("Si"); !l.HasMax || l.Max != c.max || l.HasMin != c.least || l.Min != c.min {
			t.Errorf("%+v: held to %+v", c.own, l)
		}
	}
}

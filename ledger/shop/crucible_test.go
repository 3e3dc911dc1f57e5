package shop_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// questions are the codes of what a write was not recorded without a reason for.
func questions(t *testing.T, err error) (codes []string) {
	t.Helper()
	var e *ledger.Error
	if err != nil && (!errors.As(err, &e) || !errors.Is(err, ledger.ErrNeedsReason)) {
		t.Fatal(err)
	}
	if e != nil {
		for _, f := range e.Flags {
			codes = append(codes, f.Code)
		}
	}
	return codes
}

// TestWhatACrucibleHolds: its greatest mass and its usable volume, whichever is less; 9 l
// of a melt of 7.4 g/ml are 66.6 kg by arithmetic.
func TestWhatACrucibleHolds(t *testing.T) {
	const kg = ledger.Kilogram
	for _, c := range []struct {
		pot     ledger.Pot
		density float64
		want    ledger.Mass
	}{
		{ledger.Pot{}, 7.4, 0},
		{ledger.Pot{Capacity: 60 * kg}, 7.4, 60 * kg},
		{ledger.Pot{VolumeMm3: 9_000_000}, 7.4, 66_600_000},
		{ledger.Pot{VolumeMm3: 9_000_000, Handling: ledger.Handling{Fill: 500_000}}, 7.4, 33_300_000},
		{ledger.Pot{VolumeMm3: 9_000_000}, 0, 0},
		{ledger.Pot{VolumeMm3: 9_000_000, Capacity: 60 * kg}, 7.4, 60 * kg},
		{ledger.Pot{VolumeMm3: 9_000_000, Capacity: 60 * kg}, 2.4, 21_600_000}, // of aluminium
		{ledger.Pot{VolumeMm3: 9_000_000, Capacity: 60 * kg}, 0, 60 * kg},
		{ledger.Pot{VolumeMm3: 1 << 62}, 7.4, ledger.MaxMass},
	} {
		if got := c.pot.Holds(c.density); got != c.want {
			t.Errorf("%+v of %g g/ml: %d, want %d", c.pot, c.density, got, c.want)
		}
	}
}

// TestCrucibleKnownByItsVolume: a crucible whose greatest mass nobody noted is overfull by
// its volume, by the same figure as a proposed charge is held to: planned, charged, and
// with a heel in it; and its heat has the caution.
func TestCrucibleKnownByItsVolume(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	b.Do(b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "vol", Kind: ledger.PotCrucible, Name: "no label", VolumeMm3: 9_000_000}))
	holds := (&ledger.Pot{VolumeMm3: 9_000_000}).Holds(b.Metals.MeltDensity("C87300"))
	if low, high := 60*ledger.Kilogram, 72*ledger.Kilogram; holds < low || holds > high {
		t.Fatalf("9 l of silicon bronze weigh %d mg", holds)
	}
	over := []string{ledger.FlagOverfull}
	plan := func(id string, m ledger.Mass) error {
		_, err := b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: id, Alloy: "C87300", Crucible: "vol", Charge: ledger.Quantity{Mass: m}, Molds: []ledger.MoldPlan{
			{Name: "otter", Metal: ledgertest.Grams(150_000), Gating: ledgertest.Grams(50_000)}}})
		return err
	}
	if got := questions(t, plan("9", holds+1)); !slices.Equal(got, over) {
		t.Errorf("planned too much: asked %q", got)
	}
	if got := questions(t, plan("9", holds)); got != nil {
		t.Errorf("planned what it holds: asked %q", got)
	}
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "9"))
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(300_000)}))).ID
	charge := func(m ledger.Mass, reason string) error {
		_, err := b.Charge(ctx, ledger.Meta{Reason: reason}, ledger.ChargeHeat{Heat: "9", Items: []ledger.ChargeItem{{Lot: lot, Mass: ledger.Quantity{Mass: m}}}})
		return err
	}
	if got := questions(t, charge(holds+1, "")); !slices.Equal(got, over) {
		t.Errorf("charged too much: asked %q", got)
	}

	// The proposal is refused for the molds, by the same figure.
	_, err := b.PlanCharge(ctx, shop.PlanQuery{Heat: "9", NoLimits: true})
	if want := fmt.Sprintf("crucible filled to at most %d g", (holds+500)/1000); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("proposed: %v; want %q", err, want)
	}

	codes := func() (out []string) {
		all, err := b.HeatCautions(ctx, "9", nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range all {
			out = append(out, c.Code)
		}
		return out
	}
	if got := codes(); !slices.Contains(got, alloy.CautionOverfill) {
		t.Errorf("planned full: cautions %q", got)
	}
	b.Do(b.ChangeHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "9", Alloy: "C87300", Crucible: "vol", Charge: ledgertest.Grams(30_000)}))
	if got := codes(); slices.Contains(got, alloy.CautionOverfill) {
		t.Errorf("planned half full: cautions %q", got)
	}
	if err := charge(holds-ledger.Kilogram, ""); err != nil {
		t.Error(err)
	}
	if got := codes(); !slices.Contains(got, alloy.CautionOverfill) {
		t.Errorf("charged full: cautions %q", got)
	}
}

// TestHeelInACrucibleTakesRoom: what the last heat left is in the crucible, whether it is
// booked into the next heat or not.
func TestHeelInACrucibleTakesRoom(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	b.Do(b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze", Capacity: 20 * ledger.Kilogram}))
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(90_000)}))).ID
	charge := func(heat string, grams int64, heel bool) error {
		_, err := b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: heat, Heel: heel, Items: []ledger.ChargeItem{{Lot: lot, Mass: ledgertest.Grams(grams)}}})
		return err
	}
	for _, heat := range []string{"1", "2"} {
		b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: heat, Alloy: "C87300", Crucible: "A60"}))
	}
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "1"))
	if err := charge("1", 20_000, false); err != nil {
		t.Fatal(err)
	}
	b.Do(b.FinishPour(ctx, ledger.Meta{}, ledger.FinishPour{Heat: "1", Heel: ledgertest.Grams(3_000)}))
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "2"))
	for _, heel := range []bool{false, true} {
		if got := questions(t, charge("2", 17_001, heel)); !slices.Equal(got, []string{ledger.FlagOverfull}) {
			t.Errorf("with the heel booked (%t): asked %q", heel, got)
		}
	}
	if err := charge("2", 17_000, true); err != nil {
		t.Error(err)
	}
}

package ledger_test

import (
	"errors"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// TestChargeIntoASettledHeatIsAskedAbout: the metal would count as unaccounted for at once,
// and the number of the heat is mistyped more likely than a charge was forgotten. One that
// was forgotten is recorded with a reason; a late cup is not asked about.
func TestChargeIntoASettledHeatIsAskedAbout(t *testing.T) {
	b, ctx := ledgertest.RunHeat41(t), t.Context()
	b.BringHome()
	b.Do(b.Settle(ctx, ledger.Meta{}, "41"))
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10_000)}))).ID
	was := b.Held(ledger.Acct(ledger.Unaccounted, "41"))
	charge := ledger.ChargeHeat{Heat: "41", Items: []ledger.ChargeItem{{Lot: lot}}}
	_, err := b.Charge(ctx, ledger.Meta{}, charge)
	var asked *ledger.Error
	if !errors.Is(err, ledger.ErrNeedsReason) || !errors.As(err, &asked) || len(asked.Flags) != 1 || asked.Flags[0].Code != ledger.FlagSettled ||
		!strings.Contains(asked.Flags[0].Text, "unaccounted") {
		t.Fatalf("charged into a settled heat: %v", err)
	}
	if now := b.Held(ledger.Acct(ledger.Unaccounted, "41")); now != was {
		t.Errorf("unaccounted %d, was %d: it was booked all the same", now, was)
	}
	e := b.Do(b.Charge(ctx, ledger.Meta{Reason: "an ingot of that day, found at the stocktake"}, charge))
	if len(e.Flags) != 2 || e.Flags[0].Code != ledger.FlagSettled || e.Flags[1].Code != ledger.FlagLate {
		t.Errorf("flags %v", e.Flags)
	}
	if now := b.Held(ledger.Acct(ledger.Unaccounted, "41")); now != was+10*ledger.Kilogram {
		t.Errorf("unaccounted %d, was %d", now, was)
	}
	b.Do(b.WeighIn(ctx, ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(100)}))
}

// TestPourIsFinishedByWhoReadTheHeat: who read the heat as it is may finish its pour, which
// writes its molds too; who read it before it changed may not.
func TestPourIsFinishedByWhoReadTheHeat(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{Name: "otter"}}}))
	opened := b.Do(b.OpenHeat(ctx, ledger.Meta{}, "1")).Seq
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10_000)}))).ID
	b.Do(b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: lot}}}))
	if _, err := b.FinishPour(ctx, ledger.Meta{Unchanged: opened - 1}, ledger.FinishPour{Heat: "1"}); !errors.Is(err, ledger.ErrStale) {
		t.Errorf("by who read it before it was opened: %v", err)
	}
	b.Do(b.FinishPour(ctx, ledger.Meta{Unchanged: opened}, ledger.FinishPour{Heat: "1"}))
}

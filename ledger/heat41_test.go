package ledger_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

var ctx = context.Background()

// TestHeat41 is the worked heat: every amount of the design's table.
func TestHeat41(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	b.Now = b.Now.Add(24 * time.Hour)
	b.Do(b.Settle(ctx, ledger.Meta{}, "41"))
	b.Want(0, "molds/41")
	b.Want(285, "unaccounted/41")
	b.Want(120, "kerf/41")

	out := ledgertest.MadeLot(t, b.Do(b.WorkUp(ctx, ledger.Meta{}, ledger.WorkUp{Lot: b.Skimmings.ID, Recovered: ledgertest.Net(390)})))
	b.Want(390, ledgertest.LotAcct(out))
	if out.Form != ledger.Prills {
		t.Errorf("out of skimmings came %q", out.Form)
	}
	b.Want(0, ledgertest.LotAcct(b.Skimmings))
	b.Want(448, "oxide/41")
	b.Want(302, "unaccounted/41")
	b.Verify()
}

// TestHeat41CupFoundLater: a cup of a settled heat found a month later comes
// out of what the heat had left unaccounted, and says so.
func TestHeat41CupFoundLater(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	b.Do(b.Settle(ctx, ledger.Meta{}, "41"))
	b.Now = b.Now.Add(30 * 24 * time.Hour)
	e := b.Do(b.WeighIn(ctx, ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(250)}))
	b.Want(35, "unaccounted/41")
	if len(e.Flags) != 1 || e.Flags[0].Code != ledger.FlagLate {
		t.Errorf("flags %v, want %s", e.Flags, ledger.FlagLate)
	}
	b.Verify()
}

// TestHeat41MoreCameBack: in molds goes below zero, shown and not refused.
func TestHeat41MoreCameBack(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	e := b.Do(b.WeighIn(ctx, ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(1_000)}))
	b.Want(-715, "molds/41")
	if len(e.Flags) != 1 || e.Flags[0].Code != ledger.FlagMoreThanIn {
		t.Errorf("flags %v, want %s", e.Flags, ledger.FlagMoreThanIn)
	}
	b.Verify()
}

// TestHeat41WrongHeat: a pig weighed on the wrong heat is reversed and weighed
// again; everything is as if it had been right.
func TestHeat41WrongHeat(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "42", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "42"))
	wrong := b.Do(b.PourOff(ctx, ledger.Meta{}, ledger.PourPigs{Heat: "42", Weighing: ledgertest.Net(3_000)}))
	b.Want(-3_000, "heat/42")
	if _, err := b.Reverse(ctx, ledger.Meta{}, ledger.ReverseEntry{Entry: wrong.Seq}); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("reversing without a reason: %v", err)
	}
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "pig was of heat 41"}, ledger.ReverseEntry{Entry: wrong.Seq}))
	b.Do(b.PourOff(ctx, ledger.Meta{}, ledger.PourPigs{Heat: "41", Weighing: ledgertest.Net(3_000)}))
	b.Want(0, "heat/42")
	b.Want(49_605, "molds/41")
	if _, err := b.Reverse(ctx, ledger.Meta{Reason: "again"}, ledger.ReverseEntry{Entry: wrong.Seq}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("reversing twice: %v", err)
	}
	b.Verify()
}

package ledger_test

import (
	"errors"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// A name of a heat or a commission that is a slip of the pen keeps metal for nobody, or
// leaves a casting out of every cost: it asks for a reason. Shops that keep no commissions
// in the book go on naming them as they like.
func TestNamesThatTheBookDoesNotKnow(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	speak := func(of string) error {
		_, err := b.SpeakFor(ctx, none, ledger.SpeakFor{Lot: b.Pigs.ID, For: of, Mass: ledgertest.Grams(100)})
		return err
	}
	mold := func(commission string) error {
		_, err := b.PlanHeat(ctx, none, ledger.PlanHeat{Alloy: "C87300", Molds: []ledger.MoldPlan{{Name: "a gate", Commission: commission}}})
		return err
	}
	casting := func(commission string) error {
		_, err := b.WeighCasting(ctx, none, ledger.WeighCasting{Heat: "41", Name: "a gate", Commission: commission, Stage: ledger.AsCast, Weighing: ledgertest.Net(100)})
		return err
	}
	check := func(what string, err error, asks bool) {
		t.Helper()
		var e *ledger.Error
		if asks && (!errors.As(err, &e) || !errors.Is(err, ledger.ErrNeedsReason) || e.Flags[0].Code != ledger.FlagNotKnown) || !asks && err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	check("kept for a heat by its number", speak("41"), false)
	check("kept for heat 41", speak("heat 41"), false)
	check("kept for its full name", speak("shops/harrow/heats/41"), false)
	check("kept for heat 77", speak("heat 77"), true)
	check("kept for 77", speak("77"), true)
	check("kept for the gates, where no commissions are kept", speak("the gates"), false)
	check("a mold for the gates, where no commissions are kept", mold("gates"), false)
	check("a casting for the gates, where no commissions are kept", casting("gates"), false)

	b.Do(b.SetCommission(ctx, none, ledger.Commission{ID: "gates", Title: "Two gates"}))
	check("kept for the commission", speak("gates"), false)
	check("a mold for it", mold("gates"), false)
	check("a casting for it", casting("gates"), false)
	check("kept for gaets", speak("gaets"), true)
	check("a mold for gaets", mold("gaets"), true)
	check("a casting for gaets", casting("gaets"), true)
	b.Verify()
}

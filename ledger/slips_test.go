package ledger_test

import (
	"errors"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// Slips of the pen that move metal or money without anybody seeing it. The figures are
// invented.

// asks tells whether a reason was asked for because of a flag.
func asks(err error, flag string) bool {
	var e *ledger.Error
	return errors.Is(err, ledger.ErrNeedsReason) && errors.As(err, &e) && len(e.Flags) == 1 && e.Flags[0].Code == flag
}

func TestDatedBeforeItBegan(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	now := b.Now
	lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9_000)})))
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "42", Alloy: "C87300", Crucible: "A60"}))
	b.Do(b.OpenHeat(ctx, none, "42"))
	gating := func(m ledger.Meta) error {
		_, err := b.WeighIn(ctx, m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(10)})
		return err
	}
	charge := func(m ledger.Meta) error {
		_, err := b.Charge(ctx, m, ledger.ChargeHeat{Heat: "42", Items: []ledger.ChargeItem{{Lot: lot.ID, Mass: ledgertest.Grams(10)}}})
		return err
	}
	receive := func(m ledger.Meta) error {
		_, err := b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10)})
		return err
	}
	cast := func(m ledger.Meta) error {
		_, err := b.WeighCasting(ctx, m, ledger.WeighCasting{Heat: "41", Name: "hook", Stage: ledger.AsCast, Weighing: ledgertest.Net(10)})
		return err
	}
	for _, c := range []struct {
		what string
		do   func(ledger.Meta) error
		ago  time.Duration
		asks bool
	}{
		{"gating on the day", gating, 20 * time.Hour, false},
		{"gating of last year", gating, 365 * 24 * time.Hour, true},
		{"a casting of last month", cast, 30 * 24 * time.Hour, true},
		{"a charge of the day, of a lot and a heat that came and began later", charge, 20 * time.Hour, false},
		{"metal that was here half a year before the book", receive, 180 * 24 * time.Hour, false},
		{"metal of a hundred years ago", receive, 100 * 365 * 24 * time.Hour, true},
	} {
		err := c.do(ledger.Meta{Happened: now.Add(-c.ago)})
		if c.asks != asks(err, ledger.FlagTooEarly) || !c.asks && err != nil {
			t.Errorf("%s: %v", c.what, err)
		}
	}
	var e *ledger.Error
	if err := charge(ledger.Meta{Happened: now.Add(-5 * 24 * time.Hour)}); !errors.As(err, &e) || len(e.Flags) != 2 {
		t.Errorf("a charge before its heat was opened, of a lot that came later: %v", err)
	}
	if err := gating(ledger.Meta{Happened: now.Add(-365 * 24 * time.Hour), Reason: "so it was"}); err != nil {
		t.Error(err)
	}
	b.Verify()
}

func TestSkimmingsAreNotMetalWholly(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	weigh := func(c ledger.WeighIn) (*ledger.Entry, error) {
		c.Form, c.LotID = ledger.Skimmings, "OLD"
		return b.WeighIn(ctx, none, c)
	}
	var e *ledger.Error
	if _, err := weigh(ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(4_000)}); !errors.As(err, &e) || e.Reason != "SKIMMINGS" {
		t.Errorf("skimmings of a heat weighed in: %v", err)
	}
	if _, err := weigh(ledger.WeighIn{Alloy: "C87300", Weighing: ledgertest.Net(4_000)}); !errors.As(err, &e) || e.Field != "weighing.dirt_percent" {
		t.Errorf("an old barrel of skimmings as metal: %v", err)
	}
	half := ledgertest.Net(4_000)
	half.Dirt = ledger.Whole / 2
	b.Do(weigh(ledger.WeighIn{Alloy: "C87300", Weighing: half}))
	b.Want(2_000, "lot/OLD")
	out := ledgertest.MadeLot(t, b.Do(b.WorkUp(ctx, none, ledger.WorkUp{Lot: "OLD", Recovered: ledgertest.Net(1_800)})))
	b.Want(0, "lot/OLD")
	b.Want(1_800, ledgertest.LotAcct(out))
	b.Want(200, "count/OLD")
	b.Verify()
}

func TestCastingThatGrewAsksForAReason(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	weigh := func(id string, stage ledger.Stage, grams int64) error {
		_, err := b.WeighCasting(ctx, none, ledger.WeighCasting{ID: id, Heat: "41", Name: id, Stage: stage, Weighing: ledgertest.Net(grams)})
		return err
	}
	for _, s := range []struct {
		what  string
		stage ledger.Stage
		grams int64
		asks  bool
	}{
		{"as cast", ledger.AsCast, 11_000, false},
		{"cut off, heavier", ledger.CutOff, 11_900, true},
		{"cut off", ledger.CutOff, 10_000, false},
		{"finished with a wrong first digit", ledger.Finished, 20_400, true},
		{"welded up", ledger.Finished, 10_400, false},
	} {
		err := weigh("K", s.stage, s.grams)
		if s.asks != asks(err, ledger.FlagHeavier) || !s.asks && err != nil {
			t.Errorf("%s: %v", s.what, err)
		}
	}
	if _, err := b.BreakUp(ctx, none, ledger.BreakUp{Casting: "K", Weighing: ledgertest.Net(14_000)}); !asks(err, ledger.FlagHeavier) {
		t.Errorf("broken up heavier: %v", err)
	}
	b.Do(b.BreakUp(ctx, none, ledger.BreakUp{Casting: "K", Weighing: ledgertest.Net(10_450)}))
	b.Verify()
}

func TestMoreBackThanASettledHeatHadIsFlagged(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.Do(b.Settle(ctx, why, "41"))
	e := b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(10_000)}))
	if hasFlag(e, ledger.FlagMoreThanIn) {
		t.Error("flagged while the heat had more unaccounted for")
	}
	e = b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(55_000)}))
	if !hasFlag(e, ledger.FlagMoreThanIn) || !hasFlag(e, ledger.FlagLate) {
		t.Errorf("flags of more than there was: %v", e.Flags)
	}
	if e = b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: e.Seq})); !hasFlag(e, ledger.FlagLate) {
		t.Errorf("flags of a reversal in a settled heat: %v", e.Flags)
	}
	b.Verify()
}

// What was cleaned is taken back from its end: the other way round the dirt that was taken
// off would come back to a lot that never was.
func TestReversedAfterItWasCleaned(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	in := b.Do(b.WeighIn(ctx, none, ledger.WeighIn{LotID: "G3", Heats: []ledger.HeatShare{{Heat: "41"}}, Dirty: true, Weighing: ledgertest.Net(2_127)}))
	cleaned := b.Do(b.Clean(ctx, none, ledger.CleanLot{Lot: "G3", Weighing: ledgertest.Net(2_110)}))
	var e *ledger.Error
	if _, err := b.Reverse(ctx, why, ledger.ReverseEntry{Entry: in.Seq}); !errors.As(err, &e) || e.Reason != "USED_SINCE" {
		t.Errorf("reversed before what came after it: %v", err)
	}
	b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: cleaned.Seq}))
	b.Want(2_127, "lot/G3")
	b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: in.Seq}))
	b.Want(0, "lot/G3")
	b.Verify()
}

// TestWhatIsNotAskedAgain: what a review found of the questions above. A bin that a
// cleaning took nothing off can be put right; pieces that were counted are not all because
// they are nearly all; skimmings stay apart when they were; one heat has one claim whatever
// it is called; what stands already is not asked about again; skimmings are not cleaned, a
// lot is not put with itself, and nothing takes the place of an analysis.
func TestWhatIsNotAskedAgain(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	of := []ledger.HeatShare{{Heat: "41"}}
	b.Do(b.WeighIn(ctx, none, ledger.WeighIn{LotID: "BIN", Heats: of, Dirty: true, Weighing: ledgertest.Net(2_000)}))
	wrong := b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Into: "BIN", Heats: of, Weighing: ledgertest.Net(500)}))
	b.Do(b.Clean(ctx, none, ledger.CleanLot{Lot: "BIN", Weighing: ledgertest.Net(2_500)}))
	b.Do(b.Reverse(ctx, why, ledger.ReverseEntry{Entry: wrong.Seq}))
	b.Want(2_000, "lot/BIN")

	small := ledgertest.Net(1_040)
	small.Pieces = 20
	b.Do(b.Receive(ctx, none, ledger.Receive{LotID: "SMALL", Supplier: "northmetal", Alloy: "C87300", Weighing: small}))
	b.Do(b.Remove(ctx, none, ledger.RemoveLot{Lot: "SMALL", How: "sold", Mass: ledger.Quantity{Typed: "1 kg"}, Pieces: 19}))
	b.Want(40, "lot/SMALL")

	half := ledgertest.Net(4_000)
	half.Dirt = ledger.Whole / 2
	b.Do(b.WeighIn(ctx, none, ledger.WeighIn{LotID: "DROSS", Alloy: ledger.UnknownAlloy, Form: ledger.Skimmings, Weighing: half}))
	out := ledgertest.MadeLot(t, b.Do(b.WorkUp(ctx, none, ledger.WorkUp{Lot: "DROSS", Recovered: ledgertest.Net(1_500)})))
	if out.Condition != ledger.SetApart {
		t.Errorf("what came out of skimmings that nobody knows is %s", out.Condition)
	}

	var e *ledger.Error
	if _, err := b.Clean(ctx, none, ledger.CleanLot{Lot: b.Skimmings.ID, Weighing: ledgertest.Net(100)}); !errors.As(err, &e) || e.Reason != "SKIMMINGS" {
		t.Errorf("skimmings cleaned: %v", err)
	}
	if _, err := b.Combine(ctx, why, ledger.CombineLots{Lots: []string{"BIN"}, Into: "BIN"}); !errors.As(err, &e) || e.Reason != "SAME_LOT" {
		t.Errorf("a lot put with itself: %v", err)
	}
	b.Do(b.Identify(ctx, none, ledger.IdentifyLot{Lot: "BIN", Alloy: "C87300", Certificate: &ledger.Certificate{Method: "XRF", Elements: []ledger.Element{{Symbol: "Si", PPM: 39_000}}}}))
	if _, err := b.Identify(ctx, none, ledger.IdentifyLot{Lot: "BIN", Alloy: "C87300", Certificate: &ledger.Certificate{Method: "XRF"}}); !errors.As(err, &e) || e.Field != "certificate.elements" {
		t.Errorf("a certificate of nothing: %v", err)
	}

	speak := func(m ledger.Meta, of string, grams int64) error {
		_, err := b.SpeakFor(ctx, m, ledger.SpeakFor{Lot: b.Pigs.ID, For: of, Mass: ledgertest.Grams(grams)})
		return err
	}
	for _, err := range []error{speak(why, "77", 400), speak(none, "heat 77", 500), speak(none, "shops/harrow/heats/77", 6_000)} {
		if err != nil {
			t.Error(err)
		}
	}

	mold := ledger.MoldPlan{ID: "M1", Name: "heron", Commission: "herons", Metal: ledgertest.Grams(900)}
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "43", Alloy: "C87300", Molds: []ledger.MoldPlan{mold}}))
	b.Do(b.SetCommission(ctx, none, ledger.Commission{ID: "gates", Title: "Two gates"}))
	mold.Metal = ledgertest.Grams(950)
	b.Do(b.SetMold(ctx, none, ledger.SetMold{Heat: "43", Mold: mold}))
	b.Verify()
}

// A casting that by its weight has its gating on is not settled as casting without a word.
func TestSettledWithTheGatingOn(t *testing.T) {
	for _, c := range []struct {
		grams int64
		stage ledger.Stage
		asks  bool
	}{{19_700, ledger.AsCast, true}, {10_200, ledger.AsCast, false}, {19_700, ledger.CutOff, false}} {
		b := ledgertest.Open(t)
		lot := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, none, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(20_000)})))
		b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{ID: "bust", Metal: ledgertest.Grams(10_000), Gating: ledgertest.Grams(9_000)}}}))
		b.Do(b.OpenHeat(ctx, none, "1"))
		b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: lot.ID}}}))
		b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
		b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{Heat: "1", Mold: "bust", Stage: c.stage, Weighing: ledgertest.Net(c.grams)}))
		if rest := 20_000 - c.grams; rest > 1_000 {
			b.Do(b.WeighIn(ctx, none, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "1"}}, Weighing: ledgertest.Net(rest - 200)}))
		}
		if _, err := b.Settle(ctx, none, "1"); c.asks != asks(err, ledger.FlagUnweighed) || !c.asks && err != nil {
			t.Errorf("%d g %s: %v", c.grams, c.stage, err)
		}
	}
}

package shop_test

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
)

// laterDay is a shop with a kilogram whose certificate says that it is clean, lot P, and a
// hundred of the same alloy with much lead, lot X.
type laterDay struct {
	*ledgertest.Shop
	t      *testing.T
	reason ledger.Meta
}

func newLaterDay(t *testing.T) laterDay {
	b := laterDay{ledgertest.Open(t), t, ledger.Meta{Reason: "as it comes"}}
	b.receive("P", 1_000, analysis("Cu", 950_000, "Pb", 100))
	b.receive("X", 100_000, analysis("Cu", 900_000, "Pb", 50_000))
	return b
}

func (b laterDay) receive(id string, grams int64, c *ledger.Certificate) {
	b.Do(b.Receive(b.t.Context(), b.reason, ledger.Receive{LotID: id, Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(grams), Certificate: c}))
}

func (b laterDay) open(heat string) {
	b.Do(b.PlanHeat(b.t.Context(), b.reason, ledger.PlanHeat{ID: heat, Alloy: "C87300"}))
	b.Do(b.OpenHeat(b.t.Context(), b.reason, heat))
}

func (b laterDay) pour(heat, lot string) {
	b.open(heat)
	b.Do(b.Charge(b.t.Context(), b.reason, ledger.ChargeHeat{Heat: heat, Items: []ledger.ChargeItem{{Lot: lot}}}))
	b.Do(b.FinishPour(b.t.Context(), b.reason, ledger.FinishPour{Heat: heat}))
}

// asks says what is asked when a lot goes into a new heat for which no reason is given.
func (b laterDay) asks(heat, lot string, want ...string) {
	b.t.Helper()
	b.open(heat)
	_, err := b.Charge(b.t.Context(), ledger.Meta{}, ledger.ChargeHeat{Heat: heat, Items: []ledger.ChargeItem{{Lot: lot}}})
	if diff := cmp.Diff(want, questions(b.t, err)); diff != "" {
		b.t.Errorf("lot %s into heat %s (-want +asked):\n%s\n%v", lot, heat, diff, err)
	}
}

func (b laterDay) lead(all []alloy.Caution, err error) string {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
	for _, c := range all {
		if c.Code == alloy.CautionLead {
			return c.Because
		}
	}
	return ""
}

func (b laterDay) lot(id, want string) {
	b.t.Helper()
	if got := b.lead(b.LotCautions(b.t.Context(), id)); got != want {
		b.t.Errorf("lot %s: %q, want %q", id, got, want)
	}
}

func (b laterDay) heat(id, want string) {
	b.t.Helper()
	if got := b.lead(b.HeatCautions(b.t.Context(), id, nil)); got != want {
		b.t.Errorf("heat %s: %q, want %q", id, got, want)
	}
}

// TestOldCertificateHidesNoLead: lead that was put into a lot after its certificate was
// written calls for its caution and for a reason; an assay of what it is now goes before
// what came, until more comes, and parts of the lot are as well known as it is.
func TestOldCertificateHidesNoLead(t *testing.T) {
	b, ctx := newLaterDay(t), t.Context()
	b.lot("P", "")
	combine := ledger.CombineLots{Lots: []string{"X"}, Into: "P"}
	_, err := b.Combine(ctx, ledger.Meta{}, combine)
	if diff := cmp.Diff([]string{ledger.FlagOutside}, questions(t, err)); diff != "" {
		t.Errorf("combining (-want +asked):\n%s", diff)
	}
	combined := b.Do(b.Combine(ctx, b.reason, combine))
	b.lot("P", "lot P holds about 5 % Pb") // (1 x 0.01 + 100 x 5) / 101 = 4.95
	b.asks("1", "P", ledger.FlagOutside)
	b.Do(b.Split(ctx, b.reason, ledger.SplitLot{Lot: "P", Parts: []ledger.Part{{LotID: "HALF", Weighing: ledgertest.Net(50_000)}}}))
	b.lot("HALF", "lot HALF holds about 5 % Pb")

	charged := b.Do(b.Charge(ctx, b.reason, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "P", Mass: ledgertest.Grams(1_000)}}}))
	b.heat("1", "lot P holds about 5 % Pb")

	// To say again what it is called is no assay.
	b.Do(b.Identify(ctx, b.reason, ledger.IdentifyLot{Lot: "P", Alloy: "C87300"}))
	b.lot("P", "lot P holds about 5 % Pb")

	// What was put back by reversing the charge is no metal that came in later.
	assay := b.Do(b.Identify(ctx, b.reason, ledger.IdentifyLot{Lot: "P", Alloy: "C87300", Certificate: analysis("Pb", 200)}))
	b.Do(b.Reverse(ctx, b.reason, ledger.ReverseEntry{Entry: charged.Seq}))
	b.lot("P", "")
	b.asks("2", "P")
	b.Do(b.Split(ctx, b.reason, ledger.SplitLot{Lot: "P", Parts: []ledger.Part{{LotID: "TENTH", Weighing: ledgertest.Net(10_000)}}}))
	b.lot("TENTH", "")
	b.lot("HALF", "lot HALF holds about 5 % Pb")
	b.receive("Y", 10_000, analysis("Pb", 100_000))
	more := b.Do(b.Combine(ctx, b.reason, ledger.CombineLots{Lots: []string{"Y"}, Into: "P"}))
	if got := b.lead(b.LotCautions(ctx, "P")); !strings.HasPrefix(got, "lot P holds about ") {
		t.Errorf("more lead after the assay: %q", got)
	}
	b.lot("TENTH", "")
	b.Do(b.Reverse(ctx, b.reason, ledger.ReverseEntry{Entry: more.Seq}))
	b.lot("P", "")
	b.Do(b.Reverse(ctx, b.reason, ledger.ReverseEntry{Entry: assay.Seq}))
	b.lot("P", "lot P holds about 5 % Pb")
	if combined.Flags[0].Code != ledger.FlagOutside {
		t.Errorf("flags %+v", combined.Flags)
	}
}

// TestReturnsBroughtToACertifiedLot: the same by returns of a heat, and what is melted of
// it carries the lead on. It is what the book carries, less what of it burns.
func TestReturnsBroughtToACertifiedLot(t *testing.T) {
	b, ctx := newLaterDay(t), t.Context()
	b.pour("1", "X")
	b.Do(b.WeighIn(ctx, b.reason, ledger.WeighIn{Into: "P", Heats: []ledger.HeatShare{{Heat: "1"}}, Weighing: ledgertest.Net(50_000)}))
	b.lot("P", "lot P holds about 4.9 % Pb") // (1 x 0.01 + 50 x 5) / 51
	c, err := b.Content(ctx, "lot/P", "")
	if err != nil || math.Abs(c.Composition.Mean["Pb"]-4.9) > 0.05 {
		t.Errorf("the book carries %v, %v", c.Composition.Mean["Pb"], err)
	}
	b.asks("2", "P", ledger.FlagOutside)
	b.pour("3", "P")
	b.heat("3", "lot P holds about 4.9 % Pb")
	made := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, b.reason, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "3"}}, Weighing: ledgertest.Net(50_000)}))).ID
	b.lot(made, "lot "+made+" holds about 4.9 % Pb")
}

// TestReturnsGivenToAHeatLater: returns of unknown origin hold what the heat holds that
// they are said to be of, also where they have gone by then, and until that is reversed.
func TestReturnsGivenToAHeatLater(t *testing.T) {
	b, ctx := newLaterDay(t), t.Context()
	b.pour("1", "X")
	id := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, b.reason, ledger.WeighIn{Alloy: "C87300", Weighing: ledgertest.Net(40_000)}))).ID
	b.lot(id, "")
	b.pour("2", id)
	b.heat("2", "")
	made := ledgertest.MadeLot(t, b.Do(b.WeighIn(ctx, b.reason, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "2"}}, Weighing: ledgertest.Net(30_000)}))).ID
	said := b.Do(b.Assign(ctx, b.reason, ledger.AssignLot{Lot: id, Heats: []ledger.HeatShare{{Heat: "1"}}}))
	b.lot(id, "lot "+id+" holds about 5 % Pb")
	b.heat("2", "lot "+id+" holds about 5 % Pb")
	b.lot(made, "lot "+made+" holds about 5 % Pb")
	b.asks("3", made, ledger.FlagOutside)
	b.Do(b.Reverse(ctx, b.reason, ledger.ReverseEntry{Entry: said.Seq}))
	b.heat("2", "")

	// Half of it of the clean heat that it went into itself, which cannot be, comes to an end.
	b.Do(b.Assign(ctx, b.reason, ledger.AssignLot{Lot: id, Heats: []ledger.HeatShare{{Heat: "1", Share: ledger.Whole / 2}, {Heat: "2", Share: ledger.Whole / 2}}}))
	if got := b.lead(b.HeatCautions(ctx, "2", nil)); got == "" {
		t.Error("half of it is leaded")
	}
}

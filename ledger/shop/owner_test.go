package shop_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestCustomersMetalStaysHers: what is cast of a customer's own metal stands in her row of
// the stock, now and as of a moment, and giving her metal to somebody else asks for a
// reason whatever it is called; giving it back to her does not. The figures are invented.
func TestCustomersMetalStaysHers(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	none := ledger.Meta{}
	b.Do(b.Receive(ctx, none, ledger.Receive{LotID: "HERS", Customer: "iris", Alloy: "C87300", Weighing: ledgertest.Net(40_000)}))
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Owner: "iris", Crucible: "A60"}))
	b.Do(b.OpenHeat(ctx, none, "1"))
	b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "HERS", Mass: ledgertest.Grams(30_000)}}}))
	b.Do(b.FinishPour(ctx, none, ledger.FinishPour{Heat: "1"}))
	b.Do(b.WeighCasting(ctx, none, ledger.WeighCasting{ID: "C1", Heat: "1", Name: "heron", Stage: ledger.AsCast, Weighing: ledgertest.Net(19_000)}))
	for _, at := range []shop.AsOf{{}, {Recorded: b.Now.Add(time.Hour)}} {
		s, err := b.Stock(ctx, at, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range s.Positions {
			want := ledger.Mass(0)
			if p.Owner == "iris" {
				want = 19 * ledger.Kilogram
			}
			if p.Castings != want {
				t.Errorf("as of %+v: %d mg of castings of %q, want %d", at, p.Castings, p.Owner, want)
			}
		}
	}
	for _, c := range []struct {
		how, to string
		asks    []string
	}{
		{"returned", "", nil},
		{"returned", "iris", nil},
		{"returned", "northmetal", []string{ledger.FlagOtherOwner}},
		{"sold", "northmetal", []string{ledger.FlagOtherOwner}},
	} {
		_, err := b.Remove(ctx, none, ledger.RemoveLot{Lot: "HERS", How: c.how, To: c.to, Mass: ledgertest.Grams(1_000)})
		if diff := cmp.Diff(c.asks, questions(t, err)); diff != "" {
			t.Errorf("%s to %q (-want +asked):\n%s", c.how, c.to, diff)
		}
	}
	b.Verify()
}

// TestAdditionsThatHurt: what is added as part of the melt calls for the cautions of the
// metal that its name says. Magnesium burns: common practice, no source.
func TestAdditionsThatHurt(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	none := ledger.Meta{}
	for id, s := range map[string]ledger.Supply{
		"turnings": {Name: "Magnesium turnings", Purpose: "other", MetalPPM: ledger.Whole},
		"flux":     {Name: "magnesium chloride flux", Purpose: "flux"},
		"pcu":      {Name: "phosphor copper", Purpose: "deoxidiser", MetalPPM: ledger.Whole},
	} {
		s.ID = id
		b.Do(b.SetSupply(ctx, none, s))
	}
	b.Do(b.Receive(ctx, none, ledger.Receive{LotID: "AL", Supplier: "northmetal", Alloy: "A356.0", Weighing: ledgertest.Net(40_000)}))
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "A356.0"}))
	b.Do(b.OpenHeat(ctx, none, "1"))
	b.Do(b.Charge(ctx, none, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "AL", Mass: ledgertest.Grams(10_000)}}}))
	for _, c := range []struct {
		supply, want string
	}{{"flux", ""}, {"pcu", ""}, {"turnings", "the addition of Magnesium turnings holds about 100 % Mg"}} {
		b.Do(b.Add(ctx, none, ledger.AddToHeat{Heat: "1", Supply: c.supply, Amount: ledgertest.Grams(20)}))
		all, err := b.HeatCautions(ctx, "1", nil)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, x := range all {
			if x.Code == alloy.CautionMagnesium {
				got = x.Because
			}
		}
		if got != c.want {
			t.Errorf("after %s: %q, want %q", c.supply, got, c.want)
		}
	}
}

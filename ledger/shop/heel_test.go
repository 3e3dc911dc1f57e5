package shop_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestHeelIsAskedAboutLikeALot: what the last heat left in a crucible goes into the next
// one as a lot does. Another alloy, another owner, and more lead than its alloy may hold
// ask for a reason, the alloy already when the heat is planned; its own alloy's asks for
// nothing. Stock shows whose it is. The figures are invented.
func TestHeelIsAskedAboutLikeALot(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	why := ledger.Meta{Reason: "as it comes"}
	receive := func(id, alloy, owner string, grams int64, c *ledger.Certificate) {
		r := ledger.Receive{LotID: id, Customer: owner, Alloy: alloy, Weighing: ledgertest.Net(grams), Certificate: c}
		if owner == "" {
			r.Supplier = "northmetal"
		}
		b.Do(b.Receive(ctx, why, r))
	}
	receive("RED", "C83600", "", 40_000, nil)
	receive("OURS", "C87300", "", 200_000, analysis("Cu", 951_000, "Si", 39_000))
	receive("HERS", "C87300", "iris", 40_000, nil)
	receive("FOUL", "C87300", "", 40_000, analysis("Pb", 50_000))
	asked := func(what string, err error, want ...string) {
		t.Helper()
		if diff := cmp.Diff(want, questions(t, err)); diff != "" {
			t.Errorf("%s (-want +asked):\n%s", what, diff)
		}
	}
	// melt leaves 2 kg of a heat of one lot in a crucible.
	melt := func(id, alloy, owner, crucible, lot string) {
		b.Do(b.PlanHeat(ctx, why, ledger.PlanHeat{ID: id, Alloy: alloy, Owner: owner, Crucible: crucible}))
		b.Do(b.OpenHeat(ctx, why, id))
		b.Do(b.Charge(ctx, why, ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: lot, Mass: ledgertest.Grams(30_000)}}}))
		b.Do(b.FinishPour(ctx, why, ledger.FinishPour{Heat: id, Heel: ledgertest.Grams(2_000)}))
	}
	// next plans one upon it, and charges the heel.
	next := func(id, crucible string) (planned, charged error) {
		plan := ledger.PlanHeat{ID: id, Alloy: "C87300", Crucible: crucible}
		_, planned = b.PlanHeat(ctx, ledger.Meta{}, plan)
		if planned != nil {
			b.Do(b.PlanHeat(ctx, why, plan))
		}
		b.Do(b.OpenHeat(ctx, why, id))
		b.Do(b.Charge(ctx, why, ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: "OURS", Mass: ledgertest.Grams(20_000)}}}))
		_, charged = b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: id, Heel: true})
		return planned, charged
	}
	for _, id := range []string{"any", "two", "three", "four"} {
		b.Do(b.SetPot(ctx, why, ledger.Pot{ID: id, Kind: ledger.PotCrucible, Name: id}))
	}
	melt("1", "C83600", "", "any", "RED")
	planned, charged := next("2", "any")
	asked("planning upon red brass", planned, ledger.FlagWrongAlloy)
	asked("charging a heel of red brass", charged, ledger.FlagWrongAlloy)

	melt("3", "C87300", "iris", "two", "HERS")
	stock := func(owner string) ledger.Mass {
		s, err := b.Stock(ctx, shop.AsOf{}, "")
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range s.Positions {
			if p.Alloy == "C87300" && p.Owner == owner {
				return p.InCrucible
			}
		}
		return 0
	}
	if got := stock("iris"); got != 2*ledger.Kilogram {
		t.Errorf("%d mg of iris's metal are in crucibles, want her heel of 2 kg", got)
	}
	planned, charged = next("4", "two")
	asked("planning upon a customer's silicon bronze", planned)
	asked("charging a customer's heel", charged, ledger.FlagOtherOwner)

	melt("5", "C87300", "", "three", "FOUL")
	planned, charged = next("6", "three")
	asked("planning upon silicon bronze", planned)
	asked("charging a heel with lead", charged, ledger.FlagOutside)

	melt("7", "C87300", "", "four", "OURS")
	planned, charged = next("8", "four")
	asked("planning upon clean silicon bronze", planned)
	asked("charging it", charged)
	b.Verify()
}

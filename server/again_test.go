package server

import (
	"testing"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// TestSettingsChangedElsewhere: what is typed is read by the settings that hold
// when it is recorded, also when another server changed them and this one has not
// heard of it.
func TestSettingsChangedElsewhere(t *testing.T) {
	w := serve(t)
	lots := pb.NewLotServiceClient(w.conn)
	weigh := func(typed string) int64 {
		t.Helper()
		r, err := lots.WeighIn(t.Context(), &pb.WeighInRequest{Parent: "shops/harrow", Alloy: "C87300", Weighing: &pb.Weighing{Net: &pb.Mass{Text: typed}}})
		if err != nil {
			t.Fatal(err)
		}
		return r.GetLot().GetMass().GetMg()
	}
	set := func(mass string) { // by another book than the server's
		t.Helper()
		w.book.Do(w.book.SetShop(t.Context(), ledger.Meta{}, ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: mass}))
	}
	if got := weigh("250"); got != 250_000 {
		t.Errorf("250 in a shop that weighs in grams is %d mg", got)
	}
	set("kg")
	if got := weigh("5"); got != 5_000_000 {
		t.Errorf("5 in a shop that now weighs in kilograms is %d mg", got)
	}
	set("lb")
	if got := weigh("2"); got != 907_185 { // 1 lb is 453 592.37 mg exactly
		t.Errorf("2 in a shop that now weighs in pounds is %d mg", got)
	}
}

package demo_test

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/demo"
)

var end = time.Date(2026, 11, 20, 18, 0, 0, 0, time.UTC)

// planHeat plans a heat of molds, each its metal and its gating in kg.
func planHeat(t testing.TB, s *shop.Shop, id, alloy, pot string, kg ...float64) {
	t.Helper()
	c := ledger.PlanHeat{ID: id, Alloy: alloy, Crucible: pot, Furnace: "east"}
	mass := func(kg float64) ledger.Quantity {
		return ledger.Quantity{Mass: ledger.Mass(kg * float64(ledger.Kilogram))}
	}
	for i := 0; i < len(kg); i += 2 {
		c.Molds = append(c.Molds, ledger.MoldPlan{Metal: mass(kg[i]), Gating: mass(kg[i+1])})
	}
	if _, err := s.PlanHeat(context.Background(), ledger.Meta{}, c); err != nil {
		t.Fatal(err)
	}
}

// TestPlansOfASmallYear: in a book that a shop has really kept, with its dirt and
// its mistakes, every alloy gets a charge or a reason; each charge is of clean metal
// that is there, and is booked in one go without anything unusual.
func TestPlansOfASmallYear(t *testing.T) {
	st, _ := seeded(t, demo.Options{Seed: 3, Heats: 20, End: end})
	s := shop.New(st, "harrow", func() time.Time { return end.Add(24 * time.Hour) })
	ctx := context.Background()
	planned := 0
	for _, c := range []struct {
		alloy, pot string
		kg         []float64
	}{
		{"C87300", "sil-70", []float64{9, 8, 4, 4, 1.5, 1.5}},
		{"C90300", "tin-60", []float64{8, 7, 3, 3}},
		{"C83600", "tin-60", []float64{5, 4}},
		{"C87500", "sil-70", []float64{6, 5, 0.8, 1}},
		{"C95400", "alb-60", []float64{7, 8}},
		{"356.0", "alu-50", []float64{2, 2, 1.5, 1.5}},
		{"319.0", "alu-50", []float64{2, 2}},
	} {
		id := "P-" + c.alloy
		planHeat(t, s, id, c.alloy, c.pot, c.kg...)
		got, err := s.PlanCharge(ctx, shop.PlanQuery{Heat: id})
		var no *ledger.Error
		if errors.As(err, &no) && no.Reason == "NO_SUCH_CHARGE" {
			if !strings.Contains(no.Want, "metal for the molds") {
				t.Errorf("%s: %v", id, err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", id, err)
			continue
		}
		planned++
		if got.Plan.ChanceShort > 0.05 || got.Plan.Fill > 1 || !got.Plan.Proof.Optimal {
			t.Errorf("%s: short %.4f, fill %.3f, proof %+v", id, got.Plan.ChanceShort, got.Plan.Fill, got.Plan.Proof)
		}
		// The book says how the pots are handled: nothing of it had to be asked.
		if p := got.Plan; got.PotMass == 0 || p.Lift <= int64(got.PotMass)+p.Charge-1 || p.PigMolds == 0 || got.Pour[0].EndC == 0 || got.Pour[0].EndC >= got.Pour[0].StartC {
			t.Errorf("%s: lift %d with %d empty, %d pig molds, poured %+v", id, p.Lift, got.PotMass, p.PigMolds, got.Pour[0])
		}
		if len(got.Fuels) != 1 || got.Fuels[0].Efficiency.Furnace != "east" || got.Fuels[0].Low <= 0 {
			t.Errorf("%s: fuel %+v; the year taught how east burns propane", id, got.Fuels)
		}
		for id, v := range got.Lots {
			if v.Alloy != c.alloy || !v.Usable() || v.Owner != "" {
				t.Errorf("lot %s in it: %+v", id, v)
			}
		}
		most, err := s.PlanCharge(ctx, shop.PlanQuery{Heat: id, Aim: charge.MostReturns})
		if err != nil || most.Plan.Returns < got.Plan.Returns-1e-9 {
			t.Errorf("%s: most returns %v, %v; the cheapest has %.3f", id, most.Plan, err, got.Plan.Returns)
		}
		if _, err := s.PlanCharge(ctx, shop.PlanQuery{Heat: id, PourOff: 400 * ledger.Kilogram}); !errors.As(err, &no) || !strings.Contains(no.Want, "pour-off at least 881.85 lb") {
			t.Errorf("%s: 400 kg left over: %v", id, err)
		}
		if _, err := s.OpenHeat(ctx, ledger.Meta{}, id); err != nil {
			t.Fatal(err)
		}
		e, err := s.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: id, Items: got.Items, Heel: got.Heel > 0})
		if err != nil || len(e.Flags) > 0 {
			t.Errorf("%s: charged as planned: %v, %v", id, e, err)
		}
		in, err := s.BalanceOf(ctx, ledger.Acct(ledger.InHeat, id))
		if err != nil || int64(in) != got.Plan.Charge {
			t.Errorf("%s: %d in the crucible, planned %d", id, in, got.Plan.Charge)
		}
	}
	if planned < 5 {
		t.Errorf("only %d of 7 alloys had a charge", planned)
	}
	v, err := ledger.Verify(ctx, st, "harrow", nil)
	if err != nil || v.Fault != nil {
		t.Errorf("verify %+v, %v", v, err)
	}
}

// TestArrangeASmallYear: molds of seven alloys go into crucibles of their families.
func TestArrangeASmallYear(t *testing.T) {
	st, _ := seeded(t, demo.Options{Seed: 3, Heats: 20, End: end})
	s := shop.New(st, "harrow", func() time.Time { return end.Add(24 * time.Hour) })
	planHeat(t, s, "A", "C87300", "sil-70", 9, 8, 4, 4, 1.5, 1.5, 12, 10)
	planHeat(t, s, "B", "C87300", "sil-70", 20, 18, 3, 3)
	planHeat(t, s, "C", "C90300", "tin-60", 8, 7, 3, 3)
	planHeat(t, s, "D", "356.0", "alu-50", 2, 2, 1.5, 1.5, 3, 3)
	got, err := s.ArrangeHeats(context.Background(), shop.ArrangeQuery{})
	if err != nil {
		t.Fatal(err)
	}
	family := map[string]string{"C87300": "sil-70", "C90300": "tin-60", "356.0": "alu-50"} // as the year used them
	molds := 0
	for _, h := range got.Heats {
		molds += len(h.Molds)
		if h.Crucible != family[h.Alloy] {
			t.Errorf("%s in %s", h.Alloy, h.Crucible)
		}
	}
	if molds != 11 || !got.Proven {
		t.Errorf("%d molds, proven %v", molds, got.Proven)
	}
}

// BenchmarkPlanCharge plans a heat in the demo year: with nothing remembered, after
// a heat was poured, and asked again.
func BenchmarkPlanCharge(b *testing.B) {
	st, _ := seeded(b, demo.Options{Seed: 1, End: end})
	now := func() time.Time { return end.Add(24 * time.Hour) }
	ctx := context.Background()
	warm := shop.New(st, "harrow", now)
	planHeat(b, warm, "P", "C87300", "sil-70", 12, 8, 10, 8)
	ask := func(b *testing.B, s *shop.Shop) {
		if _, err := s.PlanCharge(ctx, shop.PlanQuery{Heat: "P"}); err != nil {
			b.Fatal(err)
		}
	}
	b.Run("nothing remembered", func(b *testing.B) {
		for b.Loop() {
			ask(b, shop.New(st, "harrow", now))
		}
	})
	b.Run("after a heat changed", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			if _, err := warm.ChangeHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "P", Alloy: "C87300", Crucible: "sil-70", Furnace: "east"}); err != nil {
				b.Fatal(err)
			}
			b.StartTimer()
			ask(b, warm)
		}
	})
	b.Run("asked again", func(b *testing.B) {
		for b.Loop() {
			ask(b, warm)
		}
	})
}

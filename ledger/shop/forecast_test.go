package shop_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/shop"
)

// TestForecastFollowsWhatIsKnownOfTheCharge: a plan's forms are those of the shop's
// heats of the family, then what is spoken for it, then what was charged.
func TestForecastFollowsWhatIsKnownOfTheCharge(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	m := ledger.Meta{}
	b.Do(b.Settle(ctx, m, "41"))
	forecast := func() shop.LossForecast {
		t.Helper()
		f, err := b.ForecastHeat(ctx, "42")
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.0
		for _, c := range f.ByCause {
			sum += c.Mean
		}
		if math.Abs(sum-f.Whole.Mean) > 1e-12 || f.Heats != 1 || f.Charge.Family != "silicon bronze" {
			t.Errorf("causes add up to %g of %g, %d heats, %s", sum, f.Whole.Mean, f.Heats, f.Charge.Family)
		}
		return f
	}
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "42", Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Name: "hare", Metal: ledgertest.Grams(9_000), Gating: ledgertest.Grams(3_000)}}}))
	f := forecast() // heat 41: 30 000 of ingot, 14 620 of cups, 15 380 of pigs
	if want := [loss.NumForms]float64{loss.Ingot: 0.5, loss.CleanGating: 14.62 / 60, loss.Pigs: 15.38 / 60}; !near(f.Charge.Shares, want) || f.Charge.Kg != 12 {
		t.Errorf("planned: %+v (%s)", f.Charge, f.Basis)
	}
	b.Do(b.SpeakFor(ctx, m, ledger.SpeakFor{Lot: b.Pigs.ID, For: "42", Mass: ledgertest.Grams(6_000)}))
	if f = forecast(); !near(f.Charge.Shares, [loss.NumForms]float64{loss.Pigs: 1}) || f.Charge.Kg != 12 {
		t.Errorf("spoken for: %+v (%s)", f.Charge, f.Basis)
	}
	b.Do(b.OpenHeat(ctx, m, "42"))
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "42", Items: []ledger.ChargeItem{{Lot: b.Gating.ID}}}))
	if f = forecast(); !near(f.Charge.Shares, [loss.NumForms]float64{loss.CleanGating: 1}) || math.Abs(f.Charge.Kg-24.79) > 1e-9 || f.Basis != "what was charged" {
		t.Errorf("charged: %+v (%s)", f.Charge, f.Basis)
	}
	if _, err := b.ForecastHeat(ctx, "41"); !errors.Is(err, ledger.ErrState) {
		t.Errorf("a settled heat: %v", err)
	}
}

func near(got, want [loss.NumForms]float64) bool {
	for i := range got {
		if math.Abs(got[i]-want[i]) > 1e-9 {
			return false
		}
	}
	return true
}

// TestForecastsAreCheckedOnlyOnHeatsThatAreThere: too few are no error.
func TestForecastsAreCheckedOnlyOnHeatsThatAreThere(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	if c, err := b.HoldBackLosses(ctx, 20, 0.9); err != nil || c.Heats != 0 || c.Level != 0.9 {
		t.Errorf("%+v, %v", c, err)
	}
	for _, bad := range []struct {
		first int
		level float64
	}{{0, 0.9}, {1, 1}, {1, 0}, {1, math.NaN()}} {
		if _, err := b.HoldBackLosses(ctx, bad.first, bad.level); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

// TestSourcesOfWhatIsGone: a lot that was used up and a casting that was shipped
// are traced by what they held; the supplier and the certificate go with them.
func TestSourcesOfWhatIsGone(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	receive := func(g int64, number string) ledger.Lot {
		return ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(g),
			Certificate: &ledger.Certificate{Number: number}})))
	}
	one, two := receive(3_000, "NM-1"), receive(1_001, "NM-2")
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "1", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, m, "1"))
	taken := b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: one.ID}}}))
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "the other heat"}, ledger.ReverseEntry{Entry: taken.Seq}))
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: one.ID}, {Lot: two.ID}}}))
	b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: "1"}))
	b.Do(b.WeighCasting(ctx, m, ledger.WeighCasting{Heat: "1", ID: "bird", Stage: ledger.AsCast, Weighing: ledgertest.Net(3_000)}))
	b.Do(b.WeighCasting(ctx, m, ledger.WeighCasting{ID: "bird", Stage: ledger.CutOff, Weighing: ledgertest.Net(2_000)}))
	b.Do(b.ShipCasting(ctx, m, ledger.ShipCasting{Casting: "bird", To: "iris"}))
	for account, grams := range map[ledger.Account]int64{ledgertest.LotAcct(one): 3_000, "heat/1": 4_001, "casting/bird": 2_000} {
		got, err := b.TraceBack(ctx, account)
		if err != nil {
			t.Fatal(err)
		}
		sum := ledger.Mass(0)
		for _, s := range got.Sources {
			sum += s.Mass
			if s.From != "supplier/northmetal" || !strings.HasPrefix(s.Certificate, "NM-") || s.Alloy != "C87300" {
				t.Errorf("%s: source %+v", account, s)
			}
		}
		if got.Mass != ledger.Mass(grams)*ledger.Gram || sum != got.Mass {
			t.Errorf("%s held %d mg, its sources %d; want %d g", account, got.Mass, sum, grams)
		}
	}
}

// TestSuspectsSpeakTheShopsUnit: a shop that weighs in pounds reads pounds.
func TestSuspectsSpeakTheShopsUnit(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	b.Do(b.Settle(ctx, ledger.Meta{}, "41"))
	b.Do(b.WeighIn(ctx, ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: ledgertest.Net(5_000)}))
	for _, unit := range []string{"g", "lb"} {
		own := ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: unit}
		b.Do(b.SetShop(ctx, ledger.Meta{}, own))
		rec, err := b.Reconcile(ctx, "")
		if err != nil || len(rec.Suspects) == 0 {
			t.Fatalf("%v, %v", rec.Suspects, err)
		}
		if s := rec.Suspects[0]; !strings.Contains(s.Sentence, " "+unit+" ") || s.ExpectedSD <= 0 {
			t.Errorf("in %s: %q, ± %g kg", unit, s.Sentence, s.ExpectedSD)
		}
	}
}

package demo_test

import (
	"context"
	"testing"
	"time"

	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/demo"
)

// TestOrdersOfTheYear tries the ordering rule on the demo year, with planned heats to come:
// what it advises covers what they are short of in whole ingots, no heat takes more returns
// than allowed, and over all alloys the share of deliveries in time is not below the one
// stated by more than chance allows.
func TestOrdersOfTheYear(t *testing.T) {
	st, _ := seeded(t, demo.Options{Seed: 1, End: end})
	s := shop.New(st, "harrow", func() time.Time { return end })
	planHeat(t, s, "N1", "C90300", "tin-60", 20, 16, 12, 10)
	planHeat(t, s, "N2", "356.0", "alu-50", 4, 3, 3, 2)
	kept, cycles, byOffer := 0, 0, 0
	for _, service := range []float64{0.8, 0.9, 0.95} {
		o, err := s.AdviseOrders(context.Background(), shop.OrderQuery{Service: &service})
		if err != nil {
			t.Fatal(err)
		}
		kept, cycles = 0, 0
		named := 0
		for _, a := range o.Advice {
			if a.Short > a.Amount && a.Supply == "" {
				t.Errorf("%s: short of %d, orders %d", a.Alloy, a.Short, a.Amount)
			}
			if a.Order && a.By.Before(o.From) {
				t.Errorf("%s%s: to be ordered by %v, before today", a.Alloy, a.Supply, a.By)
			}
			for _, h := range a.Heats {
				named++
				if 2*h.Returns > h.Gross {
					t.Errorf("heat %s: %d of returns in %d", h.Heat, h.Returns, h.Gross)
				}
			}
			if a.Tried != nil && a.Alloy != "" {
				kept, cycles = kept+a.Tried.Kept, cycles+a.Tried.Cycles
			}
			if a.Order && a.Offer != "" {
				byOffer++
			}
			if service == 0.95 {
				t.Log(a.Sentence)
				t.Log(a.Why, a.Alternatives)
			}
		}
		if service == 0.95 {
			for _, x := range o.Surplus {
				t.Log(x.Sentence)
			}
		}
		if named != 2 {
			t.Errorf("%d planned heats", named)
		}
		t.Logf("stated %.0f %%: %d of %d deliveries in time", 100*service, kept, cycles)
		if float64(kept) < service*float64(cycles)-3 {
			t.Errorf("stated %v, kept %d of %d", service, kept, cycles)
		}
	}
	if byOffer == 0 {
		t.Error("nothing is ordered by an offer")
	}
	if cycles < 8 {
		t.Errorf("only %d deliveries in the year tried", cycles)
	}
}

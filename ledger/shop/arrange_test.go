package shop_test

import (
	"errors"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// yard is a shop with two small crucibles and molds of two alloys in three heats.
func yard(t *testing.T) *ledgertest.Shop {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.SetPot(ctx, m, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze", VolumeMm3: 4_000_000}))
	b.Do(b.SetPot(ctx, m, ledger.Pot{ID: "A30", Kind: ledger.PotCrucible, Name: "no. 30", Family: "silicon bronze", VolumeMm3: 2_000_000}))
	b.Do(b.SetPot(ctx, m, ledger.Pot{ID: "T40", Kind: ledger.PotCrucible, Name: "no. 40", Family: "tin bronze", Capacity: 30 * ledger.Kilogram}))
	b.Do(b.SetPot(ctx, m, ledger.Pot{ID: "old", Kind: ledger.PotCrucible, Name: "cracked", Family: "silicon bronze", Capacity: 500 * ledger.Kilogram, Retired: true}))
	for id, c := range map[string]ledger.PlanHeat{
		"1": {Alloy: "C87300", Molds: molds(9_000, 7_000, 3_000)},
		"2": {Alloy: "C90300", Molds: molds(8_000, 4_000)},
		"3": {Alloy: "C87300", Molds: molds(11_000, 6_000, 5_000)},
	} {
		c.ID = id
		b.Do(b.PlanHeat(ctx, m, c))
	}
	return b
}

func molds(grams ...int64) (out []ledger.MoldPlan) {
	for _, g := range grams {
		out = append(out, ledger.MoldPlan{Metal: ledgertest.Grams(g / 2), Gating: ledgertest.Grams(g - g/2)})
	}
	return out
}

// TestArrangeHeats: every mold is in one heat of its alloy and fits its crucible,
// and no way with fewer heats exists: all ways of parting the six molds of one
// alloy are tried, each part being asked for by itself.
func TestArrangeHeats(t *testing.T) {
	b := yard(t)
	from, to := 1_050.0, 1_200.0
	q := shop.ArrangeQuery{PourFromC: &from, PourToC: &to}
	got, err := b.ArrangeHeats(ctx, q)
	if err != nil {
		t.Fatal(err)
	}
	seen, bronze := map[string]bool{}, 0
	capacity := map[string]ledger.Mass{"T40": 30 * ledger.Kilogram, "A60": 30 * ledger.Kilogram, "A30": 15 * ledger.Kilogram} // at 7.4 g/ml
	for _, h := range got.Heats {
		sum := ledger.Mass(0)
		for _, m := range h.Molds {
			if seen[m.Mold.ID] {
				t.Errorf("mold %s is in two heats", m.Mold.ID)
			}
			seen[m.Mold.ID] = true
			sum += m.Mold.Metal + m.Mold.Gating
			if tin := h.Alloy == "C90300"; tin != (m.Mold.Heat == "2") {
				t.Errorf("mold %s in a heat of %s", m.Mold.ID, h.Alloy)
			}
		}
		if sum != h.MoldsMass || h.Charge <= sum || h.Charge > capacity[h.Crucible] {
			t.Errorf("heat %+v: molds of %d", h, sum)
		}
		if h.Alloy == "C87300" {
			bronze++
		} else if h.Crucible != "T40" {
			t.Errorf("tin bronze in %s", h.Crucible)
		}
	}
	if len(seen) != 8 || !got.Proven || len(got.Cautions) == 0 {
		t.Errorf("%d molds arranged, proven %v", len(seen), got.Proven)
	}
	if least := fewestHeats(t, b, q, []string{"1-1", "1-2", "1-3", "3-1", "3-2", "3-3"}); bronze != least {
		t.Errorf("%d heats of silicon bronze, %d are enough", bronze, least)
	}
}

// fewestHeats tries all ways of parting molds.
func fewestHeats(t *testing.T, b *ledgertest.Shop, q shop.ArrangeQuery, molds []string) int {
	one := map[int]bool{}
	for set := 1; set < 1<<len(molds); set++ {
		q.Molds = nil
		for i, m := range molds {
			if set>>i&1 == 1 {
				q.Molds = append(q.Molds, m)
			}
		}
		got, err := b.ArrangeHeats(ctx, q)
		if err != nil {
			t.Fatal(err)
		}
		one[set] = len(got.Heats) == 1
	}
	least := make([]int, 1<<len(molds))
	for set := 1; set < len(least); set++ {
		least[set] = len(molds) + 1
		for sub := set; sub > 0; sub = (sub - 1) & set {
			if one[sub] {
				least[set] = min(least[set], least[set&^sub]+1)
			}
		}
	}
	return least[len(least)-1]
}

// TestArrangeRefuses: what cannot be arranged is named.
func TestArrangeRefuses(t *testing.T) {
	b := yard(t)
	refused := func(q shop.ArrangeQuery, reason, field, value string) {
		t.Helper()
		_, err := b.ArrangeHeats(ctx, q)
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != reason || e.Field != field || e.Value != value {
			t.Errorf("%v, want %s of %s %q", err, reason, field, value)
		}
	}
	refused(shop.ArrangeQuery{Heats: []string{"9"}}, "NOT_FOUND", "heat", "9")
	refused(shop.ArrangeQuery{Molds: []string{"9-1"}}, "NOT_FOUND", "mold", "9-1")
	refused(shop.ArrangeQuery{Pots: []string{"X"}}, "NOT_FOUND", "crucible", "X")
	refused(shop.ArrangeQuery{Heats: []string{"2"}, Pots: []string{"A60"}}, "NO_CRUCIBLE", "alloy", "C90300")
	refused(shop.ArrangeQuery{ChanceShort: 900_000}, "BAD_PLAN", "chance_short_percent", "900000")
	b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "4", Alloy: "C87300", Molds: molds(60_000)}))
	refused(shop.ArrangeQuery{Heats: []string{"4"}}, "NO_HEAT_FOR_MOLD", "mold", "4-1")
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "1"))
	refused(shop.ArrangeQuery{Heats: []string{"1"}}, "HEAT_STATE", "heat", "1")
}

// TestArrangeKeepsPouringTemperaturesApart: where the melt hardly cools a thin
// casting and a heavy one are not poured from one crucible.
func TestArrangeKeepsPouringTemperaturesApart(t *testing.T) {
	b := yard(t)
	count := func(cooling float64) int {
		got, err := b.ArrangeHeats(ctx, shop.ArrangeQuery{Heats: []string{"1"}, Heavy: []string{"1-1"}, Light: []string{"1-2", "1-3"}, Cooling: cooling, MaxTapC: 1_095})
		if err != nil {
			t.Fatal(err)
		}
		return len(got.Heats)
	}
	// Thin ones are poured from 1091 °C, heavy ones from 1031 to 1111, and the melt
	// leaves the furnace at 1095: one heat does where it loses 1 °C in the minute that
	// two thin ones take, and two are needed where it loses 7.
	if slow, fast := count(1), count(7); slow != 1 || fast != 2 {
		t.Errorf("%d heats of a melt that cools slowly, %d of one that cools fast", slow, fast)
	}
}

// TestArrangeKnowsWhatACrucibleIsKeptFor: an old book may name the family by an alloy of it.
func TestArrangeKnowsWhatACrucibleIsKeptFor(t *testing.T) {
	b := yard(t)
	metals := b.Metals
	b.Metals = nil // as a program that did not look families up
	b.Do(b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "T40", Kind: ledger.PotCrucible, Name: "no. 40", Family: "C90300", Capacity: 30 * ledger.Kilogram}))
	b.Metals = metals
	got, err := b.ArrangeHeats(ctx, shop.ArrangeQuery{Heats: []string{"2"}})
	if err != nil || len(got.Heats) != 1 || got.Heats[0].Crucible != "T40" {
		t.Errorf("%+v, %v", got.Heats, err)
	}
}

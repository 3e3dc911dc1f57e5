package ledger_test

import (
	"errors"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// handled is a crucible whose handling is said in full.
func handled() ledger.Pot {
	return ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Handling: ledger.Handling{Empty: 12 * ledger.Kilogram, Lift: 70 * ledger.Kilogram, Fill: 900_000,
		Skull: 300 * ledger.Gram, Waiting: 4_000_000, PigMold: 5 * ledger.Kilogram, PigMolds: 6, CoolingMC: 12_500, MaxTapMC: 1_250_000}}
}

// TestPotKeepsItsHandling: what is said of a pot is kept as it was said, and what
// of it a furnace can have too.
func TestPotKeepsItsHandling(t *testing.T) {
	b := ledgertest.Open(t)
	furnace := ledger.Pot{ID: "east", Kind: ledger.PotFurnace, Name: "east furnace", Handling: ledger.Handling{Waiting: 1, PigMold: 1, PigMolds: 1, CoolingMC: 1, MaxTapMC: 1}}
	for _, p := range []ledger.Pot{handled(), furnace, {ID: "bare", Kind: ledger.PotFurnace, Name: "of which nothing is said"}} {
		b.Do(b.SetPot(ctx, ledger.Meta{}, p))
		got, err := ledger.Get[ledger.Pot](ctx, b.Book, ledger.RecPot, p.ID)
		if err != nil || got.Value != p {
			t.Errorf("kept %+v, %v; said %+v", got.Value, err, p)
		}
	}
	b.Verify()
}

func TestPotHandlingRefusals(t *testing.T) {
	for _, c := range []struct {
		what          string
		change        func(*ledger.Pot)
		reason, field string
	}{
		{"lift without empty mass", func(p *ledger.Pot) { p.Empty = 0 }, "REQUIRED", "empty_mass"},
		{"lift of the crucible alone", func(p *ledger.Pot) { p.Lift = p.Empty }, "OUT_OF_RANGE", "lift"},
		{"empty mass below 0", func(p *ledger.Pot) { p.Empty = -1 }, "OUT_OF_RANGE", "empty_mass"},
		{"lift of more than there is", func(p *ledger.Pot) { p.Lift = ledger.MaxMass + 1 }, "OUT_OF_RANGE", "lift"},
		{"skull below 0", func(p *ledger.Pot) { p.Skull = -1 }, "OUT_OF_RANGE", "skull"},
		{"more than full", func(p *ledger.Pot) { p.Fill = ledger.Whole + 1 }, "OUT_OF_RANGE", "fill_percent"},
		{"pig molds of no size", func(p *ledger.Pot) { p.PigMold = 0 }, "REQUIRED", "pig_mold"},
		{"pig molds below 0", func(p *ledger.Pot) { p.PigMolds = -1 }, "OUT_OF_RANGE", "pig_molds"},
		{"a thousand and one", func(p *ledger.Pot) { p.PigMolds = 1001 }, "OUT_OF_RANGE", "pig_molds"},
		{"room below 0", func(p *ledger.Pot) { p.Waiting = -1 }, "OUT_OF_RANGE", "waiting_room"},
		{"heating while poured", func(p *ledger.Pot) { p.CoolingMC = -1 }, "OUT_OF_RANGE", "cooling_celsius"},
		{"cools too fast", func(p *ledger.Pot) { p.CoolingMC = 300_001 }, "OUT_OF_RANGE", "cooling_celsius"},
		{"too hot", func(p *ledger.Pot) { p.MaxTapMC = 3_000_000 }, "OUT_OF_RANGE", "hottest_tap"},
		{"a furnace is lifted", func(p *ledger.Pot) { p.Kind, p.Handling = ledger.PotFurnace, ledger.Handling{Lift: 1} }, "BAD_KIND", "lift"},
		{"a furnace is weighed", func(p *ledger.Pot) { p.Kind, p.Handling = ledger.PotFurnace, ledger.Handling{Empty: 1} }, "BAD_KIND", "empty_mass"},
		{"a furnace is filled", func(p *ledger.Pot) { p.Kind, p.Handling = ledger.PotFurnace, ledger.Handling{Fill: 1} }, "BAD_KIND", "fill_percent"},
		{"a furnace keeps a skull", func(p *ledger.Pot) { p.Kind, p.Handling = ledger.PotFurnace, ledger.Handling{Skull: 1} }, "BAD_KIND", "skull"},
	} {
		b := ledgertest.Open(t)
		was, err := ledger.Get[ledger.Pot](ctx, b.Book, ledger.RecPot, "A60")
		if err != nil {
			t.Fatal(err)
		}
		p := handled()
		c.change(&p)
		var bad *ledger.Error
		if _, err := b.SetPot(ctx, ledger.Meta{}, p); !errors.As(err, &bad) || bad.Reason != c.reason || bad.Field != c.field || bad.Want == "" {
			t.Errorf("%s: %v, want %s of %s", c.what, err, c.reason, c.field)
		}
		if now, err := ledger.Get[ledger.Pot](ctx, b.Book, ledger.RecPot, "A60"); err != nil || now != was {
			t.Errorf("%s: left %+v, %v", c.what, now, err)
		}
	}
}

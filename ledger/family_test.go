package ledger_test

import (
	"errors"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// TestFamilyOfACrucible: what a crucible is kept for is a family by its own name or by an
// alloy of it. The table calls C83600 leaded red brass too; its family is red brass.
func TestFamilyOfACrucible(t *testing.T) {
	b := ledgertest.Open(t)
	none := ledger.Meta{}
	b.Do(b.SetAlloy(ctx, none, ledger.Alloy{ID: "HL-1", Names: []string{"house bronze"}, Family: "bell bronze"}))
	for said, want := range map[string]string{
		"":                 "",
		"red brass":        "red brass",
		" Red  Brass ":     "red brass",
		"leaded red brass": "red brass",
		"C83600":           "red brass",
		"aluminum bronze":  "aluminium bronze",
		"A356":             "aluminium-silicon",
		"house bronze":     "bell bronze",
		"Bell Bronze":      "bell bronze",
	} {
		b.Do(b.SetPot(ctx, none, ledger.Pot{ID: "red70", Kind: ledger.PotCrucible, Name: "no. 70", Family: said}))
		if got, err := ledger.Get[ledger.Pot](ctx, b.Book, ledger.RecPot, "red70"); err != nil || got.Value.Family != want {
			t.Errorf("kept for %q: %q, %v; want %q", said, got.Value.Family, err, want)
		}
	}
	for _, said := range []string{"aluminium", "brass", "unknown", "sillicon bronze"} {
		_, err := b.SetPot(ctx, none, ledger.Pot{ID: "red70", Kind: ledger.PotCrucible, Name: "no. 70", Family: said})
		var no *ledger.Error
		if !errors.As(err, &no) || no.Reason != "UNKNOWN_FAMILY" || no.Field != "family" || no.Value != said ||
			!strings.Contains(no.Want, "red brass") || !strings.Contains(no.Want, "aluminium-silicon") || !strings.Contains(no.Want, "bell bronze") {
			t.Errorf("kept for %q: %v", said, err)
		}
	}
	b.Do(b.SetPot(ctx, none, ledger.Pot{ID: "red70", Kind: ledger.PotCrucible, Name: "no. 70", Family: "leaded red brass"}))
	if e := b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C83600", Crucible: "red70"})); len(e.Flags) != 0 {
		t.Errorf("red brass in a crucible for red brass: %+v", e.Flags)
	}
	_, err := b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "2", Alloy: "C87300", Crucible: "red70"})
	if err == nil || !strings.Contains(err.Error(), "is kept for red brass") {
		t.Errorf("silicon bronze in a crucible for red brass: %v", err)
	}
	b.Verify()
}

// TestFamilyOfAnOldBook: what was written before families were looked up goes on, is
// resolved where it can be, and may stay when something else of the crucible is changed.
func TestFamilyOfAnOldBook(t *testing.T) {
	b := ledgertest.Open(t)
	none := ledger.Meta{}
	metals := b.Metals
	b.Metals = nil // as a program that did not look
	old := ledger.Pot{ID: "red70", Kind: ledger.PotCrucible, Name: "no. 70", Family: "leaded red brass"}
	odd := ledger.Pot{ID: "odd", Kind: ledger.PotCrucible, Name: "odd one", Family: "grandfather's bronze"}
	b.Do(b.SetPot(ctx, none, old))
	b.Do(b.SetPot(ctx, none, odd))
	b.Metals = metals
	if e := b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C83600", Crucible: "red70"})); len(e.Flags) != 0 {
		t.Errorf("red brass in a crucible for leaded red brass: %+v", e.Flags)
	}
	odd.Name = "odd one by the door"
	b.Do(b.SetPot(ctx, none, odd))
	e := b.Do(b.PlanHeat(ctx, ledger.Meta{Reason: "he knew"}, ledger.PlanHeat{ID: "2", Alloy: "C83600", Crucible: "odd"}))
	if len(e.Flags) != 1 || !strings.Contains(e.Flags[0].Text, "is kept for grandfather's bronze") {
		t.Errorf("in a crucible for nobody knows what: %+v", e.Flags)
	}
	b.Verify()
}

// TestCrucibleAndFurnaceAreNotSwapped: each must be of its kind when it is named, also when
// a plan is changed; a heat that an old book let through goes on.
func TestCrucibleAndFurnaceAreNotSwapped(t *testing.T) {
	b := ledgertest.Open(t)
	none := ledger.Meta{}
	b.Do(b.SetPot(ctx, none, ledger.Pot{ID: "gas", Kind: ledger.PotFurnace, Name: "gas furnace"}))
	refused := func(what string, e *ledger.Entry, err error, field, value, want string) {
		t.Helper()
		var no *ledger.Error
		if !errors.As(err, &no) || no.Reason != "BAD_KIND" || no.Field != field || no.Value != value || no.Want != want {
			t.Errorf("%s: %v, %v", what, e, err)
		}
	}
	e, err := b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Crucible: "gas", Furnace: "gas"})
	refused("a furnace as the crucible", e, err, "crucible", "gas", "is a furnace; name a crucible here")
	e, err = b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Crucible: "A60", Furnace: "A60"})
	refused("a crucible as the furnace", e, err, "furnace", "A60", "is a crucible; name a furnace here")
	b.Do(b.PlanHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Crucible: "A60", Furnace: "gas"}))
	e, err = b.ChangeHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Crucible: "gas", Furnace: "gas"})
	refused("changed to a furnace", e, err, "crucible", "gas", "is a furnace; name a crucible here")

	b.Do(b.SetPot(ctx, none, ledger.Pot{ID: "A60", Kind: ledger.PotFurnace, Name: "was a crucible"}))
	b.Do(b.ChangeHeat(ctx, none, ledger.PlanHeat{ID: "1", Alloy: "C87300", Crucible: "A60", Furnace: "gas", Note: "as an old book has it"}))
	b.Verify()
}

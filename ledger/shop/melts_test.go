package shop_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestCautionsEntryByEntry: asked after each entry, about the heat or about what it is
// made of, the cautions of a heat are those of somebody who reads the book for the first
// time; and a dry run that says what is to come is told those that will be.
func TestCautionsEntryByEntry(t *testing.T) {
	b, ctx, m := ledgertest.Open(t), t.Context(), ledger.Meta{Reason: "as it comes"}
	fresh := func() *shop.Shop { return shop.New(b.Store, "harrow", func() time.Time { return b.Now }) }
	asked := fresh()
	var said []string
	cautions := func(s *shop.Shop, drafted *ledger.Entry) []alloy.Caution {
		t.Helper()
		all, err := s.HeatCautions(ctx, "9", drafted)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	do := func(what string, use func(ledger.Meta) (*ledger.Entry, error)) {
		t.Helper()
		dry := m
		dry.DryRun = true
		drafted := b.Do(use(dry))
		tried := cautions(asked, drafted)
		e := b.Do(use(m))
		want, got := cautions(fresh(), nil), cautions(asked, nil)
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("%s (-read anew +kept):\n%s", what, diff)
		}
		ofHeat := false
		for _, subject := range e.Subjects() {
			ofHeat = ofHeat || subject == "heat/9"
		}
		if diff := cmp.Diff(want, tried); ofHeat && diff != "" {
			t.Errorf("%s, dry (-recorded +dry):\n%s", what, diff)
		}
		now := ""
		for _, c := range got {
			now += c.Code + " "
		}
		if len(said) == 0 || said[len(said)-1] != now {
			said = append(said, now)
		}
	}
	lot := func(alloyID string, dirty bool) string {
		t.Helper()
		return ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: alloyID, Dirty: dirty, Weighing: ledgertest.Net(9000)}))).ID
	}
	bery := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(9000), Certificate: analysis("Be", 20_000)}))).ID
	bars, unclear, dirty := lot("C87300", false), lot(ledger.UnknownAlloy, false), lot("C87300", true)
	charge := func(id string) func(ledger.Meta) (*ledger.Entry, error) {
		return func(m ledger.Meta) (*ledger.Entry, error) {
			return b.Charge(ctx, m, ledger.ChargeHeat{Heat: "9", Items: []ledger.ChargeItem{{Lot: id, Mass: ledgertest.Grams(5000)}}})
		}
	}
	supply := func(purpose string) func(ledger.Meta) (*ledger.Entry, error) {
		return func(m ledger.Meta) (*ledger.Entry, error) {
			return b.SetSupply(ctx, m, ledger.Supply{ID: "tablets", Name: "tablets", Purpose: purpose})
		}
	}
	pot := func(kg int64) func(ledger.Meta) (*ledger.Entry, error) {
		return func(m ledger.Meta) (*ledger.Entry, error) {
			return b.SetPot(ctx, m, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze", Capacity: ledger.Mass(kg) * ledger.Kilogram})
		}
	}
	do("planned", func(m ledger.Meta) (*ledger.Entry, error) {
		return b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "9", Alloy: "C87300", Crucible: "A60"})
	})
	do("opened", func(m ledger.Meta) (*ledger.Entry, error) { return b.OpenHeat(ctx, m, "9") })
	do("bars", charge(bars))
	do("a crucible that is small", pot(5))
	do("one that is not", pot(100))
	do("bars with beryllium", charge(bery))
	do("metal that nobody knows", charge(unclear))
	do("which has lead and zinc", func(m ledger.Meta) (*ledger.Entry, error) {
		return b.Identify(ctx, m, ledger.IdentifyLot{Lot: unclear, Alloy: "C84400"})
	})
	do("or rather not", func(m ledger.Meta) (*ledger.Entry, error) {
		return b.Identify(ctx, m, ledger.IdentifyLot{Lot: unclear, Alloy: "C87300"})
	})
	do("tablets", supply("grain refiner"))
	do("given", func(m ledger.Meta) (*ledger.Entry, error) {
		return b.Add(ctx, m, ledger.AddToHeat{Heat: "9", Supply: "tablets", Amount: ledgertest.Grams(10), Purpose: "as told"})
	})
	do("of chlorine", supply("chlorine degasser"))
	do("dirty metal", charge(dirty))
	do("skimmed", func(m ledger.Meta) (*ledger.Entry, error) {
		return b.Skim(ctx, m, ledger.SkimHeat{Heat: "9", Weighing: ledgertest.Net(300)})
	})
	do("an assay that finds less", func(m ledger.Meta) (*ledger.Entry, error) {
		return b.Identify(ctx, m, ledger.IdentifyLot{Lot: bery, Alloy: "C87300", Certificate: analysis("Be", 1, "Pb", 50_000)})
	})
	do("poured", func(m ledger.Meta) (*ledger.Entry, error) {
		return b.FinishPour(ctx, m, ledger.FinishPour{Heat: "9", Heel: ledgertest.Grams(100)})
	})
	if len(said) < 10 {
		t.Errorf("the cautions changed only %d times, this test sees too little: %q", len(said)-1, said)
	}
}

// TestCautionsWhileOthersWrite: who asks for cautions while others write is answered, and
// what was kept meanwhile is right afterwards.
func TestCautionsWhileOthersWrite(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	now := func() time.Time { return b.Now }
	asked := shop.New(b.Store, "harrow", now)
	heats := []string{"1", "2", "3", "4"}
	alloys := []string{"C87300", "C84400", "A356", ledger.UnknownAlloy}
	var all sync.WaitGroup
	for _, heat := range heats {
		b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: heat, Alloy: "C87300", Crucible: "A60"}))
		b.Do(b.OpenHeat(ctx, ledger.Meta{}, heat))
		all.Go(func() {
			s, m := shop.New(b.Store, "harrow", now), ledger.Meta{Reason: "as it comes"}
			for i := range 40 {
				e, err := s.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: alloys[i%4], Weighing: ledgertest.Net(900)})
				if err == nil {
					_, err = s.Charge(ctx, m, ledger.ChargeHeat{Heat: heat, Items: []ledger.ChargeItem{{Lot: ledgertest.MadeLot(t, e).ID}}})
				}
				if err == nil && i%4 == 3 {
					_, err = s.Identify(ctx, m, ledger.IdentifyLot{Lot: ledgertest.MadeLot(t, e).ID, Alloy: alloys[i%3]})
				}
				if err == nil {
					_, err = asked.HeatCautions(ctx, heat, nil)
				}
				if err != nil && !errors.Is(err, ledger.ErrState) {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	for _, heat := range heats {
		got, err := asked.HeatCautions(ctx, heat, nil)
		want, err2 := shop.New(b.Store, "harrow", now).HeatCautions(ctx, heat, nil)
		if diff := cmp.Diff(want, got); diff != "" || err != nil || err2 != nil {
			t.Errorf("heat %s, %v, %v (-read anew +kept):\n%s", heat, err, err2, diff)
		}
	}
}

// TestCautionsOfWhatWasReversed: an entry that was reversed did not happen, and what it
// called for is said no more.
func TestCautionsOfWhatWasReversed(t *testing.T) {
	b, ctx, m := ledgertest.Open(t), t.Context(), ledger.Meta{Reason: "as it comes"}
	codes := func() (all []string) {
		t.Helper()
		kept, err := b.HeatCautions(ctx, "9", nil)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range kept {
			all = append(all, c.Code)
		}
		return all
	}
	lot := func(alloyID string, grams int64, dirty bool) string {
		t.Helper()
		return ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: alloyID, Dirty: dirty, Weighing: ledgertest.Net(grams)}))).ID
	}
	bars, brass := lot("C87300", 90_000, false), lot("C84400", 9_000, true)
	b.Do(b.SetPot(ctx, m, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze", Capacity: 20 * ledger.Kilogram}))
	b.Do(b.SetSupply(ctx, m, ledger.Supply{ID: "tablets", Name: "tablets", Purpose: "chlorine degasser"}))
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "9", Alloy: "C87300", Crucible: "A60"}))
	b.Do(b.OpenHeat(ctx, m, "9"))
	charge := func(lot string, grams int64) func() (*ledger.Entry, error) {
		return func() (*ledger.Entry, error) {
			return b.Charge(ctx, m, ledger.ChargeHeat{Heat: "9", Items: []ledger.ChargeItem{{Lot: lot, Mass: ledgertest.Grams(grams)}}})
		}
	}
	b.Do(charge(bars, 5000)())
	before := codes()
	for what, use := range map[string]func() (*ledger.Entry, error){
		"too much for the crucible": charge(bars, 60_000),
		"dirty brass with lead":     charge(brass, 500),
		"tablets that give off chlorine": func() (*ledger.Entry, error) {
			return b.Add(ctx, m, ledger.AddToHeat{Heat: "9", Supply: "tablets", Amount: ledgertest.Grams(10), Purpose: "degas"})
		},
	} {
		e := b.Do(use())
		if cmp.Diff(before, codes()) == "" {
			t.Errorf("%s: no further caution of %q", what, before)
		}
		b.Do(b.Reverse(ctx, m, ledger.ReverseEntry{Entry: e.Seq}))
		if diff := cmp.Diff(before, codes()); diff != "" {
			t.Errorf("%s, reversed (-before +after): %s", what, diff)
		}
	}
}

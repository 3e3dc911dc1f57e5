package breaking

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/sqlite"
)

const shopID = "harrow"

// step is one write of a day in a shop.
type step struct {
	name string
	do   func(*shop.Shop, context.Context, ledger.Meta) (*ledger.Entry, error)
}

// with makes a step of a use case and its content.
func with[C any](name string, do func(*ledger.Book, context.Context, ledger.Meta, C) (*ledger.Entry, error), c C) step {
	return step{name, func(s *shop.Shop, ctx context.Context, m ledger.Meta) (*ledger.Entry, error) {
		return do(s.Book, ctx, m, c)
	}}
}

var (
	net   = ledgertest.Net
	grams = ledgertest.Grams
)

func dirty(g int64) ledger.WeighingIn {
	w := net(g)
	w.Dirt = 20_000
	return w
}

// day is every kind of write there is in a day's work: a book is opened and set
// up, metal comes in, a heat is melted, poured, weighed back and settled, lots are
// handled, and an entry is taken back.
var day = []step{
	with("open the book", (*ledger.Book).OpenBook, ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: "g", Currency: "USD"}),
	with("a scale", (*ledger.Book).SetScale, ledger.Scale{ID: "floor", Name: "floor scale", Division: grams(10)}),
	with("a place", (*ledger.Book).SetPlace, ledger.Place{ID: "rack", Name: "ingot rack"}),
	with("a crucible", (*ledger.Book).SetPot, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze"}),
	with("a supplier", (*ledger.Book).SetParty, ledger.Party{ID: "northmetal", Name: "North Metal", Roles: []string{ledger.RoleSupplier}}),
	with("a supply", (*ledger.Book).SetSupply, ledger.Supply{ID: "borax", Name: "anhydrous borax", Purpose: "flux"}),
	with("receive ingots", (*ledger.Book).Receive, ledger.Receive{LotID: "INGOT", Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Place: "rack", Weighing: net(30_000), Price: "310.00 USD"}),
	with("receive cups", (*ledger.Book).Receive, ledger.Receive{LotID: "CUPS", Supplier: "northmetal", Alloy: "C87300", Form: ledger.Cup, Weighing: net(14_620)}),
	with("receive pigs", (*ledger.Book).Receive, ledger.Receive{LotID: "PIGS", Supplier: "northmetal", Alloy: "C87300", Form: ledger.Pig, Weighing: net(20_380)}),
	with("receive flux", (*ledger.Book).ReceiveSupply, ledger.SupplyMove{Supply: "borax", Amount: grams(1000)}),
	with("plan a heat", (*ledger.Book).PlanHeat, ledger.PlanHeat{ID: "41", Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Name: "heron left"}, {Name: "heron right"}}}),
	with("open the heat", (*ledger.Book).OpenHeat, "41"),
	with("charge the heat", (*ledger.Book).Charge, ledger.ChargeHeat{Heat: "41", Items: []ledger.ChargeItem{{Lot: "INGOT"}, {Lot: "CUPS"}, {Lot: "PIGS", Mass: grams(15_380)}}}),
	with("add flux", (*ledger.Book).Add, ledger.AddToHeat{Heat: "41", Supply: "borax", Amount: grams(200)}),
	with("read a temperature", (*ledger.Book).Temperature, ledger.ReadTemperature{Heat: "41", Typed: "1120 C"}),
	with("skim", (*ledger.Book).Skim, ledger.SkimHeat{Heat: "41", Weighing: net(1_150), Added: grams(200)}),
	with("a spill", (*ledger.Book).Spill, ledger.SpillMetal{Heat: "41", Lost: grams(240)}),
	with("pour off pigs", (*ledger.Book).PourOff, ledger.PourPigs{Heat: "41", LotID: "P41", Weighing: net(6_300)}),
	with("pour a mold", (*ledger.Book).Pour, ledger.PourMold{Heat: "41", Mold: "41-1"}),
	with("pour the other", (*ledger.Book).Pour, ledger.PourMold{Heat: "41", Mold: "41-2"}),
	with("finish the pour", (*ledger.Book).FinishPour, ledger.FinishPour{Heat: "41"}),
	with("fuel", (*ledger.Book).RecordFuel, ledger.RecordFuel{Heats: []string{"41"}, Fuel: "propane", Amount: "14 kg"}),
	with("weigh a casting", (*ledger.Book).WeighCasting, ledger.WeighCasting{Heat: "41", Mold: "41-1", Stage: ledger.CutOff, Weighing: net(20_000)}),
	with("weigh in gating", (*ledger.Book).WeighIn, ledger.WeighIn{LotID: "GATING", Heats: []ledger.HeatShare{{Heat: "41"}}, Dirty: true, Weighing: dirty(25_300)}),
	with("clean it", (*ledger.Book).Clean, ledger.CleanLot{Lot: "GATING", Weighing: net(24_790)}),
	with("write off kerf", (*ledger.Book).WriteOff, ledger.WriteOff{Heat: "41", Cause: ledger.Kerf, Amount: grams(120)}),
	with("set a lot apart", (*ledger.Book).Hold, ledger.HoldLot{Lot: "PIGS", Why: "waiting for an assay"}),
	with("release it", (*ledger.Book).Release, "PIGS"),
	with("move it", (*ledger.Book).Move, ledger.MoveLot{Lot: "PIGS", Place: "rack"}),
	with("split it", (*ledger.Book).Split, ledger.SplitLot{Lot: "PIGS", Parts: []ledger.Part{{LotID: "PART", Weighing: net(2_000)}}}),
	with("combine", (*ledger.Book).Combine, ledger.CombineLots{Lots: []string{"PART", "P41"}, Into: "P41"}),
	with("sell some", (*ledger.Book).Remove, ledger.RemoveLot{Lot: "P41", How: "sold", Mass: grams(1_000), To: "iris"}),
	with("count the flux", (*ledger.Book).CountSupply, ledger.SupplyMove{Supply: "borax", Amount: grams(790)}),
	with("take stock", (*ledger.Book).TakeStock, ledger.TakeStock{Place: "rack", Lines: []ledger.CountLine{{Lot: "PIGS", Weighing: net(2_990)}}}),
	with("settle the heat", (*ledger.Book).Settle, "41"),
	with("receive by mistake", (*ledger.Book).Receive, ledger.Receive{LotID: "WRONG", Supplier: "northmetal", Alloy: "C87300", Weighing: net(5_000)}),
	with("take that back", (*ledger.Book).Reverse, ledger.ReverseEntry{Entry: 36}),
}

// meta is what a step is sent with, the same each time it is sent.
func meta(step int) ledger.Meta {
	return ledger.Meta{Request: ledger.RequestID{0xda, byte(step)}, Who: "mara", Reason: "so it was", Happened: now().Add(time.Duration(step) * time.Minute)}
}

func now() time.Time { return time.Date(2026, 3, 2, 18, 0, 0, 0, time.UTC) }

// book opens the file of books in dir.
func book(dir string) (*sqlite.Store, *shop.Shop, error) {
	st, err := sqlite.Open(context.Background(), filepath.Join(dir, "books"), sqlite.Options{Readers: 1})
	if err != nil {
		return nil, nil, err
	}
	return st, shop.New(st, shopID, now), nil
}

// check says what is wrong with the book in a store that is to have done so many
// steps: "" if nothing is. done may be left open by atMost > done.
func check(st ledger.Store, done, atMost int) (entries int, wrong string) {
	ctx := context.Background()
	v, err := ledger.Verify(ctx, st, shopID, nil)
	switch {
	case err != nil:
		return 0, fmt.Sprintf("verify: %v", err)
	case v.Fault != nil:
		return 0, fmt.Sprintf("verify: entry %d %s", v.Fault.Seq, v.Fault.What)
	case int(v.Entries) < done || int(v.Entries) > atMost:
		return 0, fmt.Sprintf("%d entries, want %d to %d", v.Entries, done, atMost)
	}
	err = st.View(ctx, shopID, func(r ledger.Reader) error {
		for i := range int(v.Entries) {
			s, found, err := r.ByRequest(meta(i).Request)
			if err != nil {
				return err
			}
			if !found || s.Seq != int64(i+1) {
				wrong = fmt.Sprintf("step %d is entry %d (%v), want %d", i, s.Seq, found, i+1)
			}
		}
		return nil
	})
	if err != nil {
		wrong = err.Error()
	}
	return int(v.Entries), wrong
}

// files are the bytes of a closed book before each step of the day.
func files(t *testing.T) [][]byte {
	t.Helper()
	dir := t.TempDir()
	var before [][]byte
	for i := range len(day) + 1 {
		st, s, err := book(dir)
		if err != nil {
			t.Fatal(err)
		}
		if i > 0 {
			if e, err := day[i-1].do(s, context.Background(), meta(i-1)); err != nil || e.Seq != int64(i) {
				t.Fatalf("%s: %+v, %v", day[i-1].name, e, err)
			}
		}
		if err := st.Close(); err != nil {
			t.Fatal(err)
		}
		raw, err := os.ReadFile(filepath.Join(dir, "books"))
		if err != nil {
			t.Fatal(err)
		}
		before = append(before, raw)
	}
	return before
}

// scratch is a folder for many small files, in memory where there is one.
func scratch(t *testing.T) string {
	t.Helper()
	if info, err := os.Stat("/dev/shm"); err == nil && info.IsDir() {
		if dir, err := os.MkdirTemp("/dev/shm", "breaking-"); err == nil {
			t.Cleanup(func() { _ = os.RemoveAll(dir) })
			return dir
		}
	}
	return t.TempDir()
}

func TestMain(m *testing.M) {
	if err := Install(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

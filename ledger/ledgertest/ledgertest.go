// Package ledgertest gives tests a shop's book in one line, and the worked heat
// of the design to run it through. Its people and figures are invented.
package ledgertest

import (
	"context"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/storetest"
)

// Shop is a fresh book with scales, places, people and a crucible set up, and a
// clock that stands still until moved.
type Shop struct {
	*shop.Shop
	T   testing.TB
	Now time.Time
}

var ctx = context.Background()

// Open returns a fresh book in a memory store, whose functions are rehearsed.
func Open(t testing.TB) *Shop {
	t.Helper()
	return OpenIn(t, storetest.Rehearsing{Store: memory.New()})
}

// OpenIn returns a fresh book of shop "harrow" in a store, which it closes after the test.
func OpenIn(t testing.TB, st ledger.Store) *Shop {
	t.Helper()
	b := &Shop{T: t, Now: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	b.Shop = shop.New(st, "harrow", func() time.Time { return b.Now })
	t.Cleanup(func() { _ = st.Close() })
	b.Do(b.OpenBook(ctx, ledger.Meta{}, ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: "g"}))
	b.Do(b.SetScale(ctx, ledger.Meta{}, ledger.Scale{ID: "floor", Name: "floor scale", Division: Grams(10), Class: "III"}))
	b.Do(b.SetPlace(ctx, ledger.Meta{}, ledger.Place{ID: "rack", Name: "ingot rack"}))
	b.Do(b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze"}))
	b.Do(b.SetParty(ctx, ledger.Meta{}, ledger.Party{ID: "northmetal", Name: "North Metal", Roles: []string{ledger.RoleSupplier}}))
	b.Do(b.SetParty(ctx, ledger.Meta{}, ledger.Party{ID: "iris", Name: "Iris Vale", Roles: []string{ledger.RoleCustomer}}))
	b.Do(b.SetSupply(ctx, ledger.Meta{}, ledger.Supply{ID: "borax", Name: "anhydrous borax", Purpose: "flux"}))
	return b
}

// Do fails the test on an error and returns the entry, which must tell its records as
// they are recorded.
func (b *Shop) Do(e *ledger.Entry, err error) *ledger.Entry {
	b.T.Helper()
	if err == nil {
		err = Stale(e)
	}
	if err != nil {
		b.T.Fatal(err)
	}
	return e
}

// Held is an account's balance.
func (b *Shop) Held(a ledger.Account) (m ledger.Mass) {
	b.T.Helper()
	err := b.Store.View(ctx, b.Book.Shop, func(r ledger.Reader) (err error) { m, err = r.Balance(a); return err })
	if err != nil {
		b.T.Fatal(err)
	}
	return m
}

// Want checks an account's balance in grams.
func (b *Shop) Want(grams int64, a ledger.Account) {
	b.T.Helper()
	if got := b.Held(a); got != ledger.Mass(grams)*ledger.Gram {
		b.T.Errorf("%s holds %d mg, want %d g", a, got, grams)
	}
}

// Verify runs the verifier and fails the test on a fault.
func (b *Shop) Verify() {
	b.T.Helper()
	v, err := ledger.Verify(ctx, b.Store, b.Book.Shop, nil)
	if err != nil || v.Fault != nil {
		b.T.Errorf("verify: %+v, %v", v.Fault, err)
	}
}

// Net is a net weight in grams on the floor scale.
func Net(g int64) ledger.WeighingIn {
	return ledger.WeighingIn{Scale: "floor", Net: Grams(g)}
}

// Grams is a quantity.
func Grams(g int64) ledger.Quantity { return ledger.Quantity{Mass: ledger.Mass(g) * ledger.Gram} }

// MadeLot is the lot an entry made or changed.
func MadeLot(t testing.TB, e *ledger.Entry) (l ledger.Lot) {
	t.Helper()
	if found, err := e.First(ledger.RecLot, &l); err != nil || !found {
		t.Fatalf("entry %d made no lot: %v", e.Seq, err)
	}
	return l
}

// LotAcct is a lot's account.
func LotAcct(l ledger.Lot) ledger.Account { return ledger.Acct(ledger.OfLot, l.ID) }

// Heat41 is the worked heat: 60 kg of silicon bronze, every step and amount of the
// example in DEVELOPERS.md, with the lots it makes.
type Heat41 struct {
	*Shop
	Ingots, Cups, PigsIn, Skimmings, Swept, Pigs, Gating ledger.Lot
}

// RunHeat41 takes the worked heat to the end of its pour: four molds poured, nothing
// weighed back.
func RunHeat41(t testing.TB) *Heat41 {
	b := &Heat41{Shop: Open(t)}
	m := ledger.Meta{}
	receive := func(form ledger.Form, g, pieces int64) ledger.Lot {
		w := Net(g)
		w.Pieces = pieces
		return MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: form, Weighing: w})))
	}
	b.Ingots, b.Cups, b.PigsIn = receive(ledger.Ingot, 30_000, 3), receive(ledger.Cup, 14_620, 0), receive(ledger.Pig, 15_380, 2)
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "41", Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{
		{Name: "heron left"}, {Name: "heron right"}, {Name: "plaque"}, {Name: "base"}}}))
	b.Do(b.OpenHeat(ctx, m, "41"))
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "41", Items: []ledger.ChargeItem{{Lot: b.Ingots.ID}, {Lot: b.Cups.ID}, {Lot: b.PigsIn.ID}}}))
	b.Want(60_000, "heat/41")
	b.Do(b.ReceiveSupply(ctx, m, ledger.SupplyMove{Supply: "borax", Amount: Grams(1000)}))
	b.Do(b.Add(ctx, m, ledger.AddToHeat{Heat: "41", Supply: "borax", Amount: Grams(200)}))
	b.Want(800, "supply/borax")

	// The worked figures reckon the oxide as 1.25 of CuO for 1 of copper.
	b.Skimmings = MadeLot(t, b.Do(b.Skim(ctx, m, ledger.SkimHeat{Heat: "41", Weighing: Net(1_150), Added: Grams(200), MetalPPM: 800_000})))
	b.Want(475, LotAcct(b.Skimmings))
	b.Want(380, "oxide/41")
	w := Net(240)
	b.Swept = MadeLot(t, b.Do(b.Spill(ctx, m, ledger.SpillMetal{Heat: "41", Weighing: &w})))
	w = Net(6_300)
	w.Pieces = 2
	b.Pigs = MadeLot(t, b.Do(b.PourOff(ctx, m, ledger.PourPigs{Heat: "41", Weighing: w})))
	for _, mold := range []string{"41-1", "41-2", "41-3", "41-4"} {
		b.Do(b.Pour(ctx, m, ledger.PourMold{Heat: "41", Mold: mold}))
	}
	b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: "41"}))
	b.Want(52_605, "molds/41")
	b.Want(0, "heat/41")
	return b
}

// BringHome weighs in its castings and returns and the saw's sweepings; 285 g stay in molds.
func (b *Heat41) BringHome() {
	m := ledger.Meta{}
	b.Now = b.Now.Add(9 * 24 * time.Hour)
	for i, g := range []int64{11_060, 9_240, 4_310, 2_800} { // 27 410 in four pieces
		c := ledger.WeighCasting{Heat: "41", Mold: []string{"41-1", "41-2", "41-3", "41-4"}[i], Stage: ledger.CutOff, Weighing: Net(g)}
		b.Do(b.WeighCasting(ctx, m, c))
	}
	b.Now = b.Now.Add(3 * 24 * time.Hour)
	w := Net(25_300)
	w.Dirt = 20_000
	b.Gating = MadeLot(b.T, b.Do(b.WeighIn(ctx, m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Dirty: true, Weighing: w})))
	b.Want(24_794, LotAcct(b.Gating))
	b.Now = b.Now.Add(24 * time.Hour)
	b.Do(b.Clean(ctx, m, ledger.CleanLot{Lot: b.Gating.ID, Weighing: Net(24_790)}))
	b.Want(24_790, LotAcct(b.Gating))
	sweep := Net(120)
	b.Do(b.WriteOff(ctx, m, ledger.WriteOff{Heat: "41", Cause: ledger.Kerf, Weighing: &sweep}))
	b.Want(285, "molds/41")
}

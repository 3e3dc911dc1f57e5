package ledger_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
)

// shopBook is a fresh book of one shop with what the tests need set up.
type shopBook struct {
	*ledger.Book
	t   *testing.T
	now time.Time
}

var ctx = context.Background()

func openBook(t *testing.T) *shopBook {
	t.Helper()
	b := &shopBook{t: t, now: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	b.Book = &ledger.Book{Store: memory.New(), Shop: "harrow", Metals: metals{}, Now: func() time.Time { return b.now }}
	t.Cleanup(func() { b.Store.Close() })
	b.do(b.OpenBook(ctx, ledger.Meta{}, ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: "g"}))
	b.do(b.SetScale(ctx, ledger.Meta{}, ledger.Scale{ID: "floor", Name: "floor scale", Division: 10 * ledger.Gram, Class: "III"}))
	b.do(b.SetPlace(ctx, ledger.Meta{}, ledger.Place{ID: "rack", Name: "ingot rack"}))
	b.do(b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "A60", Kind: ledger.PotCrucible, Name: "no. 60", Family: "silicon bronze"}))
	b.do(b.SetParty(ctx, ledger.Meta{}, ledger.Party{ID: "northmetal", Name: "North Metal", Roles: []string{ledger.RoleSupplier}}))
	b.do(b.SetParty(ctx, ledger.Meta{}, ledger.Party{ID: "iris", Name: "Iris Vale", Roles: []string{ledger.RoleCustomer}}))
	b.do(b.SetSupply(ctx, ledger.Meta{}, ledger.Supply{ID: "borax", Name: "anhydrous borax", Purpose: "flux"}))
	return b
}

// do fails the test on an error and returns the entry.
func (b *shopBook) do(e *ledger.Entry, err error) *ledger.Entry {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
	return e
}

func (b *shopBook) balance(a ledger.Account) (m ledger.Mass) {
	b.t.Helper()
	err := b.Store.View(ctx, b.Shop, func(r ledger.Reader) (err error) { m, err = r.Balance(a); return err })
	if err != nil {
		b.t.Fatal(err)
	}
	return m
}

func (b *shopBook) want(grams int64, a ledger.Account) {
	b.t.Helper()
	if got := b.balance(a); got != ledger.Mass(grams)*ledger.Gram {
		b.t.Errorf("%s holds %d mg, want %d g", a, got, grams)
	}
}

func (b *shopBook) verify() {
	b.t.Helper()
	v, err := ledger.Verify(ctx, b.Store, b.Shop, nil)
	if err != nil || v.Fault != nil {
		b.t.Errorf("verify: %+v, %v", v.Fault, err)
	}
}

// metals stands in for the alloy table, which has tests of its own.
type metals struct{}

func (metals) Lookup(name string) (id, family string, ok bool) {
	switch name {
	case "C87300":
		return name, "silicon bronze", true
	case "C83600":
		return name, "leaded red brass", true
	}
	return "", "", false
}

func (metals) MayMix(into, from string) (bool, string) {
	return into == from, "0.125 kg of it in 100 kg reaches the Si limit"
}
func (metals) OxideOf(string) string { return "CuO" }
func (metals) MetalInOxide(oxide string) (ledger.PPM, bool) {
	return 798_866, oxide == "CuO" // 63.546/(63.546+15.999); the science's own test derives it
}

func net(g int64) ledger.WeighingIn {
	return ledger.WeighingIn{Scale: "floor", Net: grams(g)}
}

func grams(g int64) ledger.Quantity { return ledger.Quantity{Mass: ledger.Mass(g) * ledger.Gram} }

func madeLot(t *testing.T, e *ledger.Entry) (l ledger.Lot) {
	t.Helper()
	if found, err := e.First(ledger.RecLot, &l); err != nil || !found {
		t.Fatalf("entry %d made no lot: %v", e.Seq, err)
	}
	return l
}

func lotAcct(l ledger.Lot) ledger.Account { return ledger.Acct(ledger.OfLot, l.ID) }

// heat41 runs the worked heat of the design (design/one-heat.md) up to the
// given step and returns its lots.
type heat41 struct {
	*shopBook
	ingots, cups, pigsIn, skimmings, spill, pigs, gating ledger.Lot
}

func runHeat41(t *testing.T) *heat41 {
	b := &heat41{shopBook: openBook(t)}
	m := ledger.Meta{}
	receive := func(form ledger.Form, g, pieces int64) ledger.Lot {
		w := net(g)
		w.Pieces = pieces
		return madeLot(t, b.do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: form, Weighing: w})))
	}
	b.ingots, b.cups, b.pigsIn = receive(ledger.Ingot, 30_000, 3), receive(ledger.Cup, 14_620, 0), receive(ledger.Pig, 15_380, 2)
	b.do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "41", Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{
		{Name: "heron left"}, {Name: "heron right"}, {Name: "plaque"}, {Name: "base"}}}))
	b.do(b.OpenHeat(ctx, m, "41"))
	b.do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "41", Items: []ledger.ChargeItem{{Lot: b.ingots.ID}, {Lot: b.cups.ID}, {Lot: b.pigsIn.ID}}}))
	b.want(60_000, "heat/41")
	b.do(b.ReceiveSupply(ctx, m, ledger.SupplyMove{Supply: "borax", Amount: grams(1000)}))
	b.do(b.Add(ctx, m, ledger.AddToHeat{Heat: "41", Supply: "borax", Amount: grams(200)}))
	b.want(800, "supply/borax")

	// The worked figures reckon the oxide as 1.25 of CuO for 1 of copper.
	b.skimmings = madeLot(t, b.do(b.Skim(ctx, m, ledger.SkimHeat{Heat: "41", Weighing: net(1_150), Added: grams(200), MetalPPM: 800_000})))
	b.want(475, lotAcct(b.skimmings))
	b.want(380, "oxide/41")
	w := net(240)
	b.spill = madeLot(t, b.do(b.Spill(ctx, m, ledger.SpillMetal{Heat: "41", Weighing: &w})))
	w = net(6_300)
	w.Pieces = 2
	b.pigs = madeLot(t, b.do(b.PourOff(ctx, m, ledger.PourPigs{Heat: "41", Weighing: w})))
	for _, mold := range []string{"41-1", "41-2", "41-3", "41-4"} {
		b.do(b.Pour(ctx, m, ledger.PourMold{Heat: "41", Mold: mold}))
	}
	b.do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: "41"}))
	b.want(52_605, "molds/41")
	b.want(0, "heat/41")
	return b
}

func (b *heat41) bringHome() {
	m := ledger.Meta{}
	b.now = b.now.Add(9 * 24 * time.Hour)
	for i, g := range []int64{11_060, 9_240, 4_310, 2_800} { // 27 410 in four pieces
		c := ledger.WeighCasting{Heat: "41", Mold: []string{"41-1", "41-2", "41-3", "41-4"}[i], Stage: ledger.CutOff, Weighing: net(g)}
		b.do(b.WeighCasting(ctx, m, c))
	}
	b.now = b.now.Add(3 * 24 * time.Hour)
	w := net(25_300)
	w.Dirt = 20_000
	b.gating = madeLot(b.t, b.do(b.WeighIn(ctx, m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Dirty: true, Weighing: w})))
	b.want(24_794, lotAcct(b.gating))
	b.now = b.now.Add(24 * time.Hour)
	b.do(b.Clean(ctx, m, ledger.CleanLot{Lot: b.gating.ID, Weighing: net(24_790)}))
	b.want(24_790, lotAcct(b.gating))
	sweep := net(120)
	b.do(b.WriteOff(ctx, m, ledger.WriteOff{Heat: "41", Cause: ledger.Kerf, Weighing: &sweep}))
	b.want(285, "molds/41")
}

// TestHeat41 is the worked heat: every amount of the design's table.
func TestHeat41(t *testing.T) {
	b := runHeat41(t)
	b.bringHome()
	b.now = b.now.Add(24 * time.Hour)
	b.do(b.Settle(ctx, ledger.Meta{}, "41"))
	b.want(0, "molds/41")
	b.want(285, "unaccounted/41")
	b.want(120, "kerf/41")

	out := madeLot(t, b.do(b.WorkUp(ctx, ledger.Meta{}, ledger.WorkUp{Lot: b.skimmings.ID, Recovered: net(390)})))
	b.want(390, lotAcct(out))
	b.want(0, lotAcct(b.skimmings))
	b.want(448, "oxide/41")
	b.want(302, "unaccounted/41")
	b.verify()
}

// TestHeat41CupFoundLater: a cup of a settled heat found a month later comes
// out of what the heat had left unaccounted, and says so.
func TestHeat41CupFoundLater(t *testing.T) {
	b := runHeat41(t)
	b.bringHome()
	b.do(b.Settle(ctx, ledger.Meta{}, "41"))
	b.now = b.now.Add(30 * 24 * time.Hour)
	e := b.do(b.WeighIn(ctx, ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Cup, Weighing: net(250)}))
	b.want(35, "unaccounted/41")
	if len(e.Flags) != 1 || e.Flags[0].Code != ledger.FlagLate {
		t.Errorf("flags %v, want %s", e.Flags, ledger.FlagLate)
	}
	b.verify()
}

// TestHeat41MoreCameBack: in molds goes below zero, shown and not refused.
func TestHeat41MoreCameBack(t *testing.T) {
	b := runHeat41(t)
	b.bringHome()
	e := b.do(b.WeighIn(ctx, ledger.Meta{}, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: net(1_000)}))
	b.want(-715, "molds/41")
	if len(e.Flags) != 1 || e.Flags[0].Code != ledger.FlagMoreThanIn {
		t.Errorf("flags %v, want %s", e.Flags, ledger.FlagMoreThanIn)
	}
	b.verify()
}

// TestHeat41WrongHeat: a pig weighed on the wrong heat is reversed and weighed
// again; everything is as if it had been right.
func TestHeat41WrongHeat(t *testing.T) {
	b := runHeat41(t)
	b.do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "42", Alloy: "C87300"}))
	b.do(b.OpenHeat(ctx, ledger.Meta{}, "42"))
	wrong := b.do(b.PourOff(ctx, ledger.Meta{}, ledger.PourPigs{Heat: "42", Weighing: net(3_000)}))
	b.want(-3_000, "heat/42")
	if _, err := b.Reverse(ctx, ledger.Meta{}, ledger.ReverseEntry{Entry: wrong.Seq}); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("reversing without a reason: %v", err)
	}
	b.do(b.Reverse(ctx, ledger.Meta{Reason: "pig was of heat 41"}, ledger.ReverseEntry{Entry: wrong.Seq}))
	b.do(b.PourOff(ctx, ledger.Meta{}, ledger.PourPigs{Heat: "41", Weighing: net(3_000)}))
	b.want(0, "heat/42")
	b.want(49_605, "molds/41")
	if _, err := b.Reverse(ctx, ledger.Meta{Reason: "again"}, ledger.ReverseEntry{Entry: wrong.Seq}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("reversing twice: %v", err)
	}
	b.verify()
}

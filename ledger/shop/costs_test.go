package shop_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// The worked heat, with prices for what the book has none of: by hand, 60 kg charged
// for nothing cost nothing, so a policy values what comes back and the flux costs money.
func TestCostsOfTheWorkedHeat(t *testing.T) {
	heat := ledgertest.RunHeat41(t)
	heat.BringHome()
	m := ledger.Meta{}
	heat.Do(heat.SetCosting(t.Context(), m, ledger.Costing{From: heat.Now.AddDate(-1, 0, 0), Method: "by-lot",
		Normal: []ledger.AlloyShare{{Alloy: "C87300", PPM: 10_000}}, Wear: []ledger.PotWear{{Pot: "A60", Typed: "12.00 USD"}}}))
	c, err := heat.Costs(t.Context(), shop.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	h := c.Heat("41")
	// 12.00 of wear is all that went in; nothing is lost beyond 600 g yet, and 285 g in
	// molds are within it: four castings bear 12.00 by their masses.
	if !h.Provisional || cost.Sum(h.Conversion) != 1200 || len(h.Castings) != 4 || h.Abnormal != 0 {
		t.Errorf("%+v", h)
	}
	if c.Unpriced["C87300"] != int64(60*ledger.Kilogram) {
		t.Errorf("without a price: %v", c.Unpriced)
	}
	heat.Do(heat.Settle(t.Context(), m, "41"))
	if c, err = heat.Costs(t.Context(), shop.AsOf{}); err != nil {
		t.Fatal(err)
	}
	// Lost are 380 + 120 + 285 = 785 g, 185 beyond the normal 600, of 27 410 + 185 g:
	// 12.00 × 185 ÷ 27 595 = 0.08.
	if h = c.Heat("41"); h.Provisional || h.Abnormal != 8 || h.InProcess != 0 {
		t.Errorf("settled: %+v", h)
	}
	moneyAdds(t, c)
}

// A closed period keeps its figures; what is learned later shows beside them.
func TestAClosedPeriodStays(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.Receive(t.Context(), m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10_000), Price: "100.00 USD"}))
	from := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	to := from.AddDate(0, 1, 0)
	if _, err := b.CloseMonth(t.Context(), m, from, to); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("closed before its end: %v", err)
	}
	b.Now = to.AddDate(0, 0, 3)
	b.Do(b.CloseMonth(t.Context(), m, from, to))
	if _, err := b.CloseMonth(t.Context(), m, from, to); !errors.Is(err, ledger.ErrState) {
		t.Errorf("closed twice: %v", err)
	}
	if _, err := b.SetCosting(t.Context(), m, ledger.Costing{From: from, Method: "first-in"}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("a policy inside a closed period: %v", err)
	}
	april := to.AddDate(0, 1, 0)
	st, err := b.CostStatement(t.Context(), to, april)
	if err != nil || len(st.Changes) != 0 || st.Opening.Stock != 100_00 {
		t.Errorf("%+v, %v", st, err)
	}
	// A delivery of March booked in April.
	b.Do(b.Receive(t.Context(), ledger.Meta{Happened: from.AddDate(0, 0, 20)}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(5_000), Price: "60.00 USD"}))
	march, err := b.CostStatement(t.Context(), from, to)
	if err != nil || march.Kept == nil || line(t, march, "metal in stock") != 100_00 || line(t, march, "bought and spent") != 100_00 {
		t.Errorf("March as it was reported: %+v, %v", march, err)
	}
	if len(march.Stock) != 1 || march.Stock[0] != (ledger.ClosedStock{Alloy: "C87300", Mass: 10 * ledger.Kilogram, Minor: 100_00}) {
		t.Errorf("stock as it was reported: %+v", march.Stock)
	}
	for _, c := range march.Changes {
		if c.Now-c.Was != 60_00 {
			t.Errorf("%+v", c)
		}
	}
	statementSums(t, march)
	if st, err = b.CostStatement(t.Context(), to, april); err != nil {
		t.Fatal(err)
	}
	if line(t, st, "opening") != 100_00 || line(t, st, "corrections of closed periods") != 60_00 || line(t, st, "bought and spent") != 0 || line(t, st, "here at the end") != 160_00 {
		t.Errorf("April: %+v", st.Figures())
	}
	if want := []shop.Change{{Name: "bought and spent", Was: 100_00, Now: 160_00}, {Name: "metal in stock", Was: 100_00, Now: 160_00}}; !slices.Equal(st.Changes, want) {
		t.Errorf("%+v", st.Changes)
	}
	statementSums(t, st)
	// Closed with its correction, April hands it on: May has none.
	b.Now = april.AddDate(0, 0, 1)
	b.Do(b.CloseMonth(t.Context(), m, to, april))
	may, err := b.CostStatement(t.Context(), april, april.AddDate(0, 1, 0))
	if err != nil || line(t, may, "opening") != 160_00 || line(t, may, "corrections of closed periods") != 0 || len(may.Changes) != 0 {
		t.Errorf("May: %+v, %v", may, err)
	}
	statementSums(t, may)
}

func line(t *testing.T, st shop.Statement, name string) int64 {
	t.Helper()
	for _, l := range st.Figures() {
		if l.Name == name {
			return l.Minor
		}
	}
	t.Errorf("no line %s in %+v", name, st.Figures())
	return 0
}

// statementSums checks that opening + corrections + in = out + closing.
func statementSums(t interface{ Errorf(string, ...any) }, st shop.Statement) {
	in, out, closing, end := int64(0), int64(0), int64(0), int64(0)
	for _, l := range st.Figures() {
		switch l.Name {
		case "opening", "corrections of closed periods", "bought and spent":
			in += l.Minor
		case "castings that left", "lots that left", "abnormal loss", "differences and supplies used":
			out += l.Minor
		case "here at the end":
			end = l.Minor
		default:
			closing += l.Minor
		}
	}
	if in != out+closing || closing != end {
		t.Errorf("in %d, out %d, here %d, said to be here %d: %+v", in, out, closing, end, st.Figures())
	}
}

// What a policy says of a heat is frozen when the heat is settled; heats that are open
// follow a policy that is recorded later and dated back. The method cannot be changed
// from before a settled heat.
func TestSettlingFreezesThePolicy(t *testing.T) {
	heat := ledgertest.RunHeat41(t)
	heat.BringHome()
	m, from := ledger.Meta{}, heat.Now.AddDate(-1, 0, 0)
	set := func(method string, ppm ledger.PPM) error {
		_, err := heat.SetCosting(t.Context(), m, ledger.Costing{From: from, Method: method, Normal: []ledger.AlloyShare{{Alloy: "C87300", PPM: ppm}},
			Recovered: []ledger.AlloyPrice{{Alloy: "C87300", Typed: fmt.Sprintf("%d.00 USD/kg", ppm/10_000)}}})
		return err
	}
	normal := func(want ledger.Mass, returns int64) {
		t.Helper()
		c, err := heat.Costs(t.Context(), shop.AsOf{})
		if err != nil {
			t.Fatal(err)
		}
		// Back from the heat are 24 790 + 6 300 + 240 g of it: 31.33 kg.
		if h := c.Heat("41"); ledger.Mass(h.Normal) != want || cost.Sum(h.Credits) != returns {
			t.Errorf("normal %d, want %d; credits %+v, want %d", h.Normal, want, h.Credits, returns)
		}
	}
	recorded := heat.Now
	for _, ppm := range []ledger.PPM{10_000, 20_000} {
		heat.Now = heat.Now.Add(time.Hour)
		if err := set("by-lot", ppm); err != nil {
			t.Fatal(err)
		}
		normal(ledger.Mass(60*ppm), 31_33*int64(ppm)/10_000)
	}
	heat.Do(heat.Settle(t.Context(), m, "41"))
	if err := set("by-lot", 30_000); err != nil {
		t.Fatal(err)
	}
	normal(1200*ledger.Gram, 62_66)
	var e *ledger.Error
	if err := set("first-in", 30_000); !errors.As(err, &e) || e.Reason != "HEAT_SETTLED" {
		t.Errorf("another method from before a settled heat: %v", err)
	}
	if _, err := heat.SetCosting(t.Context(), m, ledger.Costing{From: heat.Now.AddDate(0, 0, 1), Method: "first-in"}); err != nil {
		t.Errorf("another method from tomorrow on: %v", err)
	}
	// As the book knew it before any policy, no loss was normal.
	c, err := heat.Costs(t.Context(), shop.AsOf{Recorded: recorded})
	if h := c.Heat("41"); err != nil || h.Normal != 0 || !h.Provisional {
		t.Errorf("as recorded before: %+v, %v", h, err)
	}
}

// A late weigh-in on an open heat says by how much its cost changed.
func TestCostChanges(t *testing.T) {
	heat := ledgertest.RunHeat41(t)
	m := ledger.Meta{}
	heat.Do(heat.SetCosting(t.Context(), m, ledger.Costing{From: heat.Now.AddDate(-1, 0, 0), Method: "by-lot",
		Recovered: []ledger.AlloyPrice{{Alloy: "C87300", Typed: "5.00 USD/kg"}}, Wear: []ledger.PotWear{{Pot: "A60", Typed: "400.00 USD"}}}))
	before := heat.Now
	heat.Now = heat.Now.Add(time.Hour)
	heat.Do(heat.WeighIn(t.Context(), m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(10_000)}))
	for _, since := range []time.Time{{}, before} {
		c, err := heat.CostOfHeat(t.Context(), "41", since)
		if err != nil {
			t.Fatal(err)
		}
		// 10 kg came back at 5.00; returns had taken over 6 300 + 240 g, 32.70.
		got := c.Changes()
		if i := slices.Index(got, shop.Change{Name: "taken over by returns", Was: 32_70, Now: 82_70}); i < 0 || c.Through == 0 {
			t.Errorf("since %v: %+v through %d", since, got, c.Through)
		}
		sum := int64(0)
		for _, x := range got { // what went in did not change, so what it became sums to nothing
			sum += x.Now - x.Was
		}
		if sum != 0 {
			t.Errorf("changes of %d: %+v", sum, got)
		}
	}
	if c, err := heat.CostOfHeat(t.Context(), "41", heat.Now); err != nil || len(c.Changes()) != 0 {
		t.Errorf("since now: %+v, %v", c.Changes(), err)
	}
}

// A crucible's price is worn off over the heats it lasts, unless a policy says what a
// heat wears off it: 100.00 over 3 heats is 33.33, 33.34 and 33.33, and then nothing.
func TestCrucibleWear(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	for _, typed := range []string{"-5.00 USD", "4.00 USD/kg", "0.00 USD"} {
		if _, err := b.SetPot(t.Context(), m, ledger.Pot{ID: "new", Name: "new", Kind: ledger.PotCrucible, Price: &ledger.Price{Typed: typed}}); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("a crucible for %s: %v", typed, err)
		}
	}
	b.Do(b.SetPot(t.Context(), m, ledger.Pot{ID: "new", Name: "new", Kind: ledger.PotCrucible, LifeHeats: 3, Price: &ledger.Price{Typed: "100.00 USD"}}))
	for i, want := range []int64{33_33, 33_34, 33_33, 0} {
		id := fmt.Sprint("w", i)
		b.Do(b.PlanHeat(t.Context(), m, ledger.PlanHeat{ID: id, Alloy: "C87300", Crucible: "new"}))
		b.Do(b.OpenHeat(t.Context(), m, id))
		b.Do(b.FinishPour(t.Context(), m, ledger.FinishPour{Heat: id}))
		c, err := b.Costs(t.Context(), shop.AsOf{})
		if got := cost.Sum(c.Heat(id).Conversion); err != nil || got != want {
			t.Errorf("heat %d wears off %d, want %d: %v", i+1, got, want, err)
		}
	}
	b.Do(b.SetCosting(t.Context(), m, ledger.Costing{From: b.Now.AddDate(-1, 0, 0), Method: "by-lot", Wear: []ledger.PotWear{{Pot: "new", Typed: "5.00 USD"}}}))
	c, err := b.Costs(t.Context(), shop.AsOf{})
	if got := cost.Sum(c.Heat("w0").Conversion); err != nil || got != 5_00 {
		t.Errorf("a policy says 5.00, the heat wears off %d: %v", got, err)
	}
}

// A customer's own metal has a pool of its own, costs nothing whatever it is said to be
// worth, and is not metal without a price.
func TestCustomersMetal(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.Receive(t.Context(), m, ledger.Receive{LotID: "hers", Customer: "iris", Alloy: "C87300", Weighing: ledgertest.Net(8_000), Price: "90.00 USD"}))
	b.Do(b.Receive(t.Context(), m, ledger.Receive{LotID: "gift", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(2_000)}))
	b.Do(b.Receive(t.Context(), m, ledger.Receive{LotID: "ours", Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(6_000), Price: "60.00 USD"}))
	c, err := b.Costs(t.Context(), shop.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	kg := int64(ledger.Kilogram)
	if got := c.Customers(); len(got) != 1 || got[0] != (cost.Position{Pool: "C87300", Owner: "iris", Mass: 8 * kg}) {
		t.Errorf("%+v", got)
	}
	if got := c.Stock(); len(got) != 1 || got[0] != (cost.Position{Pool: "C87300", Mass: 8 * kg, Value: cost.Value{Cost: 60_00, Free: 2 * kg}}) {
		t.Errorf("%+v", got)
	}
	if c.In != 60_00 {
		t.Errorf("%d came in", c.In)
	}
	b.Do(b.PlanHeat(t.Context(), m, ledger.PlanHeat{ID: "1", Alloy: "C87300", Crucible: "A60"}))
	b.Do(b.OpenHeat(t.Context(), m, "1"))
	b.Do(b.Charge(t.Context(), ledger.Meta{Reason: "she agreed"}, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "hers"}, {Lot: "gift"}, {Lot: "ours"}}}))
	e := b.Do(b.WeighCasting(t.Context(), m, ledger.WeighCasting{Heat: "1", Stage: ledger.CutOff, Weighing: ledgertest.Net(4_000)}))
	var k ledger.Casting
	if _, err := e.First(ledger.RecCasting, &k); err != nil {
		t.Fatal(err)
	}
	if c, err = b.Costs(t.Context(), shop.AsOf{}); err != nil {
		t.Fatal(err)
	}
	if h := c.Heat("1"); h.Charged != 16*kg || h.Free != 2*kg || h.Theirs != 8*kg || h.Metal != 60_00 {
		t.Errorf("%+v", h)
	}
	if one, h, ok := c.Casting(k.ID); !ok || h.ID != "1" || one.Mass != 4*kg || one.Free != kg/2 {
		t.Errorf("casting %s: %+v of %s", k.ID, one, h.ID)
	}
	if _, _, ok := c.Casting("none"); ok {
		t.Error("a casting that is not there has a cost")
	}
	moneyAdds(t, c)
}

func moneyAdds(t interface{ Errorf(string, ...any) }, c shop.Costs) {
	w := c.Where()
	if sum := w.Stock + w.Theirs + w.Supplies + w.InProcess + w.Castings + w.Shipped + w.Left + w.Abnormal + w.Expensed; sum != w.In {
		t.Errorf("%+v sums to %d", w, sum)
	}
}

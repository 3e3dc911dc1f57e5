package shop_test

import (
	"errors"
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
	st, err := b.CostStatement(t.Context(), to, to.AddDate(0, 1, 0))
	if err != nil || len(st.Adjusted) != 0 || st.Opening.Stock != 100_00 {
		t.Errorf("%+v, %v", st, err)
	}
	// A delivery of March booked in April.
	b.Do(b.Receive(t.Context(), ledger.Meta{Happened: from.AddDate(0, 0, 20)}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(5_000), Price: "60.00 USD"}))
	if st, err = b.CostStatement(t.Context(), to, to.AddDate(0, 1, 0)); err != nil || len(st.Adjusted) != 1 {
		t.Fatalf("%+v, %v", st, err)
	}
	for i, was := range st.Adjusted[0].Figures {
		want := int64(0)
		if was.Name == "bought and spent" || was.Name == "metal in stock" {
			want = 60_00
		}
		if now := st.Adjusted[0].Now[i]; now.Minor-was.Minor != want {
			t.Errorf("%s was %d, is %d", was.Name, was.Minor, now.Minor)
		}
	}
}

func moneyAdds(t interface{ Errorf(string, ...any) }, c shop.Costs) {
	w := c.Where()
	if sum := w.Stock + w.Supplies + w.InProcess + w.Castings + w.Shipped + w.Left + w.Abnormal + w.Expensed; sum != w.In {
		t.Errorf("%+v sums to %d", w, sum)
	}
}

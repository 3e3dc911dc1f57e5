package shop_test

import (
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// What was here when the book was begun comes from nobody, is a source of its own for
// what is melted from it, is no purchase of the month in which it is put in the book, and
// without a price counts as free, which costs say.
func TestOpeningStock(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	priced := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{HereAlready: true, Alloy: "C87300", Form: ledger.Gating, Weighing: ledgertest.Net(10_000), Price: "6.00 USD/kg"})))
	free := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{HereAlready: true, Alloy: "C87300", Weighing: ledgertest.Net(30_000)})))
	wrong := b.Do(b.Receive(ctx, m, ledger.Receive{HereAlready: true, Alloy: "C87300", Weighing: ledgertest.Net(5_000)}))
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "counted twice"}, ledger.ReverseEntry{Entry: wrong.Seq}))
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(2_000), Price: "20.00 USD"}))
	b.Want(-40_000, ledger.OpeningStock)
	if len(free.From) != 1 || free.From[0].Account != ledger.OpeningStock || free.Condition != ledger.Clean || free.Form != ledger.Ingot {
		t.Errorf("%+v", free)
	}
	p, err := b.Period(ctx, shop.PeriodQuery{From: b.Now.AddDate(0, -1, 0), To: b.Now.AddDate(0, 1, 0)})
	if err != nil || len(p.Flows) != 1 {
		t.Fatalf("%+v, %v", p.Flows, err)
	}
	if f := p.Flows[0]; f.HereAlready != 40_000*g || f.Received != 2_000*g || f.Closing != 42_000*g || f.Opening != 0 || f.Counted != 0 {
		t.Errorf("%+v", f)
	}
	from := time.Date(b.Now.Year(), b.Now.Month(), 1, 0, 0, 0, 0, time.UTC)
	st, err := b.CostStatement(ctx, from, from.AddDate(0, 1, 0))
	if err != nil || line(t, st, "bought and spent") != 80_00 || line(t, st, "metal in stock") != 80_00 {
		t.Errorf("%+v, %v", st.Figures(), err)
	}
	costs, err := b.Costs(ctx, shop.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	if got := costs.Flow.Unpriced["C87300"]; got != int64(30_000*g) {
		t.Errorf("%d mg came in without a price, want 30 kg", got)
	}
	back, err := b.TraceBack(ctx, ledger.Acct(ledger.OfLot, priced.ID))
	if err != nil || len(back.Sources) != 1 || back.Sources[0].Node != "lot/"+priced.ID || back.Sources[0].From != "" {
		t.Errorf("%+v, %v", back.Sources, err)
	}
	b.Verify()
}

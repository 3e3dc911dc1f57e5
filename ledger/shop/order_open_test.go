package shop_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// A heat of 40 kg in 20 days finds 10 kg of ingot here, and 20 kg more are to come in eight
// days: nothing is to be ordered, and the order is named. Late, it is reckoned as coming
// today; given up, the metal is missing.
func TestOpenOrdersAreReckonedWith(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	w := ledgertest.Net(10_000)
	w.Pieces = 2
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: w, Price: "9.00 USD/kg"}))
	b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Cup, Weighing: ledgertest.Net(100_000)}))
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{Alloy: "C87300", Planned: b.Now.AddDate(0, 0, 20), Charge: ledgertest.Grams(40_000),
		Molds: []ledger.MoldPlan{{Name: "heron", Metal: ledgertest.Grams(18_000), Gating: ledgertest.Grams(14_000)}}}))
	if a := advise(t, b, shop.OrderQuery{}); a.Short != 10e6 || !a.Order {
		t.Fatalf("without an order: %s", a.Sentence)
	}
	b.Do(b.WriteOrder(ctx, m, ledger.WriteOrder{Supplier: "northmetal", Expected: b.Now.AddDate(0, 0, 8), Lines: []ledger.OrderItem{
		{Alloy: "C87300", Pieces: 4, Each: ledgertest.Grams(5_000)}, {Supply: "borax", Mass: ledgertest.Grams(7_000)}}}))
	if a := advise(t, b, shop.OrderQuery{}); a.Short != 10e6 || len(a.Coming) > 0 {
		t.Errorf("being written: %s", a.Sentence)
	}
	b.Do(b.PlaceOrder(ctx, m, ledger.PlaceOrder{Order: "1"}))
	a := advise(t, b, shop.OrderQuery{})
	if a.Short != 0 || a.Order || len(a.Coming) != 1 || a.Coming[0].Amount != 20e6 || a.Coming[0].Order != "1" || a.Coming[0].Late {
		t.Errorf("%s: short of %d, %+v to come", a.Sentence, a.Short, a.Coming)
	}
	if a.Heats[0].New != 20e6 || a.Curve[7].Middle != 10e6 || a.Curve[8].Middle != 30e6 || a.Curve[21].Middle > 12e6 {
		t.Errorf("heat %+v, curve %+v, %+v, %+v", a.Heats[0], a.Curve[7], a.Curve[8], a.Curve[21])
	}
	if want := "20.0 kg on its way (order 1, 10 Mar)"; !strings.Contains(a.Sentence, want) || !slices.ContainsFunc(a.Reasons, func(s string) bool { return strings.Contains(s, "order 1 of northmetal, expected 10 Mar") }) {
		t.Errorf("%q, %q", a.Sentence, a.Reasons)
	}
	all, err := b.AdviseOrders(ctx, shop.OrderQuery{})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range all.Advice {
		if x.Supply == "borax" && (len(x.Coming) != 1 || x.Coming[0].Amount != 7e6) {
			t.Errorf("borax: %+v", x)
		}
	}
	// One ingot comes; three are late.
	b.Now = b.Now.AddDate(0, 0, 10)
	part := ledgertest.Net(5_100)
	part.Pieces = 1
	b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{{Line: 1, Weighing: part}}}))
	if a = advise(t, b, shop.OrderQuery{}); len(a.Coming) != 1 || a.Coming[0].Amount != 15e6 || !a.Coming[0].Late || a.Curve[0].Middle != 30_100_000 {
		t.Errorf("%s: %+v, %+v", a.Sentence, a.Coming, a.Curve[0])
	}
	b.Do(b.GiveUpOrder(ctx, m, ledger.GiveUpOrder{Order: "1"}))
	if a = advise(t, b, shop.OrderQuery{}); len(a.Coming) != 0 || a.Short != 4_900_000 {
		t.Errorf("given up: %s, short of %d", a.Sentence, a.Short)
	}
}

// Two orders of a supplier say nothing of its deliveries; three do, unless a time is
// asked for.
func TestOrdersTellTheDeliveryTime(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	leads := func(q shop.OrderQuery) string { return fmt.Sprint(advise(t, b, q).Leads) }
	for i, days := range []int{4, 9, 5} {
		id := fmt.Sprint(i + 1)
		b.Do(b.WriteOrder(ctx, m, ledger.WriteOrder{Supplier: "northmetal", Lines: []ledger.OrderItem{{Alloy: "C87300", Mass: ledgertest.Grams(10_000), Price: "9.00 USD/kg"}}}))
		b.Do(b.PlaceOrder(ctx, m, ledger.PlaceOrder{Order: id}))
		b.Now = b.Now.AddDate(0, 0, days)
		b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: id, Lines: []ledger.Delivered{{Weighing: ledgertest.Net(10_000)}}}))
		if got := leads(shop.OrderQuery{}); i < 2 && got != "[10]" || i == 2 && got != "[4 9 5]" {
			t.Errorf("after %d orders: %s", i+1, got)
		}
	}
	month := 30
	if got := leads(shop.OrderQuery{Lead: &month}); got != "[30]" {
		t.Errorf("asked for: %s", got)
	}
	o, err := b.AdviseOrders(ctx, shop.OrderQuery{})
	if err != nil || !slices.Contains(o.Notes, "Deliveries of northmetal took 4 to 9 days, by 3 orders.") {
		t.Errorf("%q, %v", o.Notes, err)
	}
	// An order without a day is expected when such deliveries come.
	b.Do(b.WriteOrder(ctx, m, ledger.WriteOrder{Supplier: "northmetal", Lines: []ledger.OrderItem{{Alloy: "C87300", Mass: ledgertest.Grams(10_000)}}}))
	b.Do(b.PlaceOrder(ctx, m, ledger.PlaceOrder{Order: "4"}))
	if a := advise(t, b, shop.OrderQuery{}); len(a.Coming) != 1 || a.Coming[0].Day.Sub(b.Now).Hours() > 5*24 || a.Coming[0].Day.Sub(b.Now).Hours() < 4*24 {
		t.Errorf("%+v", a.Coming)
	}
}

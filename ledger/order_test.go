package ledger_test

import (
	"errors"
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

func orderOf(t fataler, e *ledger.Entry) (o ledger.Order) {
	if found, err := e.First(ledger.RecOrder, &o); err != nil || !found {
		t.Fatalf("entry %d has no order: %v", e.Seq, err)
	}
	return o
}

func readOrder(t fataler, b *ledgertest.Shop, id string) ledger.Order {
	s, err := ledger.Get[ledger.Order](ctx, b.Book, ledger.RecOrder, id)
	if err != nil {
		t.Fatalf("order %s: %v", id, err)
	}
	return s.Value
}

func typed(s string) ledger.Quantity { return ledger.Quantity{Typed: s} }

// ingotsAndBorax is 10 ingots of about 10 kg at 9 dollars a kilogram, a sack of borax for
// a sum, and freight.
func ingotsAndBorax() ledger.WriteOrder {
	return ledger.WriteOrder{Supplier: "northmetal", Freight: "30.01 USD", Lines: []ledger.OrderItem{
		{Alloy: "C87300", Pieces: 10, Each: typed("10 kg"), Price: "9.00 USD/kg"},
		{Supply: "borax", Mass: typed("20 kg"), Price: "41.00 USD"},
	}}
}

func came(line int, grams, pieces int64) ledger.Delivered {
	d := ledger.Delivered{Line: line, Weighing: ledgertest.Net(grams)}
	d.Weighing.Pieces = pieces
	return d
}

// An order that comes in two deliveries, by hand: 4 ingots weigh 40.4 kg, so 363.60; then
// the other six, 61.1 kg, and the borax. 101.5 kg in all cost 913.50. Freight goes with
// 120 kg: 40.4/120 of 30.01 is 10.10, the last delivery takes 19.91, of which 61.1/81.1,
// 15.00, with the ingots.
func TestOrderComesInParts(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	o := orderOf(t, b.Do(b.WriteOrder(ctx, m, ingotsAndBorax())))
	if o.ID != "1" || o.State() != ledger.BeingWritten {
		t.Errorf("%+v is %s", o, o.State())
	}
	o = orderOf(t, b.Do(b.PlaceOrder(ctx, m, ledger.PlaceOrder{Order: "1", Expected: b.Now.AddDate(0, 0, 9)})))
	if o.State() != ledger.Ordered || !o.Placed.Equal(b.Now) {
		t.Errorf("placed: %+v", o)
	}
	if worth, _ := o.Worth(); worth != (ledger.Money{Goods: 941_00, Freight: 30_01}) {
		t.Errorf("worth %+v", worth)
	}
	b.Now = b.Now.AddDate(0, 0, 8)
	e := b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{came(1, 40_400, 4)}}))
	lot := ledgertest.MadeLot(t, e)
	a := ledger.Acct(ledger.OfLot, lot.ID)
	if want := []ledger.Cost{{Account: a, Currency: "USD", Minor: 363_60}, {Account: a, Currency: "USD", Minor: 10_10}}; !slices.Equal(e.Costs, want) || len(e.Flags) > 0 {
		t.Errorf("%+v %+v", e.Costs, e.Flags)
	}
	if lot.Price == nil || lot.Price.Minor != 363_60 || lot.Pieces != 4 || lot.Alloy != "C87300" || lot.Form != ledger.Ingot {
		t.Errorf("%+v", lot)
	}
	o = orderOf(t, e)
	if mass, n := o.Missing(0); o.State() != ledger.SomeHere || mass != 60*ledger.Kilogram || n != 6 {
		t.Errorf("%s, %d mg in %d pieces missing", o.State(), mass, n)
	}
	b.Want(40_400, a)
	b.Want(-40_400, "supplier/northmetal")

	b.Now = b.Now.AddDate(0, 0, 3)
	e = b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{came(1, 61_100, 6), came(2, 20_000, 0)}}))
	a = ledger.Acct(ledger.OfLot, ledgertest.MadeLot(t, e).ID)
	want := []ledger.Cost{{Account: a, Currency: "USD", Minor: 549_90}, {Account: a, Currency: "USD", Minor: 15_00},
		{Account: "supply/borax", Currency: "USD", Minor: 41_00}, {Account: "supply/borax", Currency: "USD", Minor: 4_91}}
	if !slices.Equal(e.Costs, want) || len(e.Flags) > 0 {
		t.Errorf("%+v %+v", e.Costs, e.Flags)
	}
	o = orderOf(t, e)
	if _, got := o.Worth(); o.State() != ledger.AllHere || got != (ledger.Money{Goods: 954_50, Freight: 30_01}) || !o.AllHereOn().Equal(b.Now) {
		t.Errorf("%s on %v, %+v", o.State(), o.AllHereOn(), got)
	}

	// Reversed, the delivery never was, and the order waits for it again.
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "another customer's"}, ledger.ReverseEntry{Entry: e.Seq}))
	o = readOrder(t, b, "1")
	if mass, n := o.Missing(0); o.State() != ledger.SomeHere || mass != 60*ledger.Kilogram || n != 6 || !o.Receipts[1].Void {
		t.Errorf("%s, %d mg in %d pieces missing", o.State(), mass, n)
	}
	b.Want(0, a)
	b.Want(0, "supply/borax")

	// The rest is given up, and that is taken back too.
	given := b.Do(b.GiveUpOrder(ctx, m, ledger.GiveUpOrder{Order: "1", Why: "sold out"}))
	o = orderOf(t, given)
	if mass, n := o.Missing(0); o.State() != ledger.GivenUp || mass != 0 || n != 0 {
		t.Errorf("%s, %d mg in %d pieces missing", o.State(), mass, n)
	}
	e = b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{came(1, 10_000, 1)}}))
	if len(e.Flags) != 1 || e.Flags[0].Code != ledger.FlagNotExpected {
		t.Errorf("after it was given up: %+v", e.Flags)
	}
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "found some"}, ledger.ReverseEntry{Entry: given.Seq}))
	if o = readOrder(t, b, "1"); o.State() != ledger.SomeHere {
		t.Errorf("given up by mistake: %s", o.State())
	}
	b.Verify()
}

// More than was ordered is a fact: it is booked and paid by weight, and flagged. A sum
// for a line stays that sum.
func TestMoreCameThanOrdered(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.WriteOrder(ctx, m, ingotsAndBorax()))
	e := b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{came(1, 111_000, 11), came(2, 25_000, 0)}}))
	var codes []string
	for _, f := range e.Flags {
		codes = append(codes, f.Code)
	}
	if !slices.Equal(codes, []string{ledger.FlagNotExpected, ledger.FlagMoreThanOrdered, ledger.FlagMoreThanOrdered}) {
		t.Errorf("%+v", e.Flags)
	}
	o := orderOf(t, e)
	if _, got := o.Worth(); o.State() != ledger.AllHere || got.Goods != 999_00+41_00 || got.Freight != 30_01 {
		t.Errorf("%s %+v", o.State(), got)
	}
	// A line is here when it is said to be, whatever it weighs, and then bears all of its sum.
	b.Do(b.WriteOrder(ctx, m, ingotsAndBorax()))
	few := came(2, 19_000, 0)
	few.Last = true
	e = b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "2", Lines: []ledger.Delivered{few}}))
	o = orderOf(t, e)
	if mass, _ := o.Missing(1); mass != 0 || e.Costs[0].Minor != 41_00 {
		t.Errorf("%d missing, %+v", mass, e.Costs)
	}
}

// A delivery typed in twice: the second bears nothing of the sum, which went with the
// first. Take the first back, and the second bears it.
func TestTypedInTwice(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.WriteOrder(ctx, m, ledger.WriteOrder{Supplier: "northmetal", Freight: "12 USD", Lines: []ledger.OrderItem{{Alloy: "C87300", Mass: typed("50 kg"), Price: "400 USD"}}}))
	in := ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{{Weighing: ledgertest.Net(50_000)}}} // the only line
	first, second := b.Do(b.ReceiveOrder(ctx, m, in)), b.Do(b.ReceiveOrder(ctx, m, in))
	lot := ledgertest.MadeLot(t, second)
	if len(second.Costs) != 1 || second.Costs[0].Minor != 0 || lot.Price.Minor != 0 {
		t.Errorf("the second bears %+v", second.Costs)
	}
	back := b.Do(b.Reverse(ctx, ledger.Meta{Reason: "twice"}, ledger.ReverseEntry{Entry: first.Seq}))
	sums := map[ledger.Account]int64{}
	for _, c := range back.Costs {
		sums[c.Account] += c.Minor
	}
	a := ledger.Acct(ledger.OfLot, lot.ID)
	if sums[a] != 412_00 || sums[ledger.Acct(ledger.OfLot, ledgertest.MadeLot(t, first).ID)] != -412_00 {
		t.Errorf("%+v", back.Costs)
	}
	v, err := b.GetLot(ctx, lot.ID)
	if err != nil || v.Price.Minor != 400_00 {
		t.Errorf("%+v, %v", v.Price, err)
	}
	c, err := b.Costs(ctx, shop.AsOf{})
	if err != nil || c.Where().Stock != 412_00 || c.Where().In != 412_00 {
		t.Errorf("%+v, %v", c.Where(), err)
	}
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "not ours"}, ledger.ReverseEntry{Entry: second.Seq}))
	if c, err = b.Costs(ctx, shop.AsOf{}); err != nil || c.Where().In != 0 {
		t.Errorf("%+v, %v", c.Where(), err)
	}
	b.Verify()
}

// An order can be changed while it is being written; then only its day and its note.
func TestOrderIsChanged(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	first := b.Do(b.WriteOrder(ctx, m, ingotsAndBorax()))
	c := ingotsAndBorax()
	c.ID, c.Freight = "1", ""
	changed := b.Do(b.ChangeOrder(ctx, ledger.Meta{Unchanged: first.Seq}, c))
	if _, err := b.ChangeOrder(ctx, ledger.Meta{Unchanged: first.Seq}, c); !errors.Is(err, ledger.ErrStale) {
		t.Errorf("changed meanwhile: %v", err)
	}
	placed := b.Do(b.PlaceOrder(ctx, ledger.Meta{Unchanged: changed.Seq}, ledger.PlaceOrder{Order: "1"}))
	c.Note, c.Expected = "by the back door", b.Now.AddDate(0, 0, 20)
	c.Lines[0].Each = typed("10000 g") // the same, typed otherwise
	b.Do(b.ChangeOrder(ctx, m, c))
	c.Lines[0].Price = "9.10 USD/kg"
	var e *ledger.Error
	if _, err := b.ChangeOrder(ctx, m, c); !errors.As(err, &e) || e.Reason != "ORDERED" {
		t.Errorf("another price: %v", err)
	}
	if _, err := b.PlaceOrder(ctx, m, ledger.PlaceOrder{Order: "1"}); !errors.As(err, &e) || e.Reason != "ORDER_STATE" {
		t.Errorf("ordered twice: %v", err)
	}
	// Ordered by mistake: nothing is taken back that was done since but the ordering.
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "never sent"}, ledger.ReverseEntry{Entry: placed.Seq}))
	if o := readOrder(t, b, "1"); o.State() != ledger.BeingWritten || o.Note != "by the back door" {
		t.Errorf("%s: %+v", o.State(), o)
	}
	b.Do(b.GiveUpOrder(ctx, m, ledger.GiveUpOrder{Order: "1"}))
	if _, err := b.GiveUpOrder(ctx, m, ledger.GiveUpOrder{Order: "1"}); !errors.As(err, &e) || e.Reason != "ORDER_STATE" {
		t.Errorf("given up twice: %v", err)
	}
	set := ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: "g", Currency: "CAD"}
	if _, err := b.SetShop(ctx, m, set); !errors.As(err, &e) || e.Reason != "CURRENCY_IN_USE" {
		t.Errorf("another currency: %v", err)
	}
	b.Verify()
}

func TestOrderRefusals(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.SetSupply(ctx, ledger.Meta{}, ledger.Supply{ID: "tablets", Name: "degassing tablets", Purpose: "degasser", InPieces: true}))
	head, err := b.HeadOf(ctx)
	if err != nil {
		t.Fatal(err)
	}
	line := func(change func(*ledger.OrderItem)) ledger.WriteOrder {
		c := ingotsAndBorax()
		change(&c.Lines[0])
		return c
	}
	order := func(change func(*ledger.WriteOrder)) ledger.WriteOrder {
		c := ingotsAndBorax()
		change(&c)
		return c
	}
	for _, c := range []struct {
		c             ledger.WriteOrder
		field, reason string
	}{
		{order(func(c *ledger.WriteOrder) { c.Supplier = "nobody" }), "supplier", "NOT_FOUND"},
		{order(func(c *ledger.WriteOrder) { c.Supplier = "" }), "supplier", "REQUIRED"},
		{order(func(c *ledger.WriteOrder) { c.Lines = nil }), "lines", "REQUIRED"},
		{order(func(c *ledger.WriteOrder) { c.Freight = "30" }), "freight", "MISSING_CURRENCY"},
		{order(func(c *ledger.WriteOrder) { c.Freight = "30 USD/kg" }), "freight", "NOT_A_TOTAL"},
		{order(func(c *ledger.WriteOrder) { c.ID = "a b" }), "order", "BAD_ID"},
		{line(func(l *ledger.OrderItem) { l.Alloy = "unobtainium" }), "lines[0].alloy", "UNKNOWN_ALLOY"},
		{line(func(l *ledger.OrderItem) { l.Alloy = "unknown" }), "lines[0].alloy", "ALLOY_UNKNOWN"},
		{line(func(l *ledger.OrderItem) { l.Supply = "borax" }), "lines[0].alloy", "REQUIRED"},
		{line(func(l *ledger.OrderItem) { l.Alloy, l.Supply = "", "rope" }), "lines[0].supply", "NOT_FOUND"},
		{line(func(l *ledger.OrderItem) { l.Form = "cloud" }), "lines[0].form", "BAD_FORM"},
		{line(func(l *ledger.OrderItem) { l.Pieces = -1 }), "lines[0].pieces", "OUT_OF_RANGE"},
		{line(func(l *ledger.OrderItem) { l.Pieces, l.Each, l.Mass.Mass = 0, ledger.Quantity{}, -5 }), "lines[0].mass", "NEGATIVE"},
		{line(func(l *ledger.OrderItem) { l.Mass = typed("5 kg") }), "lines[0].mass", "REQUIRED"},
		{line(func(l *ledger.OrderItem) { l.Each = ledger.Quantity{} }), "lines[0].each", "REQUIRED"},
		{line(func(l *ledger.OrderItem) { l.Pieces, l.Mass = 0, typed("5 kg") }), "lines[0].pieces", "REQUIRED"},
		{line(func(l *ledger.OrderItem) { l.Pieces = 999_999 }), "lines[0].pieces", "TOO_LARGE"},
		{line(func(l *ledger.OrderItem) { l.LeastPieces = 12 }), "lines[0].pieces", "BELOW_LEAST"},
		{line(func(l *ledger.OrderItem) { l.LeastMass = typed("250 lb") }), "lines[0].mass", "BELOW_LEAST"},
		{line(func(l *ledger.OrderItem) { l.Price = "9.00" }), "lines[0].price", "MISSING_CURRENCY"},
		{line(func(l *ledger.OrderItem) { l.Price = "90/pc" }), "lines[0].price", "MISSING_CURRENCY"},
		{line(func(l *ledger.OrderItem) { l.Price = "9.00 EUR/kg" }), "lines[0].price", "MISSING_EXCHANGE"},
		{line(func(l *ledger.OrderItem) { l.Price = "-9.00 USD/kg" }), "lines[0].price", "NEGATIVE"},
		{line(func(l *ledger.OrderItem) { *l = ledger.OrderItem{Supply: "tablets", Pieces: 5, Price: "3 USD/kg"} }), "lines[0].price", "COUNTED_IN_PIECES"},
		{line(func(l *ledger.OrderItem) {
			*l = ledger.OrderItem{Supply: "borax", Mass: typed("5 kg"), Price: "3 USD/pc"}
		}), "lines[0].price", "NOT_IN_PIECES"},
	} {
		_, err := b.WriteOrder(ctx, ledger.Meta{}, c.c)
		var e *ledger.Error
		if !errors.As(err, &e) || e.Field != c.field || e.Reason != c.reason {
			t.Errorf("%+v: %v, want %s of %s", c.c, err, c.reason, c.field)
		}
	}
	if now, err := b.HeadOf(ctx); err != nil || now.Seq != head.Seq {
		t.Errorf("a refusal recorded something: %v, %v", now, err)
	}
	b.Do(b.WriteOrder(ctx, ledger.Meta{}, ingotsAndBorax()))
	for _, c := range []struct {
		in            ledger.Delivered
		field, reason string
	}{
		{came(0, 5_000, 1), "lines[1].line", "NO_SUCH_LINE"},
		{came(3, 5_000, 1), "lines[1].line", "NO_SUCH_LINE"},
		{came(1, 0, 1), "lines[1].weighing.net", "ZERO"},
		{ledger.Delivered{Line: 1, Weighing: ledgertest.Net(5), Place: "moon"}, "lines[1].place", "NOT_FOUND"},
		{ledger.Delivered{Line: 2, Weighing: ledgertest.Net(5), Place: "rack"}, "lines[1].line", "NOT_METAL"},
	} {
		if c.in.Weighing.Net.Mass == 0 {
			c.in.Weighing.Net.Typed = "0 kg"
		}
		_, err := b.ReceiveOrder(ctx, ledger.Meta{}, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{came(1, 10_000, 1), c.in}})
		var e *ledger.Error
		if !errors.As(err, &e) || e.Field != c.field || e.Reason != c.reason {
			t.Errorf("%+v: %v, want %s of %s", c.in, err, c.reason, c.field)
		}
	}
	if o := readOrder(t, b, "1"); len(o.Receipts) > 0 {
		t.Errorf("half a delivery is booked: %+v", o.Receipts)
	}
}

type fataler interface{ Fatalf(string, ...any) }

// What a delivery was invoiced with its own price and freight it bears, and the order's are
// dealt over the others. By hand: 10 ingots of 10 kg at 9.00, with 30.01 of freight for them and 20 kg
// of borax, are 0.2501 a kilogram.
func TestDeliveryByItsInvoice(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.WriteOrder(ctx, m, ingotsAndBorax()))
	own := came(1, 40_000, 4)
	own.Price = "9.50 EUR/kg at 1.10 USD/EUR"
	e := b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Freight: "12.34 USD", Lines: []ledger.Delivered{own}}))
	lot := ledgertest.MadeLot(t, e)
	a := ledger.Acct(ledger.OfLot, lot.ID)
	if want := []ledger.Cost{{Account: a, Currency: "USD", Minor: 418_00}, {Account: a, Currency: "USD", Minor: 12_34}}; !slices.Equal(e.Costs, want) || lot.Price.Minor != 380_00 || lot.Price.Currency != "EUR" {
		t.Errorf("%+v, %+v", e.Costs, lot.Price)
	}
	second := b.Do(b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{came(1, 60_000, 6)}}))
	a = ledger.Acct(ledger.OfLot, ledgertest.MadeLot(t, second).ID)
	if want := []ledger.Cost{{Account: a, Currency: "USD", Minor: 540_00}, {Account: a, Currency: "USD", Minor: 15_00}}; !slices.Equal(second.Costs, want) { // 30.01 × 60 ÷ 120 is 15.005, to even
		t.Errorf("%+v", second.Costs)
	}
	o := readOrder(t, b, "1")
	if _, got := o.Worth(); got.Goods != 958_00 || got.Freight != 27_34 {
		t.Errorf("%+v", got)
	}
	b.Do(b.Reverse(ctx, ledger.Meta{Reason: "a mistake"}, ledger.ReverseEntry{Entry: e.Seq}))
	sum := int64(0)
	all, err := b.Entries(ctx, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range all {
		for _, c := range e.Costs {
			sum += c.Minor
		}
	}
	if sum != 555_00 {
		t.Errorf("%d is left of the order, not that of the second delivery", sum)
	}
	for price, reason := range map[string]string{"9.50/kg": "MISSING_CURRENCY", "9.50 EUR/kg": "MISSING_EXCHANGE"} {
		bad := came(1, 5_000, 1)
		bad.Price = price
		_, err := b.ReceiveOrder(ctx, m, ledger.ReceiveOrder{Order: "1", Lines: []ledger.Delivered{bad}})
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != reason || e.Field != "lines[0].price" {
			t.Errorf("%s: %v", price, err)
		}
	}
	b.Verify()
}

// Less than the supplier's offer allows is not ordered of them; of others it is, and where
// the line says another least.
func TestOrderBelowTheOffersLeast(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.SetParty(ctx, m, ledger.Party{ID: "calder", Name: "Calder", Roles: []string{ledger.RoleSupplier}}))
	b.Do(b.KeepOffer(ctx, m, ledger.NewOffer{Party: "calder", Alloy: "C87300", Least: typed("50 kg"), Breaks: []ledger.NewOfferBreak{{Price: "9.00 USD/kg"}}}))
	b.Do(b.SetSupply(ctx, m, ledger.Supply{ID: "tablets", Name: "degassing tablets", Purpose: "degasser", InPieces: true}))
	b.Do(b.KeepOffer(ctx, m, ledger.NewOffer{Party: "calder", Supply: "tablets", LeastPieces: 10, Breaks: []ledger.NewOfferBreak{{Price: "1.10 USD/pc"}}}))
	write := func(supplier string, l ledger.OrderItem) error {
		_, err := b.WriteOrder(ctx, m, ledger.WriteOrder{Supplier: supplier, Lines: []ledger.OrderItem{l}})
		return err
	}
	for _, c := range []struct {
		line  ledger.OrderItem
		field string
	}{{ledger.OrderItem{Alloy: "C87300", Mass: typed("49 kg")}, "lines[0].mass"}, {ledger.OrderItem{Supply: "tablets", Pieces: 9}, "lines[0].pieces"}} {
		var e *ledger.Error
		if err := write("calder", c.line); !errors.As(err, &e) || e.Reason != "BELOW_LEAST" || e.Field != c.field {
			t.Errorf("%+v: %v", c.line, err)
		}
		if err := write("northmetal", c.line); err != nil {
			t.Errorf("of another: %v", err)
		}
	}
	for _, l := range []ledger.OrderItem{{Alloy: "C87300", Mass: typed("50 kg")}, {Alloy: "C87300", Mass: typed("20 kg"), LeastMass: typed("10 kg")}, {Supply: "tablets", Pieces: 10}} {
		if err := write("calder", l); err != nil {
			t.Errorf("%+v: %v", l, err)
		}
	}
}

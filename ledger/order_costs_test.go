package ledger_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/unit"
)

// TestReceivedCostsAddUp: whatever the deliveries, and whichever of them are taken back
// and come again, what is booked when all is here is the order's money to the last unit:
// of each line its price for all that came, rounded once, or its sum; and the freight.
func TestReceivedCostsAddUp(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b := ledgertest.Open(t)
		b.Do(b.SetSupply(ctx, ledger.Meta{}, ledger.Supply{ID: "tablets", Name: "degassing tablets", Purpose: "degasser", InPieces: true}))
		c := ledger.WriteOrder{Supplier: "northmetal", Freight: rapid.SampledFrom([]string{"", "0.01 USD", "33.37 USD", "40 EUR at 1.0831 USD/EUR"}).Draw(r, "freight")}
		for range rapid.IntRange(1, 4).Draw(r, "lines") {
			switch rapid.IntRange(0, 2).Draw(r, "kind") {
			case 0:
				c.Lines = append(c.Lines, ledger.OrderItem{Alloy: "C87300", Mass: ledger.Quantity{Mass: ledger.Mass(rapid.Int64Range(1, 90_000_000).Draw(r, "mass"))},
					Price: rapid.SampledFrom([]string{"7.7777 USD/lb", "100.01 USD", "0.0001 USD/kg", "4.10 EUR/kg at 1.0832 USD/EUR", "77.77 EUR at 0.9 EUR/USD"}).Draw(r, "price")})
			case 1:
				c.Lines = append(c.Lines, ledger.OrderItem{Alloy: "356.0", Pieces: rapid.Int64Range(1, 7).Draw(r, "pieces"), Each: ledger.Quantity{Mass: 9_071_847},
					Price: rapid.SampledFrom([]string{"3.33 USD/kg", "10.01 USD/pc", "99.99 USD", "13.13 EUR/pc at 1.0832 USD/EUR"}).Draw(r, "price")})
			case 2:
				c.Lines = append(c.Lines, ledger.OrderItem{Supply: "tablets", Pieces: rapid.Int64Range(1, 9).Draw(r, "tablets"), Price: rapid.SampledFrom([]string{"10.00 USD", "0.37 USD/pc"}).Draw(r, "price")})
			}
		}
		b.Do(b.WriteOrder(ctx, ledger.Meta{}, c))
		var entries []*ledger.Entry
		o := readOrder(r, b, "1")
		for n := 0; o.State() != ledger.AllHere; n++ {
			if n < 20 && len(entries) > 0 && rapid.IntRange(0, 4).Draw(r, "reverse") == 0 {
				i := rapid.IntRange(0, len(entries)-1).Draw(r, "which")
				b.Do(b.Reverse(ctx, ledger.Meta{Reason: "a mistake"}, ledger.ReverseEntry{Entry: entries[i].Seq}))
				entries = slices.Delete(entries, i, i+1)
				o = readOrder(r, b, "1")
			}
			in := ledger.ReceiveOrder{Order: "1"}
			kinds := len(o.Lines)
			if n < 20 {
				kinds = rapid.IntRange(1, 3).Draw(r, "of the delivery")
			}
			for range kinds {
				i := rapid.IntRange(0, len(o.Lines)-1).Draw(r, "line")
				if n >= 20 { // enough: all the rest at once
					i = len(in.Lines)
				}
				d := ledger.Delivered{Line: i + 1, Last: n >= 20 || rapid.IntRange(0, 7).Draw(r, "last") == 0}
				if o.Lines[i].Pieces > 0 {
					d.Weighing.Pieces = rapid.Int64Range(1, 4).Draw(r, "came")
				}
				if o.Lines[i].Supply == "" {
					d.Weighing.Net.Mass = ledger.Mass(rapid.Int64Range(1, 60_000_000).Draw(r, "came"))
				}
				in.Lines = append(in.Lines, d)
			}
			entries = append(entries, b.Do(b.ReceiveOrder(ctx, ledger.Meta{Reason: "as invoiced"}, in)))
			o = readOrder(r, b, "1")
			if n > 60 {
				r.Fatalf("never all here: %d receipts", len(o.Receipts))
			}
		}
		want := int64(0)
		for i, l := range o.Lines {
			got := o.Came(i)
			want += worked(r, l, got.Mass, got.Pieces)
		}
		switch c.Freight {
		case "":
		case "40 EUR at 1.0831 USD/EUR":
			want += 43_32 // 43.324
		default:
			minor, _, err := unit.ParseMoney(c.Freight, "")
			if err != nil {
				r.Fatal(err)
			}
			want += minor
		}
		booked := int64(0)
		all, err := b.Entries(ctx, 0, 0)
		if err != nil {
			r.Fatal(err)
		}
		for _, e := range all {
			for _, k := range e.Costs {
				if k.Currency != "USD" {
					r.Fatalf("%+v", k)
				}
				booked += k.Minor
			}
		}
		if booked != want {
			r.Fatalf("%d booked, the order comes to %d", booked, want)
		}
		for _, rc := range o.Receipts { // and what is kept of each says the same
			if !rc.Void {
				for _, minor := range o.Paid(&rc) {
					if want -= minor; minor < 0 {
						r.Fatalf("a delivery bears %d", minor)
					}
				}
			}
		}
		if want != 0 {
			r.Fatalf("by its receipts the order comes to %d less", want)
		}
		b.Verify()
	})
}

// worked is what a line comes to, from its price as typed.
func worked(r *rapid.T, l ledger.OrderLine, net ledger.Mass, pieces int64) int64 {
	in := func(price string) (minor int64) {
		if rate, err := unit.ParseRate(price, "", ""); err == nil {
			return rate.Cost(int64(net))
		}
		minor, _, err := unit.ParseMoney(price, "")
		if err != nil {
			r.Fatal(err)
		}
		return minor
	}
	each := func(minor int64) int64 { return minor * pieces }
	half := func(exact float64) int64 { return int64(exact + 0.5) } // far from any half
	switch l.Price.Typed {
	case "4.10 EUR/kg at 1.0832 USD/EUR":
		rate, err := unit.ParseRate("4.441120 USD/kg", "", "") // 4.10 × 1.0832, exactly
		if err != nil {
			r.Fatal(err)
		}
		return rate.Cost(int64(net))
	case "77.77 EUR at 0.9 EUR/USD":
		return half(7777 / 0.9) // 8641.1
	case "10.01 USD/pc":
		return each(10_01)
	case "0.37 USD/pc":
		return each(37)
	case "13.13 EUR/pc at 1.0832 USD/EUR":
		return half(1313 * 1.0832 * float64(pieces)) // 1422.2416 each
	}
	return in(l.Price.Typed)
}

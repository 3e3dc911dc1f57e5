package shop_test

import (
	"errors"
	"reflect"
	"slices"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/quote"
	"example.org/remelt/ledger/shop"
)

// otters is a shop with rates, 60 kg of priced metal and a commission of two otters.
func otters(t *testing.T) *ledgertest.Shop {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.SetRates(t.Context(), m, ledger.Rates{From: b.Now.AddDate(0, -1, 0), Overhead: 600_000, Margin: 200_000, Mold: ledger.Range{Typed: "14 USD"},
		Work: []ledger.WorkRate{{Kind: "molding", Typed: "36 USD", Again: true}, {Kind: "chasing", Typed: "42 USD"}}}))
	b.Do(b.Receive(t.Context(), m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: ledgertest.Net(60_000), Price: "600.00 USD"}))
	b.Do(b.SetCommission(t.Context(), m, ledger.Commission{ID: "otters", Title: "Two otters", Customer: "iris",
		Patterns: []ledger.Pattern{{Name: "otter", Alloy: "C87300", Copies: 2, Metal: ledger.Range{Typed: "10 kg"}, Gating: ledger.Range{Typed: "8 kg"}}}}))
	return b
}

func hours(kind, typed string) ledger.NamedRange {
	return ledger.NamedRange{Name: kind, Range: ledger.Range{Typed: typed}}
}

func lastQuote(t *testing.T, e *ledger.Entry) (q ledger.Quote) {
	t.Helper()
	if found, err := e.First(ledger.RecQuote, &q); err != nil || !found {
		t.Fatal(err)
	}
	return q
}

// By hand: hours 10 at 36.00 and 16 at 42.00 are 1032.00, overhead 60 % of it 619.20; the
// metal in two otters of 10 kg at 10.00 a kg 200.00, their gating 160.00, which comes back at
// cost; two molds 28.00. What depends on the belief about losses is only looked at.
func TestQuoteOfACommission(t *testing.T) {
	b := otters(t)
	c := ledger.MakeQuote{Commission: "otters", Hours: []ledger.NamedRange{hours("Molding", "10 h"), hours("chasing", "16 h")}}
	q := lastQuote(t, b.Do(b.MakeQuote(t.Context(), ledger.Meta{}, c)))
	want := map[string]int64{"metal in the castings": 20_000, "metal in the gating": 16_000, "gating that comes back": -16_000, "consumables": 2800,
		"labour": 103_200, "overhead": 61_920, "margin": q.Likely - q.Cost}
	sum := int64(0)
	for _, l := range q.Lines {
		sum += l.Minor
		if w, ok := want[l.Cause]; ok && l.Minor != w {
			t.Errorf("%s: %d, want %d", l.Cause, l.Minor, w)
		}
		if (l.Cause == "melt loss" || l.Cause == "recasts") && l.Minor <= 0 {
			t.Errorf("%s: %d", l.Cause, l.Minor)
		}
	}
	if sum != q.Likely || q.Version != 1 || q.ID != "otters-1" || q.Low > q.Likely || q.Likely > q.High {
		t.Errorf("%+v", q)
	}
	again := lastQuote(t, b.Do(b.MakeQuote(t.Context(), ledger.Meta{}, c)))
	if again.Version != 2 || !reflect.DeepEqual(again.Lines, q.Lines) || again.Low != q.Low || again.High != q.High {
		t.Errorf("the same again is %+v, not %+v", again, q)
	}
	b.Verify()
}

// A retry gives the first quote, though the shop has learned another price since.
func TestQuoteRetried(t *testing.T) {
	b := otters(t)
	m := ledger.Meta{Request: ledger.RequestID{1}}
	c := ledger.MakeQuote{Commission: "otters", Hours: []ledger.NamedRange{hours("molding", "10 h")}}
	q := lastQuote(t, b.Do(b.MakeQuote(t.Context(), m, c)))
	b.Do(b.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Ingot, Weighing: ledgertest.Net(10_000), Price: "180.00 USD"}))
	if again := lastQuote(t, b.Do(b.MakeQuote(t.Context(), m, c))); !reflect.DeepEqual(again, q) {
		t.Errorf("%+v, not %+v", again, q)
	}
	if next := lastQuote(t, b.Do(b.MakeQuote(t.Context(), ledger.Meta{}, c))); next.Basis.Metals[0].Price.Likely != 1_800_000 || next.Basis.Metals[0].Price.Low != 1_000_000 {
		t.Errorf("price %+v", next.Basis.Metals[0].Price)
	}
}

// What cannot be quoted or recorded is refused with its field, and nothing is kept.
func TestCommissionRefuses(t *testing.T) {
	b := otters(t)
	head := func() int64 {
		h, err := b.HeadOf(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return h.Seq
	}
	m := ledger.Meta{}
	b.Do(b.SetCommission(t.Context(), m, ledger.Commission{ID: "bell", Title: "A bell", Patterns: []ledger.Pattern{{Name: "bell", Alloy: "C90300", Copies: 1, Wax: ledger.Range{Typed: "1 kg"}}}}))
	b.Do(b.SetCommission(t.Context(), m, ledger.Commission{ID: "empty", Title: "Nothing yet"}))
	was := head()
	for _, c := range []struct {
		reason, field string
		do            func() (*ledger.Entry, error)
	}{
		{"NO_PRICE", "prices", func() (*ledger.Entry, error) {
			return b.MakeQuote(t.Context(), m, ledger.MakeQuote{Commission: "bell"})
		}},
		{"NO_PATTERNS", "commission", func() (*ledger.Entry, error) {
			return b.MakeQuote(t.Context(), m, ledger.MakeQuote{Commission: "empty"})
		}},
		{"NEGATIVE", "hours[0].figure", func() (*ledger.Entry, error) {
			return b.MakeQuote(t.Context(), m, ledger.MakeQuote{Commission: "otters", Hours: []ledger.NamedRange{hours("molding", "-3 h")}})
		}},
		{"NEGATIVE", "hours", func() (*ledger.Entry, error) {
			return b.RecordLabour(t.Context(), m, ledger.RecordLabour{Commission: "otters", Kind: "molding", Hours: "-3"})
		}},
		{"NEGATIVE", "hours", func() (*ledger.Entry, error) {
			return b.RecordLabour(t.Context(), m, ledger.RecordLabour{Commission: "otters", Kind: "molding", Hours: "−3 h"})
		}},
		{"NO_RATE", "kind", func() (*ledger.Entry, error) {
			return b.RecordLabour(t.Context(), m, ledger.RecordLabour{Commission: "otters", Kind: "welding", Hours: "3"})
		}},
		{"NOT_FOUND", "commission", func() (*ledger.Entry, error) {
			return b.RecordLabour(t.Context(), m, ledger.RecordLabour{Commission: "hares", Kind: "molding", Hours: "3"})
		}},
		{"MISSING_CURRENCY", "price", func() (*ledger.Entry, error) {
			return b.BuyIn(t.Context(), m, ledger.BuyIn{Commission: "otters", What: "rod", Price: "31"})
		}},
		{"RANGE_ORDER", "mold_price", func() (*ledger.Entry, error) {
			return b.SetRates(t.Context(), m, ledger.Rates{From: b.Now, Mold: ledger.Range{Typed: "20..12 USD"}})
		}},
		{"OTHER_CURRENCY", "work[0].hour_price", func() (*ledger.Entry, error) {
			return b.SetRates(t.Context(), m, ledger.Rates{From: b.Now, Work: []ledger.WorkRate{{Kind: "wax", Typed: "30 EUR"}}})
		}},
		{"REQUIRED", "patterns[0].metal", func() (*ledger.Entry, error) {
			return b.SetCommission(t.Context(), m, ledger.Commission{ID: "x", Title: "x", Patterns: []ledger.Pattern{{Name: "x", Alloy: "C87300", Copies: 1}}})
		}},
		{"CURRENCY_IN_USE", "currency", func() (*ledger.Entry, error) {
			return b.SetShop(t.Context(), m, ledger.Shop{Name: "Harrow Lane Foundry", MassUnit: "g", Currency: "EUR"})
		}},
	} {
		_, err := c.do()
		var e *ledger.Error
		if !errors.As(err, &e) || e.Reason != c.reason || e.Field != c.field {
			t.Errorf("%s of %s: %v", c.reason, c.field, err)
		}
	}
	if head() != was {
		t.Error("something was kept")
	}
}

// castOtters melts 40 kg, casts two otters and a hook, and breaks the second otter up.
func castOtters(t *testing.T, b *ledgertest.Shop) {
	m := ledger.Meta{}
	mold := func(name, commission string, g int64) ledger.MoldPlan {
		p := ledger.MoldPlan{Name: name, Commission: commission, Metal: ledgertest.Grams(g), Gating: ledgertest.Grams(g * 8 / 10)}
		if commission != "" {
			p.Customer = "iris"
		}
		return p
	}
	b.Do(b.PlanHeat(t.Context(), m, ledger.PlanHeat{ID: "41", Alloy: "C87300", Crucible: "A60",
		Molds: []ledger.MoldPlan{mold("otter", "otters", 10_000), mold("otter", "otters", 10_000), mold("hook", "", 1000)}}))
	b.Do(b.OpenHeat(t.Context(), m, "41"))
	w := ledgertest.Net(40_000)
	b.Do(b.Charge(t.Context(), m, ledger.ChargeHeat{Heat: "41", Items: []ledger.ChargeItem{{Lot: ledger.LotID(1), Weigh: &w}}}))
	b.Do(b.RecordFuel(t.Context(), m, ledger.RecordFuel{Heats: []string{"41"}, Fuel: "propane", Amount: "5 kg", Price: "21.00 USD"}))
	b.Do(b.FinishPour(t.Context(), m, ledger.FinishPour{Heat: "41"}))
	for i, g := range []int64{10_500, 9500, 1000} {
		b.Do(b.WeighCasting(t.Context(), m, ledger.WeighCasting{Heat: "41", Mold: []string{"41-1", "41-2", "41-3"}[i], Stage: ledger.CutOff, Weighing: ledgertest.Net(g)}))
	}
	b.Do(b.WeighIn(t.Context(), m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Form: ledger.Gating, Weighing: ledgertest.Net(18_000)}))
	b.Do(b.Settle(t.Context(), ledger.Meta{Reason: "all that was expected"}, "41"))
	b.Do(b.BreakUp(t.Context(), m, ledger.BreakUp{Casting: "C2", Weighing: ledgertest.Net(9500)}))
}

// Of metal that had no price and a heat whose fuel nobody booked the cost says so: half of
// the 20 kg charged had none, so half of the 8 kg casting.
func TestWhatACommissionCostLeavesOut(t *testing.T) {
	b, ctx, m := ledgertest.Open(t), t.Context(), ledger.Meta{}
	for id, price := range map[string]string{"PAID": "10 USD/kg", "FOUND": ""} {
		b.Do(b.Receive(ctx, m, ledger.Receive{LotID: id, Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(10_000), Price: price}))
	}
	b.Do(b.SetCommission(ctx, m, ledger.Commission{ID: "otters", Title: "two otters", Customer: "iris"}))
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "41", Alloy: "C87300", Molds: []ledger.MoldPlan{{Name: "otter", Metal: ledgertest.Grams(8_000), Commission: "otters"}}}))
	b.Do(b.OpenHeat(ctx, m, "41"))
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "41", Items: []ledger.ChargeItem{{Lot: "PAID"}, {Lot: "FOUND"}}}))
	b.Do(b.FinishPour(ctx, m, ledger.FinishPour{Heat: "41"}))
	b.Do(b.WeighCasting(ctx, m, ledger.WeighCasting{Heat: "41", Mold: "41-1", Stage: ledger.CutOff, Weighing: ledgertest.Net(8_000)}))
	v, err := b.CommissionCost(ctx, "otters", 0)
	if err != nil || v.Free != 4*ledger.Kilogram || !slices.Equal(v.NoFuel, []string{"41"}) {
		t.Errorf("%d mg had no price, no fuel in %v (%v)", v.Free, v.NoFuel, err)
	}
}

// By hand: 40 kg at 10.00 and 21.00 of fuel go in, 18 kg come back at cost (180.00), 1 kg is
// lost. All of it is normal (2.5 % is allowed), so 21 kg of castings bear 241.00, 11.476 a kg:
// 120.50, 109.02 and 11.48. The otter that failed gives back 9.5 kg at 10.00.
func TestCommissionBesideItsQuote(t *testing.T) {
	b := otters(t)
	m := ledger.Meta{}
	b.Do(b.SetCosting(t.Context(), m, ledger.Costing{From: b.Now.AddDate(0, -1, 0), Method: "by-lot", Normal: []ledger.AlloyShare{{Alloy: "C87300", PPM: 25_000}}}))
	b.Do(b.MakeQuote(t.Context(), m, ledger.MakeQuote{Commission: "otters", Hours: []ledger.NamedRange{hours("molding", "10 h"), hours("chasing", "16 h")}}))
	castOtters(t, b)
	b.Do(b.RecordLabour(t.Context(), m, ledger.RecordLabour{Commission: "otters", Kind: "molding", Hours: "9 h 30 min"}))
	b.Do(b.BuyIn(t.Context(), m, ledger.BuyIn{Commission: "otters", What: "welding rod", Price: "31.40 USD"}))
	b.Do(b.WeighCasting(t.Context(), m, ledger.WeighCasting{ID: "C1", Stage: ledger.Finished, Weighing: ledgertest.Net(10_290)})) // 210 g of 10.5 kg
	wrong := b.Do(b.RecordLabour(t.Context(), m, ledger.RecordLabour{Commission: "otters", Kind: "chasing", Hours: "90 h"}))
	b.Do(b.Reverse(t.Context(), ledger.Meta{Reason: "nine, of another job"}, ledger.ReverseEntry{Entry: wrong.Seq}))
	v, err := b.CommissionCost(t.Context(), "otters", 0)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]int64{}
	really, was := int64(0), int64(0)
	for _, l := range v.Lines {
		got[l.What] = l.Really
		really += l.Really
		was += l.Quoted
	}
	// The good otter bears 120.50: 220.00 of metal to 21.00 of fuel is 110.00 and 10.50. The
	// other 109.02 less 95.00 that came back, and its mold 14.00. Of the 110.00 the 2 % that
	// were ground off after the heat was settled bore 2.20.
	for what, want := range map[string]int64{"metal and melt loss, less what comes back": 10_780, "metal lost from cut off to finished": 220, "fuel": 1050, "consumables": 1400, "labour": 34_200, "overhead": 20_520,
		"bought in": 3140, "recasts": 10_902 - 9500 + 1400} {
		if got[what] != want {
			t.Errorf("%s: %d, want %d", what, got[what], want)
		}
	}
	if v.Free != 0 || len(v.NoFuel) != 0 {
		t.Errorf("all metal had a price, and fuel was booked: %d mg had none, no fuel in %v", v.Free, v.NoFuel)
	}
	if really != v.Cost || was != v.Quote.Cost || v.Copies != 2 || v.Good != 1 || v.Provisional {
		t.Errorf("%d of %d, quoted %d of %d: %+v", really, v.Cost, was, v.Quote.Cost, v)
	}
	sum := int64(0)
	for _, d := range v.Differences {
		sum += d.Minor
		if want := int64(34_200 - 103_200); d.Reason == quote.ByHours && d.Minor != want {
			t.Errorf("hours %d, want %d", d.Minor, want)
		}
	}
	if sum != v.Cost-v.Quote.Cost {
		t.Errorf("the differences add up to %d, not %d", sum, v.Cost-v.Quote.Cost)
	}
}

// The parts of a heat are exactly the heat: mass, loss and cost.
func TestChargeBackAddsUp(t *testing.T) {
	b := otters(t)
	castOtters(t, b)
	costs, err := b.Costs(t.Context(), shop.AsOf{})
	if err != nil {
		t.Fatal(err)
	}
	h := costs.Heat("41")
	borne := int64(0)
	for _, k := range h.Castings {
		borne += k.Cost
	}
	for by, names := range map[shop.ChargedTo][]string{shop.ToCustomer: {"iris", ""}, shop.ToCommission: {"otters", ""}} {
		v, err := b.ChargeBack(t.Context(), b.Now.AddDate(0, 0, -1), b.Now.AddDate(0, 0, 1), by)
		if err != nil {
			t.Fatal(err)
		}
		var who []string
		var cast, lost ledger.Mass
		cost := int64(0)
		for _, l := range v.Lines {
			who = append(who, l.Who)
			cast, lost, cost = cast+l.Cast, lost+l.Lost, cost+l.Cost
		}
		if !reflect.DeepEqual(who, names) || cast != 21*ledger.Kilogram || int64(lost) != h.Lost || cost != borne || v.Total.Cost != borne || v.Beyond != h.Abnormal || v.Beyond == 0 {
			t.Errorf("%v: %+v of %+v", by, v, h)
		}
		if l := v.Lines[0]; l.Cast != 20*ledger.Kilogram || l.Used() != l.Cast+l.Lost || l.Castings != 2 || l.Heats != 1 {
			t.Errorf("%+v", l)
		}
	}
	if v, err := b.ChargeBack(t.Context(), b.Now.AddDate(0, 0, 1), b.Now.AddDate(0, 0, 9), shop.ToCustomer); err != nil || len(v.Heats) != 0 {
		t.Errorf("another term: %+v, %v", v, err)
	}
	if _, err := b.ChargeBack(t.Context(), b.Now, b.Now, shop.ToCustomer); !errors.Is(err, ledger.ErrInvalid) {
		t.Error(err)
	}
}

// A customer's own metal is not charged, and needs no price.
func TestOwnMetalIsNotQuoted(t *testing.T) {
	b := ledgertest.Open(t)
	m := ledger.Meta{}
	b.Do(b.SetCommission(t.Context(), m, ledger.Commission{ID: "bell", Title: "A bell", OwnMetal: true,
		Patterns: []ledger.Pattern{{Name: "bell", Alloy: "C90300", Copies: 1, VolumeMm3: 1_000_000}}}))
	b.Do(b.SetRates(t.Context(), m, ledger.Rates{From: b.Now.Add(-time.Hour), Mold: ledger.Range{Typed: "14 USD"}}))
	q := lastQuote(t, b.Do(b.MakeQuote(t.Context(), m, ledger.MakeQuote{Commission: "bell"})))
	for _, l := range q.Lines {
		if want := map[string]int64{"consumables": 1400}[l.Cause]; l.Cause != "recasts" && l.Cause != "contingency" && l.Minor != want {
			t.Errorf("%s: %d, want %d", l.Cause, l.Minor, want)
		}
	}
	if m := q.Basis.Castings[0].Metal; m.Likely < 8*int64(ledger.Kilogram) || m.Low >= m.Likely || m.High <= m.Likely {
		t.Errorf("a litre of tin bronze weighs %+v", m)
	}
}

package shop_test

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// project is a commission, or none.
func (d *day) project() string {
	if rapid.Bool().Draw(d.r, "of a commission") {
		return d.pick(d.projects, "commission")
	}
	return ""
}

func (d *day) commissionActions() map[string]func(*rapid.T) {
	project := func() string { return d.pick(d.projects, "commission") }
	return map[string]func(*rapid.T){
		"rates": func(*rapid.T) {
			d.did(d.SetRates(ctx, d.meta(), ledger.Rates{From: d.Now.AddDate(0, 0, -rapid.IntRange(0, 9).Draw(d.r, "days")), Overhead: 333_333, Margin: 150_000,
				Mold: ledger.Range{Typed: "12.34 USD"}, Work: []ledger.WorkRate{{Kind: "chasing", Typed: rapid.SampledFrom([]string{"41.01 USD", "38 USD"}).Draw(d.r, "rate")}}}))
		},
		"commission": func(*rapid.T) {
			c := ledger.Commission{ID: rapid.SampledFrom([]string{"otters", "bell"}).Draw(d.r, "id"), Title: "for someone", OwnMetal: rapid.IntRange(0, 3).Draw(d.r, "own") == 0}
			for i := range rapid.IntRange(0, 2).Draw(d.r, "patterns") {
				c.Patterns = append(c.Patterns, ledger.Pattern{Name: fmt.Sprint("pattern ", i), Alloy: rapid.SampledFrom([]string{"C87300", "C83600"}).Draw(d.r, "alloy"),
					Copies: rapid.Int64Range(1, 4).Draw(d.r, "copies"), Metal: ledger.Range{Typed: "2..3.3..5 kg"}})
			}
			d.did(d.SetCommission(ctx, d.meta(), c))
		},
		"quote": func(*rapid.T) {
			c := ledger.MakeQuote{Commission: project(), Hours: []ledger.NamedRange{{Name: "chasing", Range: ledger.Range{Typed: "3..5 h"}}}}
			if rapid.Bool().Draw(d.r, "price said") {
				c.Prices = []ledger.NamedRange{{Name: "C87300", Range: ledger.Range{Typed: "9.99 USD/kg"}}}
			}
			d.did(d.MakeQuote(ctx, d.meta(), c))
		},
		"cast for one": func(*rapid.T) { d.castFor(project()) },
		"labour": func(*rapid.T) {
			d.did(d.RecordLabour(ctx, d.meta(), ledger.RecordLabour{Commission: project(), Kind: "chasing", Hours: fmt.Sprintf("%d min", rapid.Int64Range(1, 900).Draw(d.r, "minutes"))}))
		},
		"buy in": func(*rapid.T) {
			d.did(d.BuyIn(ctx, d.meta(), ledger.BuyIn{Commission: project(), What: "rod", Price: fmt.Sprintf("%d.%02d USD", rapid.IntRange(0, 90).Draw(d.r, "money"), rapid.IntRange(1, 99).Draw(d.r, "cents"))}))
		},
	}
}

// castFor is a whole heat: bought metal, fuel, a casting weighed at two stages, and what
// may come after.
func (d *day) castFor(id string) {
	e, err := d.Receive(ctx, d.meta(), ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(20_000), Price: rapid.SampledFrom([]string{"", "9.87 USD/kg"}).Draw(d.r, "price")})
	if d.did(e, err); err != nil {
		return
	}
	e, err = d.PlanHeat(ctx, d.meta(), ledger.PlanHeat{Alloy: "C87300", Crucible: "A60", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(9_000), Commission: id}}})
	if d.did(e, err); err != nil {
		return
	}
	heat, lot := d.heats[len(d.heats)-1], d.lots[len(d.lots)-1]
	d.did(d.OpenHeat(ctx, d.meta(), heat))
	d.did(d.Charge(ctx, d.meta(), ledger.ChargeHeat{Heat: heat, Items: []ledger.ChargeItem{{Lot: lot}}}))
	d.did(d.RecordFuel(ctx, d.meta(), ledger.RecordFuel{Heats: []string{heat}, Fuel: "propane", Amount: "5 kg", Price: "21.01 USD"}))
	d.did(d.FinishPour(ctx, d.meta(), ledger.FinishPour{Heat: heat}))
	e, err = d.WeighCasting(ctx, d.meta(), ledger.WeighCasting{Heat: heat, Mold: d.molds[heat][0], Stage: ledger.CutOff, Weighing: ledgertest.Net(9_000)})
	if d.did(e, err); err != nil {
		return
	}
	casting := d.castings[len(d.castings)-1]
	if rapid.Bool().Draw(d.r, "settled") {
		d.did(d.Settle(ctx, d.meta(), heat))
	}
	if rapid.Bool().Draw(d.r, "finished") {
		d.did(d.WeighCasting(ctx, d.meta(), ledger.WeighCasting{ID: casting, Stage: ledger.Finished, Weighing: ledgertest.Net(rapid.Int64Range(8_000, 9_100).Draw(d.r, "finished weight"))}))
	}
	if rapid.IntRange(0, 2).Draw(d.r, "failed") == 0 {
		d.did(d.BreakUp(ctx, d.meta(), ledger.BreakUp{Casting: casting, Weighing: ledgertest.Net(8_500)}))
	}
}

// commissions checks that what each cost is the sum of its lines, that the reasons are all
// of the difference from its quote, and that a charge-back is the heats, shared out.
func (d *day) commissions(start time.Time) {
	for _, id := range slices.Compact(slices.Sorted(slices.Values(d.projects))) {
		v, err := d.CommissionCost(ctx, id, 0)
		if errors.Is(err, ledger.ErrNotFound) { // it was taken back
			continue
		}
		if err != nil {
			d.r.Fatal(err)
		}
		really, was, why, bought, ground := int64(0), int64(0), int64(0), int64(0), ledger.Mass(0)
		for _, l := range v.Lines {
			really, was = really+l.Really, was+l.Quoted
		}
		for _, x := range v.Bought {
			bought += x.Minor
		}
		for _, k := range v.Castings {
			if ground += k.Ground; k.Ground < 0 || k.Ground > k.Mass || k.GroundCost > max(k.Metal, 0) {
				d.r.Fatalf("ground off: %+v", k)
			}
		}
		if really != v.Cost || came(v, "bought in") != bought || ground == 0 && came(v, "metal lost from cut off to finished") != 0 {
			d.r.Fatalf("%s cost %d, its lines %d: %+v", id, v.Cost, really, v.Lines)
		}
		for _, x := range v.Differences {
			why += x.Minor
		}
		if q := v.Quote; q != nil && (was != q.Cost || why != v.Cost-q.Cost) {
			d.r.Fatalf("%s: quoted %d, by line %d; the difference %d, by reason %d", id, q.Cost, was, v.Cost-q.Cost, why)
		}
	}
	costs, err := d.Costs(ctx, shop.AsOf{})
	if err != nil {
		d.r.Fatal(err)
	}
	for _, by := range []shop.ChargedTo{shop.ToCustomer, shop.ToCommission} {
		v, err := d.ChargeBack(ctx, start.AddDate(-1, 0, 0), start.AddDate(9, 0, 0), by)
		if err != nil {
			d.r.Fatal(err)
		}
		var cost, cast, lost, borne, mass, gone int64
		for _, l := range v.Lines {
			cost, cast, lost = cost+l.Cost, cast+int64(l.Cast), lost+int64(l.Lost)
		}
		for _, id := range v.Heats {
			h := costs.Heat(id)
			for _, k := range h.Castings {
				borne, mass = borne+k.Cost, mass+k.Mass
			}
			gone += h.Lost
		}
		if cost != borne || cast != mass || lost != gone || v.Total.Cost != borne {
			d.r.Fatalf("charged back %d of %d, cast %d of %d, lost %d of %d: %+v", cost, borne, cast, mass, lost, gone, v)
		}
	}
}

func came(v shop.CommissionCost, what string) (sum int64) {
	for _, l := range v.Lines {
		if l.What == what {
			sum += l.Really
		}
	}
	return sum
}

// What is recorded of a commission costs the same in whatever order it is written down.
func TestCommissionCostKeepsToNoOrder(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		base := otters(t)
		at := ledger.Meta{Happened: base.Now}
		var facts []func(*ledgertest.Shop) *ledger.Entry
		for range rapid.IntRange(2, 7).Draw(r, "facts") {
			if rapid.Bool().Draw(r, "labour") {
				c := ledger.RecordLabour{Commission: "otters", Kind: rapid.SampledFrom([]string{"molding", "chasing"}).Draw(r, "kind"), Hours: fmt.Sprintf("%d min", rapid.IntRange(1, 700).Draw(r, "minutes"))}
				facts = append(facts, func(b *ledgertest.Shop) *ledger.Entry { return b.Do(b.RecordLabour(ctx, at, c)) })
				continue
			}
			c := ledger.BuyIn{Commission: "otters", What: "rod", Price: fmt.Sprintf("%d.%02d USD", rapid.IntRange(0, 90).Draw(r, "money"), rapid.IntRange(1, 99).Draw(r, "cents"))}
			facts = append(facts, func(b *ledgertest.Shop) *ledger.Entry { return b.Do(b.BuyIn(ctx, at, c)) })
		}
		facts = append(facts, func(b *ledgertest.Shop) *ledger.Entry { castOtters(t, b); return nil })
		cost := func(b *ledgertest.Shop, facts []func(*ledgertest.Shop) *ledger.Entry) (out [2]any) {
			b.Do(b.MakeQuote(ctx, at, ledger.MakeQuote{Commission: "otters", Hours: []ledger.NamedRange{hours("molding", "10 h")}}))
			for _, f := range facts {
				f(b)
			}
			v, err := b.CommissionCost(ctx, "otters", 0)
			if err != nil {
				r.Fatal(err)
			}
			return [2]any{v.Lines, v.Differences}
		}
		a, b := cost(base, facts), cost(otters(t), rapid.Permutation(facts).Draw(r, "order"))
		if !reflect.DeepEqual(a, b) {
			r.Fatalf("in another order %+v, not %+v", b, a)
		}
	})
}

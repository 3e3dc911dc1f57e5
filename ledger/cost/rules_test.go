package cost_test

import (
	"fmt"
	"slices"
	"testing"

	"example.org/remelt/ledger/cost"
)

// Rules of IAS 2 Inventories, as paraphrased in the file, which names its sources and
// says that the numbers of its paragraphs are from memory. Each rule of the file has a
// check here; a rule that is added to it without one fails.
func TestRulesOfIAS2(t *testing.T) {
	var want map[string]any
	example(t, "d11-ias2-rules", &struct{}{}, &want)
	checks := map[string]func(*testing.T){
		"para_14": byProduct, "para_16[0]": abnormalWaste, "para_16[1]": onlyConversion, "para_16[2]": onlyConversion, "para_16[3]": sellingCosts,
		"para_23_25": costFormulas, "para_34": lossesOfThePeriod,
	}
	rules := map[string]string{}
	for name, v := range want {
		switch v := v.(type) {
		case string:
			rules[name] = v
		case []any:
			for i, one := range v {
				rules[fmt.Sprintf("%s[%d]", name, i)] = fmt.Sprint(one)
			}
		}
	}
	for name, rule := range rules {
		check := checks[name]
		if check == nil {
			t.Errorf("%s has no check: %s", name, rule)
			continue
		}
		t.Run(name, func(t *testing.T) {
			check(t)
			if t.Failed() {
				t.Log(rule)
			}
		})
	}
	if len(rules) != len(checks) {
		t.Errorf("%d rules, %d checks", len(rules), len(checks))
	}
}

// A heat of 100 g bought for 10.00 with 2.00 of fuel, 8 g of skimmings and 12 g lost of
// which 2 % of the charge, 2 g, is normal: a casting of 80 g is its product.
func ruledHeat(p cost.Policy, more ...cost.Event) *cost.Flow {
	bronze := cost.Place{Kind: cost.Lot, ID: "ingot", Pool: "bronze"}
	melt := cost.Place{Kind: cost.Melt, ID: "1", Pool: "bronze"}
	events := append([]cost.Event{
		{From: cost.Place{Kind: cost.Outside}, To: bronze, Mass: 100, Cost: 10_00, Priced: true},
		{From: bronze, To: melt, Mass: 100, Charge: true},
		{To: melt, Cost: 2_00, What: "fuel"},
		{From: melt, To: cost.Place{Kind: cost.Skimmings, ID: "skim", Pool: "bronze"}, Mass: 8},
		{From: melt, To: cost.Place{Kind: cost.Lost, ID: "1"}, Mass: 12},
		{From: melt, To: cost.Place{Kind: cost.Casting, ID: "c"}, Mass: 80},
		{To: melt, Settle: true, Normal: cost.ByPolicy},
	}, more...)
	for i := range events {
		events[i].Seq, events[i].At = int64(i), day0
	}
	p.Method, p.Normal = cost.ByLot, map[string]int64{"bronze": 20_000}
	return cost.Follow(events, []cost.Policy{p})
}

// Skimmings at what they fetch, 0.50 for 8 g, are taken off what the casting bears:
// 12.00 less 0.50 is 11.50 for 90 g expected, of which 10 g are abnormal, 1.28.
func byProduct(t *testing.T) {
	f := ruledHeat(cost.Policy{Skimmings: map[string]cost.Rate{"bronze": {Cost: 50, Mass: 8}}})
	if h := f.Heat("1"); f.LotCost("skim") != 50 || h.Abnormal != 1_28 || h.Castings[0].Cost != 11_50-1_28 {
		t.Errorf("%+v; skimmings %d", h, f.LotCost("skim"))
	}
}

// 10 g of 90 g expected are abnormal: 12.00 × 10 ÷ 90 = 1.33 is an expense, on no
// casting and in no stock.
func abnormalWaste(t *testing.T) {
	f := ruledHeat(cost.Policy{})
	if h := f.Heat("1"); h.Abnormal != 1_33 || h.Castings[0].Cost != 12_00-1_33 {
		t.Errorf("%+v", h)
	}
	if w := f.Where(); w.Abnormal != 1_33 || w.Stock != 0 || w.Castings != 12_00-1_33 {
		t.Errorf("%+v", w)
	}
}

// Nothing is put on a heat but metal, additions, fuel and wear. Supplies used for no heat,
// as for storage or the office, are an expense.
func onlyConversion(t *testing.T) {
	rags := cost.Place{Kind: cost.Supply, ID: "rags", Pool: "rags"}
	f := ruledHeat(cost.Policy{},
		cost.Event{From: cost.Place{Kind: cost.Outside}, To: rags, Mass: 1, Cost: 7_00, Priced: true},
		cost.Event{From: rags, To: cost.Place{Kind: cost.Used, ID: "rags"}, Mass: 1})
	if h, w := f.Heat("1"), f.Where(); h.Metal+cost.Sum(h.Conversion) != 12_00 || w.Expensed != 7_00 || w.Castings != 12_00-1_33 {
		t.Errorf("%+v, %+v", h, w)
	}
}

// A casting leaves at what it cost: what selling it cost or brought changes nothing.
func sellingCosts(t *testing.T) {
	f := ruledHeat(cost.Policy{}, cost.Event{From: cost.Place{Kind: cost.Casting, ID: "c"}, To: cost.Place{Kind: cost.Gone, ID: "shipped"}, Mass: 80})
	if w := f.Where(); w.Shipped != 12_00-1_33 || w.Castings != 0 {
		t.Errorf("%+v", w)
	}
}

// Each lot its own cost, first in first out, or an average: nothing else is offered.
func costFormulas(t *testing.T) {
	if got := cost.Methods(); !slices.Equal(got, []cost.Method{cost.ByLot, cost.FirstIn, cost.MovingAverage, cost.MonthAverage}) {
		t.Errorf("%v", got)
	}
	for _, name := range []string{"last-in", "LIFO", "last-in-first-out"} {
		if m, err := cost.ParseMethod(name); err == nil {
			t.Errorf("%s is offered as %s", name, m)
		}
	}
}

// What a count finds missing is an expense of the day it was found missing, not before.
// A write-down to what stock would fetch is not in the model (DEVELOPERS.md): no check.
func lossesOfThePeriod(t *testing.T) {
	shelf := cost.Place{Kind: cost.Lot, ID: "x", Pool: "bronze"}
	events := []cost.Event{
		{Seq: 1, At: day0, From: cost.Place{Kind: cost.Outside}, To: shelf, Mass: 100, Cost: 10_00, Priced: true},
		{Seq: 2, At: day0.AddDate(0, 1, 0), From: shelf, To: cost.Place{Kind: cost.Found, ID: "x"}, Mass: 30},
	}
	for n, want := range []int64{1: 0, 2: 3_00} {
		if n == 0 {
			continue
		}
		if w := cost.Follow(events[:n], nil).Where(); w.Expensed != want || w.Stock != 10_00-want {
			t.Errorf("after %d: %+v", n, w)
		}
	}
}

package shop_test

import (
	"errors"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// answers are what a shop says when it is asked everything that it keeps something for.
type answers struct {
	Book     shop.Reconciliation
	Losses   shop.Losses
	Stock    shop.Stock
	Orders   shop.Orders
	Balances map[string]shop.HeatBalance
	Costs    map[string]shop.HeatCost
	Cautions map[string][]alloy.Caution
	Burned   shop.Burned
	Refused  []string
}

func ask(s *shop.Shop, heats []string) (a answers) {
	refused := func(err error) {
		if err != nil {
			a.Refused = append(a.Refused, err.Error())
		}
	}
	var err error
	a.Book, err = s.Reconcile(ctx, "")
	refused(err)
	a.Losses, err = s.Losses(ctx)
	refused(err)
	a.Stock, err = s.Stock(ctx, shop.AsOf{}, "")
	refused(err)
	a.Orders, err = s.AdviseOrders(ctx, shop.OrderQuery{})
	refused(err)
	a.Burned, _, err = s.BurnOf(ctx, "east", "propane")
	refused(err)
	a.Balances, a.Costs, a.Cautions = map[string]shop.HeatBalance{}, map[string]shop.HeatCost{}, map[string][]alloy.Caution{}
	for _, h := range heats {
		a.Balances[h], err = s.Balance(ctx, h, shop.AsOf{})
		refused(err)
		a.Costs[h], err = s.CostOfHeat(ctx, h, time.Time{})
		refused(err)
		a.Cautions[h], err = s.HeatCautions(ctx, h, nil)
		refused(err)
	}
	return a
}

// same compares answers to the last bit, what is inside of the models apart: that shows
// in what they say.
var same = cmp.Options{cmpopts.EquateNaNs(), cmp.FilterPath(func(p cmp.Path) bool {
	f, ok := p.Last().(cmp.StructField)
	return ok && !isExported(f.Name())
}, cmp.Ignore()), cmp.Exporter(func(reflect.Type) bool { return true })}

func isExported(name string) bool { return name[0] >= 'A' && name[0] <= 'Z' }

// TestAnyDayAskedAsItGoes: a shop that was asked everything while a random day went on,
// and keeps what it can between the questions, says to the last bit what one says that
// reads the book for the first time.
func TestAnyDayAskedAsItGoes(t *testing.T) {
	asked, learnedFrom := 0, 0
	rapid.Check(t, func(r *rapid.T) {
		d := &day{Shop: ledgertest.Open(t), r: r, molds: map[string][]string{}}
		d.Do(d.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "east", Kind: ledger.PotFurnace, Name: "east"}))
		d.actions()["receive"](r)
		d.actions()["plan"](r)
		all := d.do()
		all["burn"] = func(*rapid.T) {
			d.did(d.RecordFuel(ctx, d.meta(), ledger.RecordFuel{Heats: []string{d.pick(d.heats, "heat")}, Fuel: "propane", Amount: "12 lb"}))
		}
		all["temperature"] = func(*rapid.T) {
			d.did(d.Temperature(ctx, d.meta(), ledger.ReadTemperature{Heat: d.pick(d.heats, "heat"), Typed: rapid.SampledFrom([]string{"1150 C", "2100 F"}).Draw(r, "read")}))
		}
		all["scale"] = func(*rapid.T) {
			d.did(d.SetScale(ctx, d.meta(), ledger.Scale{ID: "floor", Name: "floor scale", Division: ledgertest.Grams(rapid.SampledFrom([]int64{50, 100, 500}).Draw(r, "division"))}))
		}
		all["a whole heat"] = func(*rapid.T) { d.wholeHeat() }
		all["ask"] = func(*rapid.T) {
			heats := slices.Compact(slices.Sorted(slices.Values(d.heats)))
			got := ask(d.Shop.Shop, heats)
			want := ask(shop.New(d.Store, d.Book.Shop, func() time.Time { return d.Now }), heats)
			if diff := cmp.Diff(want, got, same); diff != "" {
				r.Fatalf("asked before, it says otherwise:\n%s", diff)
			}
			asked++
			if got.Losses.Shop != nil && got.Losses.Shop.Whole.Heats > 0 {
				learnedFrom++
			}
		}
		r.Repeat(all)
	})
	if asked == 0 || learnedFrom == 0 {
		t.Errorf("asked %d times, with something learned %d times: this test sees nothing", asked, learnedFrom)
	}
}

// wholeHeat is a heat from its plan to its settling, as most are.
func (d *day) wholeHeat() {
	e, err := d.PlanHeat(ctx, d.meta(), ledger.PlanHeat{Alloy: "C87300", Crucible: "A60", Furnace: "east", Molds: []ledger.MoldPlan{{Metal: ledgertest.Grams(20_000)}}})
	if d.did(e, err); err != nil {
		return
	}
	id := d.heats[len(d.heats)-1]
	e, err = d.Receive(ctx, d.meta(), ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(30_000)})
	if d.did(e, err); err != nil {
		return
	}
	lot := d.lots[len(d.lots)-1]
	kept := rapid.Int64Range(20_000, 30_500).Draw(d.r, "comes back")
	for _, step := range []func() (*ledger.Entry, error){
		func() (*ledger.Entry, error) { return d.OpenHeat(ctx, d.meta(), id) },
		func() (*ledger.Entry, error) {
			return d.Charge(ctx, d.meta(), ledger.ChargeHeat{Heat: id, Items: []ledger.ChargeItem{{Lot: lot}}})
		},
		func() (*ledger.Entry, error) {
			return d.Skim(ctx, d.meta(), ledger.SkimHeat{Heat: id, Weighing: ledgertest.Net(300)})
		},
		func() (*ledger.Entry, error) { return d.FinishPour(ctx, d.meta(), ledger.FinishPour{Heat: id}) },
		func() (*ledger.Entry, error) {
			return d.WeighIn(ctx, d.meta(), ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: id}}, Weighing: ledgertest.Net(kept)})
		},
		func() (*ledger.Entry, error) { return d.Settle(ctx, d.meta(), id) },
	} {
		var refusal *ledger.Error
		if e, err = step(); errors.As(err, &refusal) {
			return
		}
		d.did(e, err)
	}
}

package ledger_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

var slip = ledger.Meta{Reason: "a slip"}

// takenBack reverses an entry and gives the reason of the refusal, or "".
func takenBack(t *testing.T, b *ledgertest.Shop, e *ledger.Entry) string {
	t.Helper()
	_, err := b.Reverse(ctx, slip, ledger.ReverseEntry{Entry: e.Seq})
	var refused *ledger.Error
	if err != nil && !errors.As(err, &refused) {
		t.Fatal(err)
	}
	if err == nil {
		return ""
	}
	return refused.Reason
}

// poured is a shop with 40 kg of heat 1 in its molds.
func poured(t *testing.T) *ledgertest.Shop {
	b := ledgertest.Open(t)
	b.Do(b.Receive(ctx, slip, ledger.Receive{LotID: "A", HereAlready: true, Alloy: "C87300", Weighing: ledgertest.Net(60_000)}))
	b.Do(b.PlanHeat(ctx, slip, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{ID: "1-1", Metal: ledgertest.Grams(900)}}}))
	b.Do(b.OpenHeat(ctx, slip, "1"))
	b.Do(b.Charge(ctx, slip, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "A", Mass: ledgertest.Grams(40_000)}}}))
	b.Do(b.FinishPour(ctx, slip, ledger.FinishPour{Heat: "1"}))
	return b
}

// Each weighing of a casting is taken back only before the next, and goes back to the one
// before it.
func TestStagesOfACastingAreTakenBackInTurn(t *testing.T) {
	b := poured(t)
	weigh := func(stage ledger.Stage, grams int64) *ledger.Entry {
		return b.Do(b.WeighCasting(ctx, slip, ledger.WeighCasting{ID: "C", Heat: "1", Stage: stage, Weighing: ledgertest.Net(grams)}))
	}
	entries := []*ledger.Entry{weigh(ledger.AsCast, 20_000), weigh(ledger.CutOff, 12_000), weigh(ledger.Finished, 11_900)}
	entries = append(entries, b.Do(b.ShipCasting(ctx, slip, ledger.ShipCasting{Casting: "C"})))
	for i := len(entries) - 1; i >= 0; i-- {
		for _, e := range entries[:i] {
			if got := takenBack(t, b, e); got != "USED_SINCE" {
				t.Errorf("entry %d, before %d was: %q", e.Seq, entries[i].Seq, got)
			}
		}
		if got := takenBack(t, b, entries[i]); got != "" {
			t.Fatalf("entry %d, the last: %s", entries[i].Seq, got)
		}
		b.Want([]int64{0, 20_000, 12_000, 11_900}[i], "casting/C")
		b.Want([]int64{40_000, 20_000, 28_000, 28_000}[i], "molds/1")
		k, err := ledger.Get[ledger.Casting](ctx, b.Book, ledger.RecCasting, "C")
		if want := []ledger.Stage{ledger.AsCast, ledger.AsCast, ledger.CutOff, ledger.Finished}[i]; err != nil || k.Value.Stage != want || (k.Value.Gone == "") != (i > 0) {
			t.Errorf("after entry %d was taken back the casting is %+v, %v", entries[i].Seq, k.Value, err)
		}
	}
	b.Verify()
}

// A heat goes back step by step, and what was taken back in between is in nobody's way.
func TestAHeatIsTakenBackInTurn(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.Receive(ctx, slip, ledger.Receive{LotID: "A", HereAlready: true, Alloy: "C87300", Weighing: ledgertest.Net(60_000)}))
	steps := []*ledger.Entry{
		b.Do(b.PlanHeat(ctx, slip, ledger.PlanHeat{ID: "1", Alloy: "C87300", Molds: []ledger.MoldPlan{{ID: "1-1", Metal: ledgertest.Grams(900)}}})),
		b.Do(b.OpenHeat(ctx, slip, "1")),
		b.Do(b.Charge(ctx, slip, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: "A", Mass: ledgertest.Grams(40_000)}}})),
		b.Do(b.FinishPour(ctx, slip, ledger.FinishPour{Heat: "1"})),
		b.Do(b.Settle(ctx, slip, "1")),
	}
	states := []ledger.HeatState{ledger.Dropped, ledger.Planned, ledger.Melting, ledger.Melting, ledger.Late}
	molds := []int64{0, 0, 0, 0, 40_000}
	for i := len(steps) - 1; i >= 0; i-- {
		for k, e := range steps[:i] {
			if k == 2 { // the charge: its metal is taken out of where the heat has it by now
				continue
			}
			if got := takenBack(t, b, e); got != "USED_SINCE" {
				t.Errorf("step %d before step %d: %q", k, i, got)
			}
		}
		if got := takenBack(t, b, steps[i]); got != "" {
			t.Fatalf("step %d, the last: %s", i, got)
		}
		h, err := ledger.Get[ledger.Heat](ctx, b.Book, ledger.RecHeat, "1")
		if err != nil || h.Value.State != states[i] {
			t.Errorf("after step %d was taken back the heat is %s, not %s: %v", i, h.Value.State, states[i], err)
		}
		b.Want(molds[i], "molds/1")
	}
	b.Want(60_000, "lot/A")
	b.Verify()
}

// What is set up stays once it is there; a change of it is taken back unless another came
// after, and the one before that again once the other was taken back.
func TestWhatIsSetUpIsTakenBackInTurn(t *testing.T) {
	b := ledgertest.Open(t)
	set := map[string]func(name string) *ledger.Entry{
		"place": func(n string) *ledger.Entry { return b.Do(b.SetPlace(ctx, slip, ledger.Place{ID: "x", Name: n})) },
		"party": func(n string) *ledger.Entry { return b.Do(b.SetParty(ctx, slip, ledger.Party{ID: "x", Name: n})) },
		"supply": func(n string) *ledger.Entry {
			return b.Do(b.SetSupply(ctx, slip, ledger.Supply{ID: "x", Name: n, Purpose: "flux"}))
		},
		"scale": func(n string) *ledger.Entry {
			return b.Do(b.SetScale(ctx, slip, ledger.Scale{ID: "x", Name: n, Division: ledgertest.Grams(10)}))
		},
		"tare": func(n string) *ledger.Entry {
			return b.Do(b.SetTare(ctx, slip, ledger.Tare{ID: "x", Name: n, Mass: ledgertest.Grams(10)}))
		},
		"alloy": func(n string) *ledger.Entry {
			return b.Do(b.SetAlloy(ctx, slip, ledger.Alloy{ID: "x", Names: []string{n}}))
		},
		"pot": func(n string) *ledger.Entry {
			return b.Do(b.SetPot(ctx, slip, ledger.Pot{ID: "x", Kind: ledger.PotCrucible, Name: n}))
		},
		"commission": func(n string) *ledger.Entry {
			return b.Do(b.SetCommission(ctx, slip, ledger.Commission{ID: "x", Title: n}))
		},
	}
	for what, set := range set {
		first, second, third := set("one"), set("two"), set("three")
		for i, c := range []struct {
			e    *ledger.Entry
			want string
		}{{first, "NOT_REVERSIBLE"}, {second, "USED_SINCE"}, {third, ""}, {second, ""}, {first, "NOT_REVERSIBLE"}, {second, "REVERSED_ALREADY"}} {
			if got := takenBack(t, b, c.e); got != c.want {
				t.Errorf("%s, %d: %q, not %q", what, i, got, c.want)
			}
		}
		kind := first.Records[0].Kind
		body := func(seq int64) string {
			e, err := b.Entry(ctx, seq)
			if err != nil {
				t.Fatal(err)
			}
			return string(e.Records[0].Body)
		}
		if last, err := b.History(ctx, string(kind)+"/x", 0, 1); err != nil || body(last[0].Seq) != body(first.Seq) {
			t.Errorf("%s is not as it was at first: %v", what, err)
		}
	}
	b.Verify()
}

// Of what was said of a lot that moved nothing: taken back while nobody said otherwise,
// whatever became of the lot beside that.
func TestWordsAboutALotAreTakenBack(t *testing.T) {
	b := poured(t)
	b.Do(b.SetPlace(ctx, slip, ledger.Place{ID: "bin", Name: "bin"}))
	held := b.Do(b.Hold(ctx, slip, ledger.HoldLot{Lot: "A", Why: "odd"}))
	b.Do(b.Move(ctx, slip, ledger.MoveLot{Lot: "A", Place: "bin"}))
	if got := takenBack(t, b, held); got != "" {
		t.Fatal(got)
	}
	l, err := ledger.Get[ledger.Lot](ctx, b.Book, ledger.RecLot, "A")
	if err != nil || l.Value.Condition != ledger.Clean || l.Value.Place != "bin" || l.Value.HeldWhy != "" {
		t.Errorf("%+v, %v", l.Value, err)
	}
	held = b.Do(b.Hold(ctx, slip, ledger.HoldLot{Lot: "A", Why: "odd"}))
	released := b.Do(b.Release(ctx, slip, "A"))
	b.Do(b.Hold(ctx, slip, ledger.HoldLot{Lot: "A", Why: "odd"}))
	for _, e := range []*ledger.Entry{held, released} {
		if got := takenBack(t, b, e); got != "USED_SINCE" {
			t.Errorf("entry %d: %q", e.Seq, got)
		}
	}
}

// A closed period that is taken back is open again, the last one first, and can be closed
// anew; so with how cost is reckoned, where no closed period rests on it.
func TestMoneyIsTakenBackInTurn(t *testing.T) {
	b := ledgertest.Open(t)
	on := func(days int) time.Time { return time.Date(2025, 6, 1+days, 0, 0, 0, 0, time.UTC) }
	closing := func(from, to int) *ledger.Entry {
		return b.Do(b.ClosePeriod(ctx, slip, ledger.ClosePeriod{From: on(from), To: on(to)}, ledger.Closed{}))
	}
	way := b.Do(b.SetCosting(ctx, slip, ledger.Costing{From: on(-90), Method: "by-lot"}))
	first, second := closing(-60, -30), closing(-30, -10)
	for i, c := range []struct {
		e    *ledger.Entry
		want string
	}{{first, "USED_SINCE"}, {way, "PERIOD_CLOSED"}, {second, ""}, {first, ""}, {way, ""}} {
		if got := takenBack(t, b, c.e); got != c.want {
			t.Errorf("%d: %q, not %q", i, got, c.want)
		}
	}
	closing(-60, -30)
	b.Do(b.SetCosting(ctx, slip, ledger.Costing{From: on(-20), Method: "first-in"}))
	b.Verify()
}

// Prices of a market go one by one: those that were given anew since stay.
func TestMarketPricesAreTakenBack(t *testing.T) {
	b := ledgertest.Open(t)
	keep := func(days ...string) *ledger.Entry {
		var c ledger.MarketPrices
		for i, day := range days {
			c.Prices = append(c.Prices, ledger.MarketPrice{Metal: "Cu", Day: day, Price: fmt.Sprintf("%d.00 USD/kg", 9+i+len(days))})
		}
		return b.Do(b.KeepMarketPrices(ctx, slip, c))
	}
	first := keep("2026-03-01", "2026-03-02")
	keep("2026-03-02")
	if got := takenBack(t, b, first); got != "" {
		t.Fatal(got)
	}
	all, err := b.MarketPrices(ctx, "Cu", "", "")
	if err != nil || len(all) != 1 || all[0].Day != "2026-03-02" || all[0].Price != "10.00 USD/kg" {
		t.Errorf("%+v, %v", all, err)
	}
}

// A reversal sent again is the one that was made; it is not reversed itself.
func TestAReversalSentAgain(t *testing.T) {
	b := poured(t)
	e := b.Do(b.WeighCasting(ctx, slip, ledger.WeighCasting{ID: "C", Heat: "1", Stage: ledger.AsCast, Weighing: ledgertest.Net(20_000)}))
	m := slip
	m.Request = ledger.RequestID{1}
	back := b.Do(b.Reverse(ctx, m, ledger.ReverseEntry{Entry: e.Seq}))
	if again := b.Do(b.Reverse(ctx, m, ledger.ReverseEntry{Entry: e.Seq})); again.Seq != back.Seq || again.Hash != back.Hash {
		t.Errorf("entry %d, then %d", back.Seq, again.Seq)
	}
	if got := takenBack(t, b, back); got != "IS_A_REVERSAL" {
		t.Errorf("a reversal: %q", got)
	}
}

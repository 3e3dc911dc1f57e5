package ledger_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// The tests are named after the promises in doc.go.

func Test1MassIsExactAndTypedTextKept(t *testing.T) {
	b := ledgertest.Open(t)
	e := b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300",
		Weighing: ledger.WeighingIn{Gross: ledger.Quantity{Typed: "12 lb 6 oz"}, Tare: ledger.Quantity{Typed: "1.5 lb"}}}))
	w := e.Weighings[0]
	// 1 lb = 453.59237 g exactly (NIST SP 811, B.8): 12.375 lb = 5613.20557875 g.
	if w.Gross.Typed != "12 lb 6 oz" || w.Gross.Mass != 5_613_206 || w.Tare.Mass != 680_389 || w.Net.Mass != 5_613_206-680_389 {
		t.Errorf("weighing %+v", w)
	}
	back, err := b.Entry(ctx, e.Seq)
	if err != nil || back.Weighings[0] != w {
		t.Errorf("read back %+v, %v", back.Weighings[0], err)
	}
	if _, err := ledger.Mass(math.MaxInt64).Add(1); err == nil {
		t.Error("a sum that does not fit was accepted")
	}
}

func Test1DividingLosesNothing(t *testing.T) {
	for _, c := range []struct {
		total   int64
		weights []int64
		want    []int64
	}{
		{100, []int64{1, 1, 1}, []int64{34, 33, 33}},
		{-7, []int64{2, 1}, []int64{-5, -2}},
		{5, []int64{0, 0}, []int64{5, 0}},
		{math.MaxInt64, []int64{math.MaxInt64 / 2, math.MaxInt64 / 2}, []int64{math.MaxInt64/2 + 1, math.MaxInt64 / 2}},
		{10, nil, []int64{}},
	} {
		if got := ledger.Apportion(c.total, c.weights); !slices.Equal(got, c.want) {
			t.Errorf("Apportion(%d, %v) = %v, want %v", c.total, c.weights, got, c.want)
		}
	}
}

func Test2PostingsOfEveryEntrySumToZero(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	es, err := b.Entries(ctx, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range es {
		metal, supplies := ledger.Mass(0), ledger.Mass(0)
		for _, p := range e.Postings {
			if p.Account.CountsSupplies() {
				supplies += p.Mass
			} else {
				metal += p.Mass
			}
		}
		if metal != 0 || supplies != 0 {
			t.Errorf("entry %d (%s) sums to %d mg of metal, %d of supplies", e.Seq, e.Kind, metal, supplies)
		}
	}
}

// tampered wraps a store and shows one entry of its log other than it is.
type tampered struct {
	ledger.Store
	change func([]ledger.Sealed) []ledger.Sealed
}

func (s tampered) View(ctx context.Context, shop string, fn func(ledger.Reader) error) error {
	return s.Store.View(ctx, shop, func(r ledger.Reader) error { return fn(tamperedReader{r, s.change}) })
}

type tamperedReader struct {
	ledger.Reader
	change func([]ledger.Sealed) []ledger.Sealed
}

func (r tamperedReader) Log(after int64, limit int) ([]ledger.Sealed, error) {
	log, err := r.Reader.Log(after, limit)
	return r.change(log), err
}

func Test3VerifyNamesTheFirstBadEntry(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	clone := func(log []ledger.Sealed) []ledger.Sealed {
		out := slices.Clone(log)
		for i := range out {
			out[i].Bytes = slices.Clone(out[i].Bytes)
		}
		return out
	}
	find := func(log []ledger.Sealed, seq int64) int {
		return slices.IndexFunc(log, func(s ledger.Sealed) bool { return s.Seq == seq })
	}
	for name, c := range map[string]struct {
		change func([]ledger.Sealed) []ledger.Sealed
		first  int64
	}{
		"a byte changed": {func(l []ledger.Sealed) []ledger.Sealed {
			if i := find(l, 5); i >= 0 {
				l[i].Bytes[len(l[i].Bytes)/2] ^= 1
			}
			return l
		}, 5},
		"an entry left out": {func(l []ledger.Sealed) []ledger.Sealed {
			if i := find(l, 7); i >= 0 {
				return slices.Delete(l, i, i+1)
			}
			return l
		}, 7},
		"two entries swapped": {func(l []ledger.Sealed) []ledger.Sealed {
			if i := find(l, 4); i >= 0 {
				l[i], l[i+1] = l[i+1], l[i]
			}
			return l
		}, 4},
		"contents swapped, numbers kept": {func(l []ledger.Sealed) []ledger.Sealed {
			if i := find(l, 4); i >= 0 {
				l[i].Bytes, l[i+1].Bytes = l[i+1].Bytes, l[i].Bytes
			}
			return l
		}, 4},
		"the last cut off": {func(l []ledger.Sealed) []ledger.Sealed { return l[:len(l)-1] }, 0},
		"rewritten with a fitting hash": {func(l []ledger.Sealed) []ledger.Sealed {
			if i := find(l, 6); i >= 0 {
				e, err := ledger.Decode(l[i].Bytes)
				if err != nil {
					panic(err)
				}
				e.Who = "somebody else"
				l[i].Bytes = ledger.Encode(e)
				l[i].Hash = ledger.Chain(l[i-1].Hash, l[i].Bytes)
			}
			return l
		}, 7},
	} {
		t.Run(name, func(t *testing.T) {
			change := func(l []ledger.Sealed) []ledger.Sealed { return c.change(clone(l)) }
			v, err := ledger.Verify(ctx, tampered{b.Store, change}, b.Book.Shop, nil)
			if err != nil || v.Fault == nil {
				t.Fatalf("not found: %+v, %v", v, err)
			}
			head, _ := b.HeadOf(ctx)
			want := c.first
			if want == 0 {
				want = head.Seq
			}
			if v.Fault.Seq != want {
				t.Errorf("named entry %d (%s), want %d", v.Fault.Seq, v.Fault.What, want)
			}
		})
	}
}

func Test3EncodingIsStable(t *testing.T) {
	e := &ledger.Entry{Shop: "harrow", Seq: 7, Kind: ledger.KindWeighIn, Request: ledger.RequestID{1, 2}, Digest: [16]byte{3},
		Happened: time.UnixMilli(1_772_438_400_000).UTC(), Recorded: time.UnixMilli(1_772_438_401_234).UTC(),
		Who: "mara", Device: "floor tablet", Reason: "r", Flags: []ledger.Flag{{Code: "late", Text: "t"}}, Reverses: 3,
		Postings:  []ledger.Posting{{Account: "molds/41", Mass: -5, Basis: ledger.Weighed}, {Account: "lot/L1-9", Mass: 5, Basis: ledger.Weighed}},
		Weighings: []ledger.Weighing{{Subject: "lot/L1-9", Scale: "floor", Net: ledger.Quantity{Typed: "5 mg", Mass: 5}, DirtPPM: 20, Pieces: 2}},
		Records:   []ledger.Record{{Kind: ledger.RecLot, ID: "L1-9", Parent: "p", Body: []byte(`{"id":"L1-9"}`)}},
		Costs:     []ledger.Cost{{Account: "lot/L1-9", Currency: "USD", Minor: 123}}}
	// Version 1 of the encoding never changes: this hash was computed once, from
	// the layout written down in encoding.go, and stands for ever.
	const want = "242524cd8500f76d26a7944ff4fd566c08c8d56c6a5d21758811257d229f1ec5"
	if got := ledger.Chain(ledger.Hash{}, ledger.Encode(e)).String(); got != want {
		t.Errorf("hash of a fixed entry is %s, want %s", got, want)
	}
	back, err := ledger.Decode(ledger.Encode(e))
	if err != nil || fmt.Sprint(back) != fmt.Sprint(e) {
		t.Errorf("decoded %+v, %v\nwant %+v", back, err, e)
	}
}

func Test4FactsAreRecordedWithAReason(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	m := ledger.Meta{}
	brass := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C83600", Weighing: ledgertest.Net(5_000)})))
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "42", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, m, "42"))
	held := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(2_000)})))
	b.Do(b.Hold(ctx, m, ledger.HoldLot{Lot: held.ID, Why: "waiting for an assay"}))
	mine := ledgertest.MadeLot(t, b.Do(b.Receive(ctx, m, ledger.Receive{Customer: "iris", Alloy: "C87300", Weighing: ledgertest.Net(2_000)})))
	for flag, item := range map[string]ledger.ChargeItem{
		ledger.FlagWrongAlloy: {Lot: brass.ID, Mass: ledgertest.Grams(100)},
		ledger.FlagOverdrawn:  {Lot: b.Pigs.ID, Mass: ledgertest.Grams(6_400)},
		ledger.FlagHeld:       {Lot: held.ID},
		ledger.FlagUnclean:    {Lot: b.Swept.ID},
		ledger.FlagOtherOwner: {Lot: mine.ID},
	} {
		c := ledger.ChargeHeat{Heat: "42", Items: []ledger.ChargeItem{item}}
		_, err := b.Charge(ctx, m, c)
		var le *ledger.Error
		if !errors.Is(err, ledger.ErrNeedsReason) || !errors.As(err, &le) || !slices.ContainsFunc(le.Flags, func(f ledger.Flag) bool { return f.Code == flag }) {
			t.Errorf("%s: first answer %v", flag, err)
			continue
		}
		e := b.Do(b.Charge(ctx, ledger.Meta{Reason: "it is in there"}, c))
		if !slices.ContainsFunc(e.Flags, func(f ledger.Flag) bool { return f.Code == flag }) {
			t.Errorf("%s: recorded with flags %v", flag, e.Flags)
		}
	}
	b.Want(0, ledgertest.LotAcct(b.Pigs)) // never below zero: the missing 100 g are a count difference
	b.Want(-100, ledger.Acct(ledger.Count, b.Pigs.ID))
	b.Want(100+6_400+2_000+240+2_000, "heat/42")

	future := ledger.Meta{Happened: b.Now.Add(48 * time.Hour)}
	if _, err := b.Move(ctx, future, ledger.MoveLot{Lot: brass.ID, Place: "rack"}); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("a date in the future: %v", err)
	}
	future.Reason = "the tablet's clock is wrong"
	b.Do(b.Move(ctx, future, ledger.MoveLot{Lot: brass.ID, Place: "rack"}))
	b.Verify()
}

func Test4PlansAreRefused(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	if _, err := b.SpeakFor(ctx, ledger.Meta{Reason: "please"}, ledger.SpeakFor{Lot: b.Pigs.ID, For: "43", Mass: ledgertest.Grams(6_301)}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("promising more than there is: %v", err)
	}
	speak := ledger.SpeakFor{Lot: b.Pigs.ID, For: "43", Mass: ledgertest.Grams(6_300)}
	if _, err := b.SpeakFor(ctx, ledger.Meta{}, speak); !errors.Is(err, ledger.ErrNeedsReason) {
		t.Errorf("spoken for a heat that nobody planned: %v", err)
	}
	b.Do(b.SpeakFor(ctx, ledger.Meta{Reason: "it is planned tomorrow"}, speak))
	if _, err := b.SpeakFor(ctx, ledger.Meta{}, ledger.SpeakFor{Lot: b.Pigs.ID, For: "44", Mass: ledgertest.Grams(1)}); !errors.Is(err, ledger.ErrState) {
		t.Errorf("promising the same metal twice: %v", err)
	}
}

func Test4ReversalTakesBackWhatIsStillThere(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	m := ledger.Meta{}
	wrong := b.Do(b.WeighIn(ctx, m, ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(12_600)}))
	lot := ledgertest.MadeLot(t, wrong)
	b.Do(b.PlanHeat(ctx, m, ledger.PlanHeat{ID: "42", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, m, "42"))
	b.Do(b.Charge(ctx, m, ledger.ChargeHeat{Heat: "42", Items: []ledger.ChargeItem{{Lot: lot.ID, Mass: ledgertest.Grams(10_000)}}}))
	e := b.Do(b.Reverse(ctx, ledger.Meta{Reason: "read 12.6, was 11.2"}, ledger.ReverseEntry{Entry: wrong.Seq}))
	if len(e.Flags) != 1 || e.Flags[0].Code != ledger.FlagCorrected {
		t.Errorf("flags %v", e.Flags)
	}
	b.Want(0, ledgertest.LotAcct(lot))
	b.Want(-10_000, ledger.Acct(ledger.Count, lot.ID))
	b.Want(52_605, "molds/41")
	b.Verify()
}

func Test5RequestIDs(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	m := ledger.Meta{Request: ledger.RequestID{7}, Who: "mara"}
	c := ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: ledgertest.Net(1_000)}
	first := b.Do(b.WeighIn(ctx, m, c))
	b.Now = b.Now.Add(time.Hour)
	again := b.Do(b.WeighIn(ctx, m, c))
	if again.Seq != first.Seq || again.Hash != first.Hash {
		t.Errorf("a repeated request made entry %d, the first was %d", again.Seq, first.Seq)
	}
	c.Weighing = ledgertest.Net(1_001)
	if _, err := b.WeighIn(ctx, m, c); !errors.Is(err, ledger.ErrRequestReused) {
		t.Errorf("the id with other content: %v", err)
	}
	if _, err := b.Hold(ctx, m, ledger.HoldLot{Lot: b.Pigs.ID, Why: "x"}); !errors.Is(err, ledger.ErrRequestReused) {
		t.Errorf("the id for another verb: %v", err)
	}
	if _, err := b.WeighIn(ctx, ledger.Meta{DryRun: true}, c); err != nil {
		t.Errorf("dry run: %v", err)
	}
	if head, _ := b.HeadOf(ctx); head.Seq != first.Seq {
		t.Errorf("a dry run or a refused request was recorded: head %d", head.Seq)
	}
}

func Test7BalancesEqualTheSumOfPostings(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	sums := map[ledger.Account]ledger.Mass{}
	es, err := b.Entries(ctx, 0, 1000)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range es {
		for _, p := range e.Postings {
			sums[p.Account] += p.Mass
		}
	}
	for a, m := range sums {
		if got := b.Held(a); got != m {
			t.Errorf("%s: kept %d, postings sum to %d", a, got, m)
		}
	}
}

func Test8RecordedTimeNeverGoesBack(t *testing.T) {
	b := ledgertest.Open(t)
	e := b.Do(b.SetPlace(ctx, ledger.Meta{}, ledger.Place{ID: "a", Name: "a"}))
	b.Now = b.Now.Add(-10 * 365 * 24 * time.Hour)
	back := b.Do(b.SetPlace(ctx, ledger.Meta{Happened: b.Now, Reason: "the tablet says so"}, ledger.Place{ID: "b", Name: "b"}))
	if back.Recorded.Before(e.Recorded) {
		t.Errorf("recorded %s after %s", back.Recorded, e.Recorded)
	}
	if !back.Happened.Equal(b.Now) {
		t.Errorf("happened %s, typed %s", back.Happened, b.Now)
	}
}

func Test9ShopsAreApart(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	other := shop.New(b.Store, "quarry", func() time.Time { return b.Now })
	if _, err := other.Move(ctx, ledger.Meta{}, ledger.MoveLot{Lot: b.Pigs.ID, Place: "rack"}); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("writing to a shop without a book: %v", err)
	}
	e := b.Do(other.OpenBook(ctx, ledger.Meta{}, ledger.Shop{Name: "Quarry Bronze"}))
	if e.Seq != 1 {
		t.Errorf("the other shop's first entry is number %d", e.Seq)
	}
	if _, err := other.GetLot(ctx, b.Pigs.ID); !errors.Is(err, ledger.ErrNotFound) {
		t.Errorf("a lot of one shop seen from the other: %v", err)
	}
	b.Verify()
}

func TestBadInput(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	head, _ := b.HeadOf(ctx)
	in := func(w ledger.WeighingIn) ledger.WeighIn {
		return ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41"}}, Weighing: w}
	}
	typed := func(s string) ledger.WeighIn { return in(ledger.WeighingIn{Net: ledger.Quantity{Typed: s}}) }
	for name, c := range map[string]struct {
		cmd    ledger.WeighIn
		meta   ledger.Meta
		reason string
		field  string
	}{
		"negative":        {cmd: typed("-3 kg"), reason: "NEGATIVE", field: "weighing.net"},
		"unknown unit":    {cmd: typed("3 stone"), reason: "UNKNOWN_UNIT", field: "weighing.net"},
		"ambiguous comma": {cmd: typed("1,200 lb"), reason: "AMBIGUOUS_COMMA", field: "weighing.net"},
		"absurd":          {cmd: in(ledger.WeighingIn{Net: ledger.Quantity{Mass: ledger.MaxMass + 1}}), reason: "TOO_LARGE", field: "weighing.net"},
		"nothing":         {cmd: in(ledger.WeighingIn{}), reason: "REQUIRED", field: "weighing.net"},
		"tare above":      {cmd: in(ledger.WeighingIn{Gross: ledgertest.Grams(1), Tare: ledgertest.Grams(2)}), reason: "NEGATIVE_NET", field: "weighing.gross"},
		"no such scale":   {cmd: in(ledger.WeighingIn{Scale: "moon", Net: ledgertest.Grams(1)}), reason: "NOT_FOUND", field: "weighing.scale"},
		"no such heat":    {cmd: ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "99"}}, Weighing: ledgertest.Net(1)}, reason: "NOT_FOUND", field: "heats[0].heat"},
		"bad utf-8":       {cmd: typed("3 kg"), meta: ledger.Meta{Who: "\xff"}, reason: "NOT_UTF8", field: "who"},
		"long reason":     {cmd: typed("3 kg"), meta: ledger.Meta{Reason: strings.Repeat("x", 5000)}, reason: "TOO_LONG", field: "reason"},
		"dirt":            {cmd: in(ledger.WeighingIn{Net: ledgertest.Grams(1), Dirt: 1_000_001}), reason: "OUT_OF_RANGE", field: "weighing.dirt_percent"},
		"net not gross":   {cmd: in(ledger.WeighingIn{Gross: ledgertest.Grams(10), Net: ledgertest.Grams(9)}), reason: "CONTRADICTION", field: "weighing.net"},
		"lot check digit": {cmd: ledger.WeighIn{Into: "L1-0", Alloy: "C87300", Weighing: ledgertest.Net(1)}, reason: "CHECK_DIGIT", field: "lot"},
		"alloy unknown":   {cmd: ledger.WeighIn{Alloy: "unobtainium", Weighing: ledgertest.Net(1)}, reason: "UNKNOWN_ALLOY", field: "alloy"},
		"shares":          {cmd: ledger.WeighIn{Heats: []ledger.HeatShare{{Heat: "41", Share: 1}, {Heat: "41", Share: 2}}, Weighing: ledgertest.Net(1)}, reason: "TWICE", field: "heats[1].heat"},
	} {
		_, err := b.WeighIn(ctx, c.meta, c.cmd)
		var le *ledger.Error
		if !errors.As(err, &le) || le.Reason != c.reason || le.Field != c.field {
			t.Errorf("%s: got %v (%+v), want %s at %s", name, err, le, c.reason, c.field)
		}
	}
	if now, _ := b.HeadOf(ctx); now != head {
		t.Error("a refused input changed the book")
	}
}

func TestLotIDCheckDigit(t *testing.T) {
	for n := int64(1); n < 3000; n++ {
		id := ledger.LotID(n)
		if err := ledger.CheckLotID(id); err != nil {
			t.Fatalf("%s: %v", id, err)
		}
		for i := 1; i < len(id); i++ { // any one wrong digit is noticed
			if id[i] == '-' {
				continue
			}
			bad := []byte(id)
			bad[i] = '0' + (bad[i]-'0'+1)%10
			if i == 1 && bad[i] == '0' {
				continue // a number does not begin with 0
			}
			if ledger.CheckLotID(string(bad)) == nil {
				t.Fatalf("%s passes for %s", bad, id)
			}
		}
	}
}

func ExampleLotID() {
	fmt.Println(ledger.LotID(1042))
	// Output: L1042-8
}

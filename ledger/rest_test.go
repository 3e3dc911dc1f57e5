package ledger_test

import (
	"errors"
	"fmt"
	"testing"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

func typedNet(s string) ledger.WeighingIn { return ledger.WeighingIn{Net: typed(s)} }

// inLot is a lot of what is typed.
func inLot(b *ledgertest.Shop, mass string) ledger.Lot {
	return ledgertest.MadeLot(b.T, b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: ledger.Gating, Weighing: typedNet(mass)})))
}

// TestTheRestEmptiesALot: 39.4 lb are 17 871 539 mg, 38.2 and 1.2 are 17 327 229 and 544 311,
// one more; 38.7 lb are one more than 37.3 and 1.4. What is typed of the rest that is shown
// takes all of it, as what is read does, and nothing is asked.
func TestTheRestEmptiesALot(t *testing.T) {
	for _, c := range []struct {
		what  string
		lot   string
		parts []string
		left  ledger.Mass
	}{
		{"a milligram more", "39.4 lb", []string{"38.2 lb", "1.2 lb"}, 0},
		{"a milligram less", "38.7 lb", []string{"37.3 lb", "1.4 lb"}, 0},
		{"a round number is not known to half a kilogram", "20.4 kg", []string{"20 kg"}, 400_000},
		{"but to 50 g", "20.05 kg", []string{"20 kg"}, 0},
		{"to the nearest tenth", "20.44 kg", []string{"20.4 kg"}, 0},
		{"further than half of the last digit", "20.46 kg", []string{"20.4 kg"}, 60_000},
		{"pounds and ounces", "12.4 lb", []string{"12 lb 6 oz"}, 0},
	} {
		b := ledgertest.Open(t)
		l := inLot(b, c.lot)
		for _, part := range c.parts {
			e := b.Do(b.Remove(ctx, ledger.Meta{}, ledger.RemoveLot{Lot: l.ID, How: "sold", Mass: typed(part)}))
			if len(e.Flags) != 0 || e.Weighings[0].Net.Typed != part {
				t.Errorf("%s: flags %+v, kept as %q", c.what, e.Flags, e.Weighings[0].Net.Typed)
			}
		}
		if got := b.Held(ledgertest.LotAcct(l)); got != c.left {
			t.Errorf("%s: %d mg are left, want %d", c.what, got, c.left)
		}
		b.Verify()
	}
}

// TestAScaleEmptiesALot: what a scale shows is known to half of its division of 10 g, and
// gross and tare are two readings; milligrams of a program stand as they are.
func TestAScaleEmptiesALot(t *testing.T) {
	gross := ledger.WeighingIn{Scale: "floor", Gross: ledgertest.Grams(6_991), Tare: ledgertest.Grams(2_000)}
	for _, c := range []struct {
		what string
		w    ledger.WeighingIn
		left ledger.Mass
	}{
		{"5 g off", ledgertest.Net(4_995), 0},
		{"6 g off", ledgertest.Net(4_994), 6_000},
		{"9 g off of two readings", gross, 0},
		{"typed finer than the scale shows", ledger.WeighingIn{Scale: "floor", Net: typed("4.996 kg")}, 0},
		{"typed, no scale", typedNet("4.996 kg"), 4_000},
		{"milligrams", ledger.WeighingIn{Net: ledger.Quantity{Mass: 4_999_998}}, 2},
	} {
		b := ledgertest.Open(t)
		l := inLot(b, "5 kg")
		b.Do(b.Split(ctx, ledger.Meta{}, ledger.SplitLot{Lot: l.ID, Parts: []ledger.Part{{LotID: "P", Weighing: c.w}}}))
		if got := b.Held(ledgertest.LotAcct(l)); got != c.left {
			t.Errorf("%s: %d mg are left, want %d", c.what, got, c.left)
		}
		part, err := ledger.Get[ledger.Lot](ctx, b.Book, ledger.RecLot, "P")
		if err != nil || part.Value.From[0].Mass != 5*ledger.Kilogram-c.left {
			t.Errorf("%s: the part is of %+v, %v", c.what, part.Value.From, err)
		}
		b.Verify()
	}
}

// TestMoreThanTheRestIsAsked: clearly more than a lot holds stays a question.
func TestMoreThanTheRestIsAsked(t *testing.T) {
	b := ledgertest.Open(t)
	l := inLot(b, "1.2 lb")
	var no *ledger.Error
	if _, err := b.Remove(ctx, ledger.Meta{}, ledger.RemoveLot{Lot: l.ID, How: "sold", Mass: typed("1.3 lb")}); !errors.As(err, &no) || no.Reason != "NEEDS_REASON" {
		t.Errorf("1.3 lb of 1.2: %v", err)
	}
}

// TestPartsThatAddUpEmptyALot: whatever two parts a lot is typed in, if they add up as typed
// they are all of it, by whatever way they leave, and nothing is asked. So is what is spoken for.
func TestPartsThatAddUpEmptyALot(t *testing.T) {
	b := ledgertest.Open(t)
	b.Do(b.PlanHeat(ctx, ledger.Meta{}, ledger.PlanHeat{ID: "1", Alloy: "C87300"}))
	b.Do(b.OpenHeat(ctx, ledger.Meta{}, "1"))
	steps := []func(n int) string{
		func(n int) string { return fmt.Sprintf("%d.%d lb", n/10, n%10) },
		func(n int) string { return fmt.Sprintf("%d.%02d kg", n/100, n%100) },
		func(n int) string { return fmt.Sprintf("%d oz", n) },
		func(n int) string { return fmt.Sprintf("%d lb %d oz", n/16, n%16) },
		func(n int) string { return fmt.Sprintf("%d g", n) },
	}
	rapid.Check(t, func(r *rapid.T) {
		of := rapid.SampledFrom(steps).Draw(r, "step")
		first, second := rapid.IntRange(1, 2_000).Draw(r, "first"), rapid.IntRange(1, 2_000).Draw(r, "second")
		l := inLot(b, of(first+second))
		b.Do(b.SpeakFor(ctx, ledger.Meta{}, ledger.SpeakFor{Lot: l.ID, For: "1", Mass: typed(of(first))}))
		b.Do(b.SpeakFor(ctx, ledger.Meta{}, ledger.SpeakFor{Lot: l.ID, For: "gates", Mass: typed(of(second))}))
		for _, n := range []int{first, second} {
			var e *ledger.Entry
			switch rapid.IntRange(0, 3).Draw(r, "way") {
			case 0:
				e = b.Do(b.Remove(ctx, ledger.Meta{}, ledger.RemoveLot{Lot: l.ID, How: "sold", Mass: typed(of(n))}))
			case 1:
				e = b.Do(b.Split(ctx, ledger.Meta{}, ledger.SplitLot{Lot: l.ID, Parts: []ledger.Part{{Weighing: typedNet(of(n))}}}))
			case 2:
				e = b.Do(b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: l.ID, Mass: typed(of(n))}}}))
			default:
				w := typedNet(of(n))
				e = b.Do(b.Charge(ctx, ledger.Meta{}, ledger.ChargeHeat{Heat: "1", Items: []ledger.ChargeItem{{Lot: l.ID, Weigh: &w}}}))
			}
			if len(e.Flags) != 0 {
				r.Fatalf("%s of %s: %+v", of(n), of(first+second), e.Flags)
			}
		}
		if left := b.Held(ledgertest.LotAcct(l)); left != 0 {
			r.Fatalf("%s and %s leave %d mg of %s", of(first), of(second), left, of(first+second))
		}
	})
	b.Verify()
}

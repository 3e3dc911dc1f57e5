package ledger_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/memory"
)

// TestRehearsalsLeaveNothing: what was said is taken, or refused for the same reason,
// whether or not the store ran the use case before on less than there is; alloys by a
// name that only their list has, and figures that cannot be read, most of all.
func TestRehearsalsLeaveNothing(t *testing.T) {
	day := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for name, do := range map[string]func(*ledgertest.Shop) (*ledger.Entry, error){
		"a policy": func(b *ledgertest.Shop) (*ledger.Entry, error) {
			return b.SetCosting(ctx, ledger.Meta{}, ledger.Costing{From: day, Method: "by-lot", Normal: []ledger.AlloyShare{{Alloy: "house bronze", PPM: 20_000}},
				Recovered: []ledger.AlloyPrice{{Alloy: "house bronze", Typed: "4.00 USD/kg"}}})
		},
		"a commission": func(b *ledgertest.Shop) (*ledger.Entry, error) {
			return b.SetCommission(ctx, ledger.Meta{}, ledger.Commission{ID: "bell", Title: "A bell",
				Patterns: []ledger.Pattern{{Name: "bell", Alloy: "house bronze", Copies: 1, VolumeMm3: 1_000_000}}})
		},
		"a scale that shows nothing": func(b *ledgertest.Shop) (*ledger.Entry, error) {
			return b.SetScale(ctx, ledger.Meta{}, ledger.Scale{ID: "s", Name: "s", Division: ledger.Quantity{Typed: "ten"}})
		},
		"a crucible for less than nothing": func(b *ledgertest.Shop) (*ledger.Entry, error) {
			return b.SetPot(ctx, ledger.Meta{}, ledger.Pot{ID: "new", Name: "new", Kind: ledger.PotCrucible, Price: &ledger.Price{Typed: "-5.00 USD"}})
		},
		"an import": func(b *ledgertest.Shop) (*ledger.Entry, error) {
			all, err := b.Import(ctx, ledger.Meta{}, []ledger.Row{{In: ledger.Receive{Supplier: "northmetal", Alloy: "house bronze", Weighing: ledgertest.Net(10_000)}}})
			if err != nil {
				return nil, err
			}
			return all[0], nil
		},
	} {
		told := func(b *ledgertest.Shop) string {
			b.Do(b.SetAlloy(ctx, ledger.Meta{}, ledger.Alloy{ID: "C87300", Names: []string{"house bronze"}}))
			e, err := do(b)
			var refused *ledger.Error
			switch {
			case errors.As(err, &refused):
				return refused.Reason + " " + refused.Field
			case err != nil:
				return err.Error()
			}
			out := fmt.Sprint(e.Seq)
			for _, r := range e.Records {
				out += fmt.Sprintf(" %s/%s %s", r.Kind, r.ID, r.Body)
			}
			return out
		}
		if plain, rehearsed := told(ledgertest.OpenIn(t, memory.New())), told(ledgertest.Open(t)); plain != rehearsed {
			t.Errorf("%s:\n%s\nrehearsed:\n%s", name, plain, rehearsed)
		}
	}
}

package shop_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// TestLotsInPages: pages of any size, narrowed or not, with or without the empty ones,
// are together what one page of all gives.
func TestLotsInPages(t *testing.T) {
	b := ledgertest.RunHeat41(t)
	b.BringHome()
	for i := range 23 {
		form := ledger.Ingot
		if i%5 == 0 {
			form = ledger.Pig
		}
		b.Do(b.Receive(t.Context(), ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Form: form, Weighing: ledgertest.Net(100)}))
	}
	for _, q := range []ledger.LotQuery{{}, {Empty: true}, {Form: ledger.Pig}, {Form: ledger.Pig, Empty: true}, {Heat: "41", Empty: true}, {Form: ledger.Riser}} {
		whole, _, err := b.Lots(t.Context(), q)
		if err != nil || (len(whole) == 0) != (q.Form == ledger.Riser) {
			t.Fatalf("%+v: %d lots, %v", q, len(whole), err)
		}
		for _, l := range whole {
			held := b.Held(ledger.Acct(ledger.OfLot, l.ID))
			if l.Mass != held || held == 0 && !q.Empty || q.Form != "" && l.Form != q.Form {
				t.Errorf("%+v: lot %s of form %s with %d, it holds %d", q, l.ID, l.Form, l.Mass, held)
			}
		}
		for _, size := range []int{1, 2, 3, 7, len(whole), len(whole) + 1} {
			var paged []ledger.LotView
			for q.After, q.Limit = "", max(size, 1); ; {
				page, next, err := b.Lots(t.Context(), q)
				if err != nil || len(page) > q.Limit {
					t.Fatalf("%+v: %d lots, %v", q, len(page), err)
				}
				paged = slices.Concat(paged, page)
				if q.After = next; next == "" {
					break
				}
			}
			if diff := cmp.Diff(whole, paged, same); diff != "" {
				t.Errorf("%+v (-whole +paged):\n%s", q, diff)
			}
		}
	}
}

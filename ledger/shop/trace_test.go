package shop_test

import (
	"path/filepath"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/ledger/storetest"
)

// TestLineageOfAFile: a store that reads all its log in a way of its own tells the same
// lineage as one that is read batch by batch, and as a graph that was brought up to date.
func TestLineageOfAFile(t *testing.T) {
	file, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "book.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var log []ledger.Entry
	for _, e := range storetest.ShopLoad(8*ledger.Batch + 500) {
		if log = append(log, e); e.Postings[1].Mass == 2000 && len(log)%50 == 0 { // dirt taken off, wrongly
			log = append(log, ledger.Entry{Reverses: int64(len(log)), Postings: []ledger.Posting{
				{Account: e.Postings[0].Account, Mass: 2000}, {Account: e.Postings[1].Account, Mass: -2000}}})
		}
	}
	cut := len(log) - 400
	plain, of := memory.New(), []ledger.Account{"heat/60", "heat/170", ledger.Acct("lot", log[3].Records[0].ID)}
	ask := func(s *shop.Shop) (all []any) {
		for _, a := range of {
			back, err := s.TraceBack(t.Context(), a)
			if err != nil {
				t.Fatal(err)
			}
			forward, err := s.TraceForward(t.Context(), a)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, back, forward)
		}
		return all
	}
	kept := shop.New(file, "harrow", nil)
	for i, part := range [][]ledger.Entry{log[:cut], log[cut:]} {
		for _, shop := range []string{"another", "harrow", "last"} {
			storetest.Fill(t, file, shop, slices.Values(part))
		}
		storetest.Fill(t, plain, "harrow", slices.Values(part))
		want := ask(shop.New(plain, "harrow", nil))
		for _, s := range []*shop.Shop{kept, shop.New(file, "harrow", nil)} {
			if diff := cmp.Diff(want, ask(s), same); diff != "" {
				t.Fatalf("part %d: %s", i+1, diff)
			}
		}
	}
}

package ledger_test

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/storetest"
)

// counting counts the things that a store's readers hand out in lists.
type counting struct {
	ledger.Store
	given int
}

func (c *counting) View(ctx context.Context, shop string, fn func(ledger.Reader) error) error {
	return c.Store.View(ctx, shop, func(r ledger.Reader) error { return fn(countingReader{r, c}) })
}

type countingReader struct {
	ledger.Reader
	to *counting
}

func (c countingReader) Records(kind ledger.RecordKind, parent, after string, limit int) ([]ledger.Record, error) {
	all, err := c.Reader.Records(kind, parent, after, limit)
	c.to.given += len(all)
	return all, err
}

func (c countingReader) Holdings(kind ledger.AccountKind, with ledger.RecordKind, after string, limit int) ([]ledger.Holding, error) {
	all, err := c.Reader.Holdings(kind, with, after, limit)
	c.to.given += len(all)
	return all, err
}

// TestPages: the pages of any list of any book are together what looking at everything
// finds, in the same order; none has more than was asked for, nor looks at more than it
// may, and only the last one and those that looked at so much are short.
func TestPages(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		book, lots, castings := randomThings(t)
		limit := rapid.OneOf(rapid.IntRange(1, 20), rapid.IntRange(90, 110), rapid.IntRange(1, 500)).Draw(t, "limit")
		may := max(limit, ledger.Look)
		st := book.Store.(*counting)
		paged := func(one func(after string) (n int, next string, err error)) {
			for after := ""; ; {
				st.given = 0
				n, next, err := one(after)
				if err != nil || n > limit || st.given > may || n < limit && next != "" && st.given != may || next != "" && next <= after {
					t.Fatalf("a page of %d of %d that looked at %d of %d, after %q before %q: %v", n, limit, st.given, may, after, next, err)
				}
				if after = next; after == "" {
					return
				}
			}
		}

		heat := rapid.SampledFrom([]string{"", "1", "2", "3"})
		q := ledger.LotQuery{Heat: heat.Draw(t, "heat"), Form: rapid.SampledFrom([]ledger.Form{"", "", "pig", "cup"}).Draw(t, "form"),
			Place: rapid.SampledFrom([]string{"", "", "bin", "wall"}).Draw(t, "place"), Empty: rapid.Bool().Draw(t, "empty"), Limit: limit}
		var want, got []ledger.LotView
		for _, l := range lots {
			of := slices.Contains(l.Candidates, q.Heat) || slices.ContainsFunc(l.From, func(s ledger.Source) bool { return s.Account == ledger.Acct(ledger.InMolds, q.Heat) })
			if (q.Heat == "" || of) && (q.Form == "" || l.Form == q.Form) && (q.Place == "" || l.Place == q.Place) && (q.Empty || l.Mass != 0 && !l.Void) {
				want = append(want, l)
			}
		}
		paged(func(after string) (int, string, error) {
			q.After = after
			page, next, err := book.Lots(t.Context(), q)
			got = append(got, page...)
			return len(page), next, err
		})
		if diff := cmp.Diff(want, got, cmpopts.EquateEmpty(), cmpopts.IgnoreFields(ledger.LotView{}, "Seq")); diff != "" {
			t.Fatalf("%+v (-wanted +paged):\n%s", q, diff)
		}

		of, name := heat.Draw(t, "castings of"), rapid.SampledFrom([]string{"", "otter"}).Draw(t, "name")
		parent := ""
		if of != "" {
			parent = ledger.OfHeat(of)
		}
		keep := func(k ledger.Casting) bool { return name == "" || k.Name == name }
		var wanted, listed []string
		for _, k := range castings {
			if (of == "" || k.Heat == of) && keep(k) {
				wanted = append(wanted, k.ID)
			}
		}
		paged(func(after string) (int, string, error) {
			page, next, err := ledger.Page(t.Context(), book, ledger.RecCasting, parent, after, limit, keep)
			for _, k := range page {
				listed = append(listed, k.Value.ID)
			}
			return len(page), next, err
		})
		if !slices.Equal(wanted, listed) {
			t.Fatalf("castings of %q named %q: wanted %v, paged %v", of, name, wanted, listed)
		}
	})
}

// randomThings makes a book with up to 500 lots and as many castings of three heats, and
// gives them by id.
func randomThings(t *rapid.T) (*ledger.Book, []ledger.LotView, []ledger.Casting) {
	st := memory.New()
	t.Cleanup(func() { _ = st.Close() })
	heat := rapid.SampledFrom([]string{"1", "2", "3"})
	var lots []ledger.LotView
	var castings []ledger.Casting
	var e ledger.Entry
	rare := rapid.IntRange(1, 40).Draw(t, "one in") // so that what is wanted is anything from all to hardly any
	for i := range rapid.IntRange(0, 500).Draw(t, "things") {
		odd := rapid.IntRange(1, rare).Draw(t, "odd") == 1
		l := ledger.LotView{Lot: ledger.Lot{ID: fmt.Sprintf("L%04d", i), Form: "cup", Place: "wall"}}
		k := ledger.Casting{ID: fmt.Sprintf("C%04d", i), Heat: "3"}
		if odd {
			l.Form, l.Place, l.Void = rapid.SampledFrom([]ledger.Form{"pig", "cup"}).Draw(t, "form"), rapid.SampledFrom([]string{"bin", "wall"}).Draw(t, "place"), rapid.Bool().Draw(t, "void")
			l.From = []ledger.Source{{Account: ledger.Acct(ledger.InMolds, heat.Draw(t, "from")), Mass: 1}}
			l.Candidates = rapid.SliceOfN(heat, 1, 2).Draw(t, "candidates")
			k.Heat, k.Name = heat.Draw(t, "of"), "otter"
		}
		if l.Mass = ledger.Mass(rapid.IntRange(0, 1).Draw(t, "mass")); l.Mass != 0 {
			e.Postings = append(e.Postings, ledger.Posting{Account: ledger.Acct(ledger.OfLot, l.ID), Mass: l.Mass, Basis: ledger.Weighed},
				ledger.Posting{Account: "supplier/northmetal", Mass: -l.Mass, Basis: ledger.Weighed})
		}
		e.Records = append(e.Records, record(t, ledger.RecLot, l.ID, "", l.Lot), record(t, ledger.RecCasting, k.ID, ledger.OfHeat(k.Heat), k))
		lots, castings = append(lots, l), append(castings, k)
	}
	e.Request = storetest.NewRequest()
	if err := st.Update(t.Context(), storetest.Shop, func(tx ledger.Tx) error { _, err := storetest.Append(tx, storetest.Shop, e); return err }); err != nil {
		t.Fatal(err)
	}
	return &ledger.Book{Store: &counting{Store: st}, Shop: storetest.Shop}, lots, castings
}

func record(t *rapid.T, kind ledger.RecordKind, id, parent string, v any) ledger.Record {
	body, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return ledger.Record{Kind: kind, ID: id, Parent: parent, Body: body}
}

// TestMarketPricePages: the pages of the prices of any metals and days are together what
// reading all of them gives, and none looks at more years than it may.
func TestMarketPricePages(t *testing.T) {
	b := ledgertest.Open(t)
	r := rand.New(rand.NewPCG(7, 9))
	prices := map[string]ledger.MarketPrice{}
	for _, metal := range []string{"Cu", "Zn", "C87300", "C83600"} {
		for year := 1990; year <= 2026; year++ {
			for range r.IntN(3) * r.IntN(30) { // a third of the years has none
				p := ledger.MarketPrice{Metal: metal, Day: fmt.Sprintf("%d-%02d-%02d", year, 1+r.IntN(12), 1+r.IntN(28)), Price: "4.85 USD/lb"}
				prices[p.Key()] = p
			}
		}
	}
	b.Do(b.KeepMarketPrices(ctx, none, ledger.MarketPrices{Prices: slices.Collect(maps.Values(prices))}))
	st := &counting{Store: b.Store}
	book := &ledger.Book{Store: st, Shop: b.Book.Shop, Metals: b.Metals}
	rapid.Check(t, func(t *rapid.T) {
		metal := rapid.SampledFrom([]string{"", "copper", "Zn", "C83600", "Pb"}).Draw(t, "metal")
		day := rapid.Custom(func(t *rapid.T) string {
			return fmt.Sprintf("%d-%02d-%02d", rapid.IntRange(1989, 2027).Draw(t, "year"), rapid.IntRange(1, 12).Draw(t, "month"), rapid.IntRange(1, 28).Draw(t, "day"))
		})
		from, until := rapid.OneOf(rapid.Just(""), day).Draw(t, "from"), rapid.OneOf(rapid.Just(""), day).Draw(t, "until")
		limit := rapid.OneOf(rapid.IntRange(1, 5), rapid.IntRange(1, 1000)).Draw(t, "limit")
		var want, got []ledger.MarketPrice
		for _, key := range slices.Sorted(maps.Keys(prices)) {
			if p := prices[key]; (metal == "" || p.Metal == metal || metal == "copper" && p.Metal == "Cu") && p.Day >= from && (until == "" || p.Day <= until) {
				want = append(want, p)
			}
		}
		for after, pages := "", 0; pages == 0 || after != ""; pages++ {
			st.given = 0
			page, next, err := book.MarketPricePage(t.Context(), metal, from, until, after, limit)
			if err != nil || len(page) > limit || st.given > 20 || next != "" && next <= after {
				t.Fatalf("a page of %d of %d that looked at %d years, after %q before %q: %v", len(page), limit, st.given, after, next, err)
			}
			got, after = append(got, page...), next
		}
		if diff := cmp.Diff(want, got, cmpopts.EquateEmpty()); diff != "" {
			t.Fatalf("(-wanted +paged):\n%s", diff)
		}
	})
}

// TestMarketPricesOfNestedNames: of metals of which one is named like a month of another,
// pages leave nothing out.
func TestMarketPricesOfNestedNames(t *testing.T) {
	b := ledgertest.Open(t)
	var prices []ledger.MarketPrice
	for _, metal := range []string{"Zq", "Zq.2026-05"} {
		b.Do(b.SetAlloy(ctx, none, ledger.Alloy{ID: metal, Family: "silicon bronze"}))
		for _, day := range []string{"2025-12-30", "2026-01-01", "2026-06-01"} {
			prices = append(prices, ledger.MarketPrice{Metal: metal, Day: day, Price: "4 USD/lb"})
		}
	}
	b.Do(b.KeepMarketPrices(ctx, none, ledger.MarketPrices{Prices: prices}))
	want, err := b.MarketPrices(ctx, "", "", "")
	if err != nil || len(want) != len(prices) {
		t.Fatal(want, err)
	}
	for limit := 1; limit < 8; limit++ {
		var got []ledger.MarketPrice
		for after, pages := "", 0; (pages == 0 || after != "") && pages < 20; pages++ {
			page, next, err := b.MarketPricePage(ctx, "", "", "", after, limit)
			if err != nil {
				t.Fatal(err)
			}
			got, after = append(got, page...), next
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("by pages of %d (-all +paged):\n%s", limit, diff)
		}
	}
}

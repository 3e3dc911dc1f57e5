package shop_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/shop"
)

// TestOffersEntryByEntry: asked after each entry, the offers that hold on a day are those
// that a look at all of them finds, in pages of any size; also when somebody else wrote
// them, and when the shop is opened anew.
func TestOffersEntryByEntry(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b, ctx := ledgertest.Open(t), t.Context()
		now := func() time.Time { return b.Now }
		asked := shop.New(b.Store, "harrow", now)
		day := rapid.Custom(func(r *rapid.T) string { return fmt.Sprintf("2026-03-%02d", rapid.IntRange(1, 6).Draw(r, "day")) })
		party, alloys := rapid.SampledFrom([]string{"northmetal", "iris"}), rapid.SampledFrom([]string{"C87300", "C83600"})
		for range rapid.IntRange(1, 12).Draw(r, "entries") {
			var ids []string
			all, _, err := asked.Offers(ctx, shop.OfferQuery{})
			if err != nil {
				r.Fatal(err)
			}
			for _, o := range all {
				ids = append(ids, o.Value.ID)
			}
			if len(ids) > 0 && rapid.IntRange(0, 3).Draw(r, "withdraws") == 0 {
				_, err = b.WithdrawOffer(ctx, ledger.Meta{}, ledger.WithdrawOffer{Offer: rapid.SampledFrom(ids).Draw(r, "offer")})
			} else {
				c := ledger.NewOffer{Party: party.Draw(r, "party"), Alloy: alloys.Draw(r, "alloy"), Form: ledger.Ingot, From: day.Draw(r, "from"),
					Breaks: []ledger.NewOfferBreak{{Price: "9.80 USD/kg"}}}
				if rapid.Bool().Draw(r, "ends") {
					c.Until = "2026-03-04"
				}
				_, err = b.KeepOffer(ctx, ledger.Meta{}, c)
			}
			if err != nil && !errors.Is(err, ledger.ErrState) && !errors.Is(err, ledger.ErrInvalid) {
				r.Fatal(err)
			}
			if rapid.IntRange(0, 4).Draw(r, "anew") == 0 {
				asked = shop.New(b.Store, "harrow", now)
			}
			q := shop.OfferQuery{Day: day.Draw(r, "on"), Limit: rapid.IntRange(1, 4).Draw(r, "limit")}
			if rapid.Bool().Draw(r, "of an alloy") {
				q.Parent = "alloy/" + alloys.Draw(r, "of")
			}
			if rapid.Bool().Draw(r, "of a party") {
				q.Party = party.Draw(r, "by")
			}
			found, err := b.OffersOn(ctx, q.Parent, q.Day)
			if err != nil {
				r.Fatal(err)
			}
			var want, got []string
			for _, o := range found {
				if q.Party == "" || o.Party == q.Party {
					want = append(want, o.ID)
				}
			}
			for more := true; more; more = q.After != "" {
				page, next, err := asked.Offers(ctx, q)
				if err != nil {
					r.Fatal(err)
				}
				for _, o := range page {
					got = append(got, o.Value.ID)
				}
				q.After = next
			}
			if !slices.Equal(want, got) {
				r.Fatalf("%+v: %v, want %v", q, got, want)
			}
		}
	})
}

// between does something before a page of offers is read, and fails to read the log for
// who is told to.
type between struct {
	ledger.Store
	before func()
}

type given struct{}

func (s *between) View(ctx context.Context, id string, fn func(ledger.Reader) error) error {
	_, up := ctx.Value(given{}).(bool)
	return s.Store.View(ctx, id, func(r ledger.Reader) error { return fn(betweenReader{r, s, up}) })
}

type betweenReader struct {
	ledger.Reader
	s  *between
	up bool
}

func (r betweenReader) Records(k ledger.RecordKind, parent, after string, n int) ([]ledger.Record, error) {
	if do := r.s.before; do != nil {
		r.s.before = nil
		do()
	}
	return r.Reader.Records(k, parent, after, n)
}

func (r betweenReader) Log(after int64, n int) ([]ledger.Sealed, error) {
	if r.up {
		return nil, context.Canceled
	}
	return r.Reader.Log(after, n)
}

// TestOffersWhileAnotherGivesUp: who reads offers while another fails to bring up to date
// what they share is told all of them.
func TestOffersWhileAnotherGivesUp(t *testing.T) {
	b, ctx := ledgertest.Open(t), t.Context()
	keep := func(alloy string) {
		b.Do(b.KeepOffer(ctx, ledger.Meta{}, ledger.NewOffer{Party: "northmetal", Alloy: alloy, Form: ledger.Ingot, From: "2026-03-01", Breaks: []ledger.NewOfferBreak{{Price: "9.80 USD/kg"}}}))
	}
	keep("C87300")
	s := &between{Store: b.Store}
	asked, day := shop.New(s, "harrow", func() time.Time { return b.Now }), shop.OfferQuery{Day: "2026-03-02"}
	if got, _, err := asked.Offers(ctx, day); err != nil || len(got) != 1 {
		t.Fatal(got, err)
	}
	failed := false
	s.before = func() {
		keep("C83600")
		_, _, err := asked.Offers(context.WithValue(ctx, given{}, true), day)
		failed = err != nil
	}
	if got, _, err := asked.Offers(ctx, day); err != nil || len(got) != 1 || !failed {
		t.Errorf("%d offers, %v; the other failed: %v", len(got), err, failed)
	}
}

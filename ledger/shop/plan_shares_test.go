package shop

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/loss"
)

// TestSharesOfAPlan: whatever pieces a charge is of, each form's share is a part of the
// whole, a charge of one form is all of it, and the loss model takes the shares.
func TestSharesOfAPlan(t *testing.T) {
	forms := []ledger.Form{ledger.Ingot, ledger.Pig, ledger.Gating, ledger.Grindings, ledger.BoughtScrap}
	model, err := loss.Learn(nil, loss.Config{Beliefs: loss.Starting(nil)})
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		p := &planner{chargeFacts: chargeFacts{views: map[string]ledger.LotView{}}}
		plan := &charge.Plan{}
		lots := rapid.IntRange(1, 3).Draw(t, "lots")
		one := rapid.Bool().Draw(t, "of one form")
		for i := range lots {
			id, form := fmt.Sprint(i), ledger.Ingot
			if !one {
				form = rapid.SampledFrom(forms).Draw(t, "form")
			}
			p.views[id] = ledger.LotView{Lot: ledger.Lot{Form: form}}
			each := rapid.Int64Range(1, 50_000_000).Draw(t, "piece")
			for range rapid.IntRange(1, 40).Draw(t, "pieces") {
				plan.Takes = append(plan.Takes, charge.Take{Lot: id, Mass: each})
				plan.Charge += each
			}
		}
		shares := p.shares(plan)
		for form, x := range shares {
			if x < 0 || x > 1 {
				t.Fatalf("share of %s is %v", loss.Form(form), x)
			}
		}
		if one && shares[loss.Ingot] != 1 {
			t.Fatalf("all ingot, but its share is %v", shares[loss.Ingot])
		}
		if _, err := model.Forecast(loss.Charge{Family: "silicon bronze", Kg: 50, Shares: shares}); err != nil {
			t.Fatal(err)
		}
	})
}

// TestHandfulsEmptyALot: a lot of as many pounds as handfuls, put together of parts that
// were each rounded, is so many handfuls and nothing beside them.
func TestHandfulsEmptyALot(t *testing.T) {
	const pound = 453_592
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Int64Range(1, 2_000).Draw(t, "pounds")
		mg := int64(math.Round(float64(n)*453_592.37)) + rapid.Int64Range(-50, 50).Draw(t, "rounded")
		h := evenHandful(mg, pound)
		if full := mg / h; full != n && (full != n-1 || mg%h == 0) || h < pound-60 || h > pound+60 {
			t.Fatalf("%d mg are %d handfuls of %d and %d mg", mg, full, h, mg%h)
		}
	})
	for _, mg := range []int64{2, 1_000_000, 3*pound + pound/2} {
		if h := evenHandful(mg, pound); h != pound {
			t.Errorf("of %d mg a handful is %d", mg, h)
		}
	}
}

package shop

import (
	"context"
	"errors"
	"math"
	"slices"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/loss"
)

// Settle closes a heat. Where a policy takes the loss as normal that the heats before let
// expect, it is reckoned now, from none of this heat's own weighings but its charge, and
// kept with the heat.
func (s *Shop) Settle(ctx context.Context, m ledger.Meta, heat string) (*ledger.Entry, error) {
	expected, err := s.expectedLoss(ctx, heat)
	if err != nil {
		return nil, err
	}
	return s.SettleExpecting(ctx, m, heat, expected)
}

// expectedLoss is nil where no policy asks for it or too little is known.
func (s *Shop) expectedLoss(ctx context.Context, heat string) (*ledger.PPM, error) {
	asked := false
	var b HeatBalance
	err := s.view(ctx, func(r ledger.Reader) error {
		policies, err := recordsOf[ledger.Costing](kept{r}, ledger.RecCosting, "")
		policies = slices.DeleteFunc(policies, func(c ledger.Costing) bool { return c.Void })
		if err != nil || !slices.ContainsFunc(policies, func(c ledger.Costing) bool {
			return slices.ContainsFunc(c.Normal, func(n ledger.AlloyShare) bool { return n.Learned })
		}) {
			return err
		}
		if _, found, err := r.Record(ledger.RecHeat, heat); err != nil || !found {
			return err // the book says so
		}
		b, err = s.heatBalance(r, heat, AsOf{})
		asked = slices.ContainsFunc(policies, func(c ledger.Costing) bool { return learnedOf(c, b.Heat.Alloy) })
		return err
	})
	if err != nil || !asked || b.Heat.State != ledger.Late || b.Charged <= 0 {
		return nil, err
	}
	table, err := s.Table(ctx)
	if err != nil {
		return nil, err
	}
	model, _, err := s.learned(ctx)
	if err == nil {
		var f loss.Forecast
		f, err = model.Forecast(loss.Charge{Family: familyOf(table, b.Heat.Alloy), Crucible: b.Heat.Crucible, Furnace: b.Heat.Furnace, Kg: b.In().Kg(), Shares: chargeShares(&b)})
		if err == nil {
			ppm := ledger.PPM(math.Round(min(max(f.Mean, 0), 0.5) * float64(ledger.Whole)))
			return &ppm, nil
		}
	}
	if e := (*ledger.Error)(nil); errors.As(err, &e) && e.Reason != "NOT_DETERMINED" {
		return nil, err
	}
	return nil, nil // a heat is settled all the same
}

package shop

import (
	"context"
	"fmt"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/loss"
)

// LossForecast is what a charge is expected to lose.
type LossForecast struct {
	Charge loss.Charge // Kg is 0 when nobody said how much is melted: the forecast is in shares then
	Basis  string      // where the forms of the charge are from, in words
	loss.Breakdown
	Estimator string
	Heats     int // learned from
	Seq       int64
}

// ForecastHeat says what a heat that is not settled yet is expected to lose. What
// was charged so far tells the forms of the charge; before that what is spoken
// for it, and without that the shop's own heats.
func (s *Shop) ForecastHeat(ctx context.Context, heat string) (out LossForecast, err error) {
	h, err := ledger.Get[ledger.Heat](ctx, s.Book, ledger.RecHeat, heat)
	if err != nil {
		return out, err
	}
	switch h.Value.State {
	case ledger.Settled, ledger.Dropped:
		return out, &ledger.Error{Class: ledger.ErrState, Reason: "HEAT_STATE", Field: "heat", Value: heat,
			Want: fmt.Sprintf("is %s; a forecast is of a heat that is still to be settled", h.Value.State)}
	}
	c := loss.Charge{Crucible: h.Value.Crucible, Furnace: h.Value.Furnace, Kg: h.Value.Charge.Kg()}
	basis := ""
	err = s.view(ctx, func(r ledger.Reader) error {
		b, err := s.heatBalance(r, heat, AsOf{})
		if err != nil {
			return err
		}
		if b.Charged > 0 {
			c.Kg, c.Shares, basis = b.In().Kg(), chargeShares(&b), "what was charged"
			return nil
		}
		if c.Kg == 0 {
			if c.Kg, err = moldsWant(r, heat); err != nil {
				return err
			}
		}
		spoken, err := spokenFor(r, heat)
		if err != nil || spoken.Charged == 0 {
			return err
		}
		c.Shares, basis = chargeShares(&spoken), "what is spoken for it"
		return nil
	})
	if err != nil {
		return out, err
	}
	return s.forecast(ctx, h.Value.Alloy, c, basis)
}

// ForecastCharge says what a charge of an alloy, by any of its names, is expected
// to lose. Its family is the alloy's. Shares that are all 0 are taken from the
// shop's own heats.
func (s *Shop) ForecastCharge(ctx context.Context, alloyName string, c loss.Charge) (LossForecast, error) {
	id, _, err := s.ResolveAlloy(ctx, alloyName)
	if err != nil {
		return LossForecast{}, err
	}
	basis := "as given"
	if c.Shares == ([loss.NumForms]float64{}) {
		basis = ""
	}
	return s.forecast(ctx, id, c, basis)
}

func (s *Shop) forecast(ctx context.Context, alloyID string, c loss.Charge, basis string) (out LossForecast, err error) {
	table, err := s.Table(ctx)
	if err != nil {
		return out, err
	}
	read, err := s.lossHeats(ctx)
	if err != nil {
		return out, err
	}
	c.Family = familyOf(table, alloyID)
	if out.Basis = basis; basis == "" {
		c.Shares, out.Basis = usualShares(read.heats, c.Family)
	}
	learned, err := s.lessons.byCause(s, read)
	if err != nil {
		return out, err
	}
	out.Charge, out.Seq, out.Heats, out.Estimator = c, read.seq, learned.Whole.Heats, learned.Whole.Estimator
	if c.Kg == 0 {
		c.Kg = 1 // the rate does not depend on it
	}
	out.Breakdown, err = learned.Forecast(c)
	return out, scienceError("charge", err)
}

// usualShares are the forms that the shop's heats were charged with, by mass: of
// the family, else of all. A shop without heats is taken to melt half ingot and
// half clean gating, an assumption.
func usualShares(heats []loss.Heat, family string) (out [loss.NumForms]float64, basis string) {
	for _, w := range []struct {
		use   func(h *loss.Heat) bool
		basis string
	}{
		{func(h *loss.Heat) bool { return h.Family == family }, "as in the shop's heats of " + family},
		{func(*loss.Heat) bool { return true }, "as in the shop's heats"},
	} {
		total := 0.0
		for i := range heats {
			if h := &heats[i]; w.use(h) {
				for f, x := range h.Shares {
					out[f] += x * h.Charged
				}
				total += h.Charged
			}
		}
		if total > 0 {
			for f := range out {
				out[f] /= total
			}
			return out, w.basis
		}
	}
	out[loss.Ingot], out[loss.CleanGating] = 0.5, 0.5
	return out, "half ingot and half clean gating, since the shop has no heats yet"
}

// moldsWant is the metal in kg that the plans of a heat's molds want.
func moldsWant(r ledger.Reader, heat string) (float64, error) {
	recs, err := kept{r}.records(ledger.RecMold, ledger.OfHeat(heat))
	var sum ledger.Mass
	for _, rec := range recs {
		var m ledger.Mold
		if err := rec.Into(&m); err != nil {
			return 0, err
		}
		sum += m.Metal + m.Gating
	}
	return sum.Kg(), err
}

// spokenFor is what of the lots is spoken for a heat, as though it were charged.
func spokenFor(r ledger.Reader, heat string) (out HeatBalance, err error) {
	out.ChargedBy = map[ledger.Form]ledger.Mass{}
	held, err := kept{r}.holdings(ledger.OfLot, ledger.RecLot)
	if err != nil {
		return out, err
	}
	for _, h := range held {
		var l ledger.Lot
		if err := h.Record.Into(&l); err != nil {
			return out, err
		}
		for _, claim := range l.SpokenFor {
			if claim.Heat() != heat {
				continue
			}
			out.Charged += claim.Mass
			out.ChargedBy[l.Form] += claim.Mass
			if l.Condition == ledger.ToClean {
				out.ChargeDirty += claim.Mass
			}
		}
	}
	return out, nil
}

// rated counts the heats that the whole loss can be learned from.
func rated(heats []loss.Heat) (n int) {
	for i := range heats {
		if _, ok := heats[i].Rate(loss.MeltLoss); ok && !heats[i].Provisional && heats[i].Doubted == "" {
			n++
		}
	}
	return n
}

package shop

import (
	"context"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
)

// HeatCost is what a heat cost, beside what the book said of it before.
type HeatCost struct {
	cost.Heat
	Currency string
	Seq      int64
	Was      cost.Heat
	Through  int64 // Was is by the book up to this entry; 0 when there is nothing to compare
}

// CostOfHeat says what a heat cost and by how much a late weighing or a correction
// changed that: against the book as it was at a moment, or before the last entry about
// the heat unless one is given. It is the difference of two folds.
func (s *Shop) CostOfHeat(ctx context.Context, heat string, since time.Time) (HeatCost, error) {
	if !since.IsZero() {
		return s.costOfHeat(ctx, heat, since)
	}
	return recall(ctx, s, "cost of heat\x00"+heat, func() (HeatCost, error) { return s.costOfHeat(ctx, heat, since) })
}

func (s *Shop) costOfHeat(ctx context.Context, heat string, since time.Time) (out HeatCost, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		now, err := costsIn(r, AsOf{})
		if err != nil {
			return err
		}
		out = HeatCost{Heat: now.Heat(heat), Currency: now.Currency, Seq: now.Seq}
		if since.IsZero() {
			last, err := r.History(ledger.OfHeat(heat), 0, 1)
			if err != nil || len(last) == 0 {
				return err
			}
			out.Through = last[0].Seq - 1
		} else if err := eachEntry(r, func(e *ledger.Entry) error {
			if e.Recorded.After(since) {
				return errStop
			}
			out.Through = e.Seq
			return nil
		}); err != nil {
			return err
		}
		if out.Through == 0 {
			return nil
		}
		was, err := costsIn(r, AsOf{through: out.Through})
		out.Was = was.Heat(heat)
		return err
	})
	return out, err
}

// Changes are the lines of the heat that differ from before.
func (h HeatCost) Changes() []Change {
	if h.Through == 0 {
		return nil
	}
	return changes(heatLines(h.Was), heatLines(h.Heat))
}

func heatLines(h cost.Heat) []ledger.CostLine {
	borne := int64(0)
	for _, c := range h.Castings {
		borne += c.Cost
	}
	out := []ledger.CostLine{{Name: "metal charged", Minor: h.Metal}}
	for _, l := range h.Conversion {
		out = append(out, ledger.CostLine{Name: l.Name, Minor: l.Cost})
	}
	for _, l := range h.Credits {
		out = append(out, ledger.CostLine{Name: "taken over by " + l.Name, Minor: l.Cost})
	}
	return append(out, ledger.CostLine{Name: "abnormal loss", Minor: h.Abnormal}, ledger.CostLine{Name: "in process", Minor: h.InProcess},
		ledger.CostLine{Name: "borne by castings", Minor: borne})
}

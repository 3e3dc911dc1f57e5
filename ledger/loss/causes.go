package loss

import "math"

// Shop is the loss of a shop as a whole and by cause.
type Shop struct {
	Whole *Model
	Cause [NumCauses]*Model
}

// LearnCauses learns the melt loss and each cause by itself; cfg.Causes is not looked at. A cause is learned from all
// heats that have it, so one heat with a missing amount only lacks in the whole and in that cause.
func LearnCauses(heats []Heat, cfg Config) (*Shop, error) {
	s := &Shop{}
	var err error
	cfg.Causes = MeltLoss
	if s.Whole, err = Learn(heats, cfg); err != nil {
		return nil, err
	}
	for c := range NumCauses {
		cfg.Causes = Only(c)
		if s.Cause[c], err = Learn(heats, cfg); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// Breakdown is a forecast by cause.
type Breakdown struct {
	Whole   Forecast
	ByCause [NumCauses]Forecast
}

// Forecast forecasts the whole and shares it out: the causes' own means are moved, each by as much as it is worse known
// (its share of their variances), until they add up to the whole's; what would be moved below nought stays at nought.
func (s *Shop) Forecast(c Charge) (Breakdown, error) {
	var b Breakdown
	var err error
	if b.Whole, err = s.Whole.Forecast(c); err != nil {
		return b, err
	}
	sum, variance := 0.0, 0.0
	for k, m := range s.Cause {
		if b.ByCause[k], err = m.Forecast(c); err != nil {
			return b, err
		}
		sum += b.ByCause[k].Mean
		variance += b.ByCause[k].SD * b.ByCause[k].SD
	}
	miss, total := b.Whole.Mean-sum, 0.0
	for k := range b.ByCause {
		f := &b.ByCause[k]
		f.Mean = math.Max(0, f.Mean+miss*f.SD*f.SD/variance)
		total += f.Mean
	}
	for k := range b.ByCause {
		if total > 0 { // total is the whole unless some cause was stopped at nought
			b.ByCause[k].Mean *= b.Whole.Mean / total
		}
	}
	return b, nil
}

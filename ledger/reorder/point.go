package reorder

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Spread is a mean and a standard deviation.
type Spread struct{ Mean, SD float64 }

// LeadDemand is the demand during a delivery time, both uncertain and independent:
// mean d·L, variance σd²·L + d²·σL² (the formula of all textbooks of operations
// management). Demand is a day's, lead is in days.
func LeadDemand(demand, lead Spread) Spread {
	return Spread{demand.Mean * lead.Mean, math.Sqrt(demand.SD*demand.SD*lead.Mean + demand.Mean*demand.Mean*lead.SD*lead.SD)}
}

// NormalPoint is the reorder point of a demand during the delivery time that follows the
// normal curve: mean + z·SD. Safety is z·SD.
func NormalPoint(lead Spread, service float64) (z, safety, point float64, err error) {
	if err := Service(service); err != nil {
		return 0, 0, 0, err
	}
	z = distuv.UnitNormal.Quantile(service)
	return z, z * lead.SD, lead.Mean + z*lead.SD, nil
}

// Method says where the distribution of demand comes from.
type Method int

// Methods.
const (
	Choose  Method = iota // Windows with enough history, else Normal
	Normal                // the normal curve with the history's mean and variance
	Windows               // the shop's own history, as it was
)

func (m Method) String() string {
	return [...]string{"chosen", "normal curve", "the shop's own history"}[m]
}

// FewUses is how many moments at which a demand became known Windows needs, to be
// chosen: with fewer, a 95 % quantile is that of a handful of outcomes.
const FewUses = 12

// Point is what should be here or on its way.
type Point struct {
	Amount int64   // order when less than this is here or coming, beyond what is named
	Lead   Spread  // unnamed demand between ordering and having it
	Safety int64   // Amount beyond the mean
	Method Method  // Normal or Windows
	Uses   int     // moments of demand it was learned from
	Daily  float64 // mean demand of a day
}

// Reorder is the reorder point of a history for a share of delivery times without
// running out. leads are delivery times in days, as they were or as promised; one at
// least. A history without demand needs none: its point is 0.
func Reorder(h History, leads []int, service float64, method Method) (p Point, err error) {
	if err := Service(service); err != nil {
		return p, err
	}
	if err := checkLeads(leads); err != nil {
		return p, err
	}
	if err := h.check(); err != nil {
		return p, err
	}
	moments := h.moments()
	p.Uses, p.Method, p.Daily = len(moments), method, h.total()/float64(h.Days())
	if method == Choose {
		if p.Method = Windows; p.Uses < FewUses {
			p.Method = Normal
		}
	}
	if p.Uses == 0 {
		return p, nil
	}
	point := 0.0
	if p.Method == Normal {
		p.Lead = LeadDemand(h.daily(), leadSpread(leads))
		_, _, point, err = NormalPoint(p.Lead, service)
	} else {
		o := h.outcomes(moments, leads)
		p.Lead, point = o.spread(), o.quantile(service)
	}
	p.Amount = max(0, up(point))
	p.Safety = max(0, p.Amount-int64(math.Round(p.Lead.Mean)))
	return p, err
}

func leadSpread(leads []int) (s Spread) {
	for _, l := range leads {
		s.Mean += float64(l) / float64(len(leads))
	}
	for _, l := range leads {
		s.SD += (float64(l) - s.Mean) * (float64(l) - s.Mean)
	}
	if len(leads) < 2 {
		return Spread{s.Mean, 0}
	}
	return Spread{s.Mean, math.Sqrt(s.SD / float64(len(leads)-1))}
}

// LeadWithin is the delivery time that a share of the deliveries kept.
func LeadWithin(leads []int, service float64) (int, error) {
	if err := Service(service); err != nil {
		return 0, err
	}
	if err := checkLeads(leads); err != nil {
		return 0, err
	}
	var o outcomes
	for _, l := range leads {
		o = append(o, outcome{float64(l), 1})
	}
	return int(o.quantile(service)), nil
}

func checkLeads(leads []int) error {
	if len(leads) == 0 {
		return &FieldError{"leads", "none", "one delivery time at least"}
	}
	for _, l := range leads {
		if err := need(l >= 0 && l <= 1000, "leads", l, "days between 0 and 1000"); err != nil {
			return err
		}
	}
	return nil
}

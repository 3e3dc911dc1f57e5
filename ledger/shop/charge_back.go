package shop

import (
	"context"
	"slices"
	"time"

	"example.org/remelt/ledger"
)

// ChargedTo says whom a charge-back is for.
type ChargedTo int

// The ways to share out a term's metal.
const (
	ToCustomer   ChargedTo = iota // students, members, customers
	ToCommission                  // projects
)

// ChargeBack is what a term's metal went to. The lines' sums are the heats' totals, to
// the milligram and the minor unit.
type ChargeBack struct {
	From, To    time.Time
	Lines       []ChargeLine // by who; the shop's own last, with no name
	Total       ChargeLine
	Beyond      int64    // cost of loss beyond what is normal, which nobody is charged
	InProcess   int64    // cost of what is still in crucibles and molds
	Heats       []string // poured in the term, by number
	Provisional []string // of them not settled: figures may still change
	Currency    string
	Seq         int64
}

// ChargeLine is what one person or project has used. Used = Cast + Lost.
type ChargeLine struct {
	Who       string
	Castings  int
	Heats     int
	Cast      ledger.Mass // as it came from the heats
	Lost      ledger.Mass // their share of what the heats lost
	Cost      int64       // what their castings bear
	Recovered int64       // of it, taken over by castings that were broken up
}

// Used is the metal that is gone for them.
func (l ChargeLine) Used() ledger.Mass { return l.Cast + l.Lost }

// ChargeBack shares out the heats poured from one moment up to another: castings by their
// mass, and each heat's loss and cost by the mass of its castings, largest remainders first.
func (s *Shop) ChargeBack(ctx context.Context, from, to time.Time, by ChargedTo) (out ChargeBack, err error) {
	if !from.Before(to) {
		return out, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PERIOD", Field: "end_time", Value: to.Format(time.RFC3339), Want: "must be after the start"}
	}
	err = s.view(ctx, func(r ledger.Reader) error {
		all, err := costsIn(r, AsOf{})
		if err != nil {
			return err
		}
		castings, err := recordsOf[ledger.Casting](kept{r}, ledger.RecCasting, "")
		if err != nil {
			return err
		}
		who := map[string]string{}
		for _, k := range castings {
			who[k.ID] = k.Customer
			if by == ToCommission {
				who[k.ID] = k.Commission
			}
		}
		heats, err := heatsIn(kept{r})
		if err != nil {
			return err
		}
		out = chargeBack(all, heats, who, from, to)
		return nil
	})
	return out, err
}

func heatsIn(k kept) (map[string]ledger.Heat, error) {
	recs, err := recordsOf[ledger.Heat](k, ledger.RecHeat, "")
	out := map[string]ledger.Heat{}
	for _, h := range recs {
		out[h.ID] = h
	}
	return out, err
}

func chargeBack(all Costs, heats map[string]ledger.Heat, who map[string]string, from, to time.Time) ChargeBack {
	out := ChargeBack{From: from, To: to, Currency: all.Currency, Seq: all.Seq}
	lines := map[string]*ChargeLine{}
	for _, h := range all.Heats() {
		rec := heats[h.ID]
		if rec.Poured.IsZero() || rec.Poured.Before(from) || !rec.Poured.Before(to) {
			continue
		}
		out.Heats = append(out.Heats, h.ID)
		if h.Provisional {
			out.Provisional = append(out.Provisional, h.ID)
		}
		out.Beyond += h.Abnormal
		out.InProcess += h.InProcess
		masses := make([]int64, len(h.Castings))
		for i, k := range h.Castings {
			masses[i] = k.Mass
		}
		lost := ledger.Apportion(h.Lost, masses)
		if len(h.Castings) == 0 { // nothing was cast: what it lost is the shop's
			lineFor(lines, "").Lost += ledger.Mass(h.Lost)
		}
		seen := map[string]bool{}
		for i, k := range h.Castings {
			l := lineFor(lines, who[k.ID])
			if !seen[l.Who] {
				seen[l.Who] = true
				l.Heats++
			}
			l.Castings++
			l.Cast += ledger.Mass(k.Mass)
			l.Lost += ledger.Mass(lost[i])
			l.Cost += k.Cost
			l.Recovered += k.Credit
		}
	}
	for _, id := range sortedKeys(lines) {
		if id != "" {
			out.Lines = append(out.Lines, *lines[id])
		}
	}
	if l := lines[""]; l != nil {
		out.Lines = append(out.Lines, *l)
	}
	for _, l := range out.Lines {
		out.Total.Castings += l.Castings
		out.Total.Cast += l.Cast
		out.Total.Lost += l.Lost
		out.Total.Cost += l.Cost
		out.Total.Recovered += l.Recovered
	}
	out.Total.Heats = len(out.Heats)
	slices.Sort(out.Heats)
	return out
}

func lineFor(lines map[string]*ChargeLine, who string) *ChargeLine {
	if lines[who] == nil {
		lines[who] = &ChargeLine{Who: who}
	}
	return lines[who]
}

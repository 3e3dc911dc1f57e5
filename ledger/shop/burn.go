package shop

import (
	"context"
	"fmt"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/unit"
)

// fewestBurns is how many heats with their fuel recorded a furnace's own efficiency
// is learned from; fewer leave the starting range.
const fewestBurns = 3

// burnConfidence is that of the interval of a learned efficiency.
const burnConfidence = 0.9

// FuelJoules is the heat in an amount of fuel by the higher heating value listed for
// it; false when none is listed for how it was measured.
func FuelJoules(f ledger.Fuel) (float64, bool) {
	if f.Measure == unit.FuelEnergy {
		return float64(f.Amount), true
	}
	per := fuelUnits[f.Measure]
	for _, v := range alloy.Fuels() {
		if v.Name == f.Kind && v.Unit == per.unit {
			return float64(f.Amount) / per.size * v.Joules, true
		}
	}
	return 0, false
}

// Burned is what a furnace of the shop has burned of one fuel.
type Burned struct {
	Furnace string
	Fuel    string
	alloy.Burn
}

// BurnOf learns what part of a fuel's heat has reached the metal in a furnace's heats,
// from all of them that have their fuel recorded; ok is false while they are fewer
// than fewestBurns. The metal is taken from room temperature to the hottest that was
// read in the heat, else to where its alloy is poured.
func (s *Shop) BurnOf(ctx context.Context, furnace, fuel string) (Burned, bool, error) {
	type read struct {
		Burned
		ok bool
	}
	got, err := recall(ctx, s, "burned\x00"+furnace+"\x00"+fuel, func() (x read, err error) {
		x.Burned, x.ok, err = s.readBurn(ctx, furnace, fuel)
		return x, err
	})
	return got.Burned, got.ok, err
}

func (s *Shop) readBurn(ctx context.Context, furnace, fuel string) (b Burned, ok bool, err error) {
	table, err := s.Table(ctx)
	if err != nil {
		return b, false, err
	}
	var uses []alloy.FuelUse
	err = s.view(ctx, func(r ledger.Reader) error {
		uses = nil
		burned, err := byHeat[ledger.Fuel](r, ledger.RecFuel)
		if err != nil {
			return err
		}
		read, err := byHeat[ledger.Reading](r, ledger.RecReading)
		if err != nil {
			return err
		}
		recs, err := kept{r}.records(ledger.RecHeat, "")
		if err != nil {
			return err
		}
		for _, rec := range recs {
			if len(burned[ledger.OfHeat(rec.ID)]) == 0 {
				continue
			}
			var h ledger.Heat
			if err := rec.Into(&h); err != nil {
				return err
			}
			if h.Furnace != furnace || h.State != ledger.Late && h.State != ledger.Settled {
				continue
			}
			use, found, err := s.fuelUse(r, h, burned[ledger.OfHeat(h.ID)], read[ledger.OfHeat(h.ID)], fuel, table)
			if err != nil {
				return err
			}
			if found {
				uses = append(uses, use)
			}
		}
		return nil
	})
	if err != nil || len(uses) < fewestBurns {
		return b, false, err
	}
	burn, err := alloy.LearnBurn(uses, burnConfidence)
	return Burned{furnace, fuel, burn}, err == nil, scienceError("furnace", err)
}

// roomTemperature is what a charge is taken to begin at, in °C.
const roomTemperature = 20

// byHeat reads all records of a kind whose parents are heats, by these, in one go.
func byHeat[T any](r ledger.Reader, kind ledger.RecordKind) (map[string][]ledger.Stamped[T], error) {
	return byParent[T](kept{r}, kind, "")
}

// byParent are the records of a kind, of one parent or of all, by it.
func byParent[T any](k kept, kind ledger.RecordKind, parent string) (map[string][]ledger.Stamped[T], error) {
	recs, err := k.records(kind, parent)
	out := map[string][]ledger.Stamped[T]{}
	for _, rec := range recs {
		v := ledger.Stamped[T]{Seq: rec.Seq}
		if err := rec.Into(&v.Value); err != nil {
			return nil, err
		}
		out[rec.Parent] = append(out[rec.Parent], v)
	}
	return out, err
}

// fuelUse is the fuel that a heat burned and what its metal took up; found is false when
// either is not known.
func (s *Shop) fuelUse(r ledger.Reader, h ledger.Heat, burned []ledger.Stamped[ledger.Fuel], read []ledger.Stamped[ledger.Reading], fuel string, table alloy.Table) (use alloy.FuelUse, found bool, err error) {
	for i := range burned {
		f := burned[i].Value
		if f.Void {
			continue
		}
		j, ok := FuelJoules(f)
		if f.Kind != fuel || !ok { // burned with something else besides: it says nothing of one fuel
			return use, false, nil
		}
		use.FuelJ += j
	}
	a, err := table.Find(h.Alloy)
	if err != nil || use.FuelJ == 0 {
		return use, false, nil //nolint:nilerr // an alloy that is not in the table has no heat of melting
	}
	melt, err := a.MeltHeat()
	if err != nil {
		return use, false, nil //nolint:nilerr // not known
	}
	to := melt.LiquidusC + usualSuperheat
	if above := superheat(read, h, table); above != nil {
		to = melt.LiquidusC + *above
	}
	bal, err := s.heatBalance(r, h.ID, AsOf{})
	if err != nil {
		return use, false, err
	}
	heat, err := melt.Of(bal.Charged.Kg(), roomTemperature, to)
	if err != nil || bal.Charged <= 0 {
		return use, false, nil //nolint:nilerr // nothing was charged
	}
	use.HeatJ = heat.Total()
	return use, true, nil
}

// efficiencyOf is a furnace's own efficiency for a fuel, or ok false.
func (s *Shop) efficiencyOf(ctx context.Context, furnace, fuel string) (e alloy.EfficiencyRange, ok bool, err error) {
	b, ok, err := s.BurnOf(ctx, furnace, fuel)
	if err != nil || !ok {
		return e, false, err
	}
	return alloy.EfficiencyRange{Furnace: furnace, Low: b.Low, High: min(b.High, 1), Verified: alloy.Shop,
		Source: fmt.Sprintf("learned from %d heats of %s, 90 %% interval", b.N, furnace)}, true, nil
}

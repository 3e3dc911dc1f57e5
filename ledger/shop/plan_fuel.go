package shop

import (
	"cmp"
	"context"
	"slices"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/unit"
)

// fuelUnits are the units of heating values by how a fuel is measured, and their size
// in what the measure is kept in (NIST SP 811, Appendix B).
var fuelUnits = map[unit.FuelMeasure]struct {
	unit string
	size float64
}{unit.FuelMass: {"lb", 453_592.37}, unit.FuelLiquid: {"gal", 3_785_411.784}, unit.FuelGas: {"ft3", 28_316.846592}}

// planFuel reckons the heat that a proposed charge takes up, brought to where it
// leaves the furnace, and the fuel for it: of what the heat's furnace has burned, in
// the measure it was noted in last, by how the furnace burns it where that is
// learned. Nothing is reckoned of a furnace that is not named or whose fuel nobody
// noted.
func (s *Shop) planFuel(ctx context.Context, p *ChargePlan) error {
	if p.Heat.Furnace == "" || p.Plan.Charge <= 0 {
		return nil
	}
	burned, err := s.fuelsOf(ctx, p.Heat.Furnace)
	if err != nil || len(burned) == 0 {
		return err
	}
	m := Melt{Alloy: p.Heat.Alloy, Mass: ledger.Mass(p.Plan.Charge), FromC: roomTemperature, Own: p.Heat.Furnace}
	if tap := p.Plan.Pour.TapC; tap > m.FromC {
		m.ToC = &tap
	}
	e, err := s.EstimateMeltEnergy(ctx, m)
	if err != nil {
		p.Notes = append(p.Notes, "the heat and the fuel for it are not reckoned: "+err.Error())
		return nil
	}
	p.MeltHeat = e.Heat
	for _, b := range burned {
		i := slices.IndexFunc(e.Fuels, func(n FuelNeed) bool {
			u, measured := fuelUnits[b.measure]
			return n.Name == b.kind && (!measured || n.Unit == u.unit)
		})
		if i >= 0 {
			p.Fuels = append(p.Fuels, e.Fuels[i])
		}
	}
	p.noteFuels()
	return nil
}

// burnedFuel is a fuel and how it was measured last.
type burnedFuel struct {
	kind    string
	measure unit.FuelMeasure
}

// fuelsOf lists what a furnace has burned, by name.
func (s *Shop) fuelsOf(ctx context.Context, furnace string) (out []burnedFuel, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		out = nil
		recs, err := kept{r}.records(ledger.RecHeat, "")
		if err != nil {
			return err
		}
		fuels, err := byHeat[ledger.Fuel](r, ledger.RecFuel)
		if err != nil {
			return err
		}
		last := map[string]int64{} // by fuel
		for _, rec := range recs {
			if len(fuels[ledger.OfHeat(rec.ID)]) == 0 {
				continue
			}
			var h ledger.Heat
			if err := rec.Into(&h); err != nil {
				return err
			}
			if h.Furnace != furnace {
				continue
			}
			for _, v := range fuels[ledger.OfHeat(h.ID)] {
				f := v.Value
				if f.Void || v.Seq < last[f.Kind] {
					continue
				}
				last[f.Kind] = v.Seq
				out = slices.DeleteFunc(out, func(b burnedFuel) bool { return b.kind == f.Kind })
				out = append(out, burnedFuel{f.Kind, f.Measure})
			}
		}
		return nil
	})
	slices.SortFunc(out, func(a, b burnedFuel) int { return cmp.Compare(a.kind, b.kind) })
	return out, err
}

// noteFuels says where the efficiencies are from.
func (p *ChargePlan) noteFuels() {
	for _, f := range p.Fuels {
		if f.Efficiency.Verified == alloy.Shop {
			p.Notes = append(p.Notes, "fuel: how "+p.Heat.Furnace+" burns "+f.Name+" is "+f.Efficiency.Source)
		} else {
			p.Notes = append(p.Notes, "fuel: too few heats of "+p.Heat.Furnace+" have their "+f.Name+" noted to learn how it burns; that of a furnace of its kind is taken ("+f.Efficiency.Furnace+")")
		}
	}
}

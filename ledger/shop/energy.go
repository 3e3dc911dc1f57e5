package shop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

// Melt is what is to be melted, and in what.
type Melt struct {
	Alloy      string // by any of its names
	Mass       ledger.Mass
	FromC      float64
	ToC        *float64   // nil: the middle of the alloy's pouring temperatures, else usualSuperheat over its liquidus
	Efficiency ledger.PPM // part of the fuel's heat that reaches the metal; 0 takes a starting range
	Furnace    string     // whose starting range; "" takes a gas crucible furnace, and induction for electricity
	Own        string     // a furnace of the shop, whose own heats are asked first; "" for none
}

// MeltEnergy is the heat that melting and superheating takes, and the fuel for it.
type MeltEnergy struct {
	Alloy alloy.Alloy
	FromC float64
	ToC   float64
	alloy.MeltHeat
	Heat  alloy.Heat
	Fuels []FuelNeed
}

// FuelNeed is how much of a fuel a melt takes: Low at the better efficiency, High
// at the worse one.
type FuelNeed struct {
	alloy.Fuel
	Low, High  float64 // in the fuel's unit
	Metric     string  // the same in a metric unit; "" when the unit is one
	MetricLow  float64
	MetricHigh float64
	Efficiency alloy.EfficiencyRange
}

// usualSuperheat is how far over the liquidus a melt is taken to be brought when
// nothing says it, in K: common practice, no source.
const usualSuperheat = 100

// metric are units of fuel in metric ones, exact (NIST SP 811, Appendix B.8).
var metric = map[string]struct {
	unit string
	size float64
}{"lb": {"kg", 0.45359237}, "gal": {"L", 3.785411784}, "ft3": {"m³", 0.028316846592}}

// EstimateMeltEnergy reckons the heat to melt and superheat metal from the alloy's
// specific and latent heat, each with its source, and the fuel for it. It knows
// nothing of how hot the furnace already is: a cold start takes much more.
func (s *Shop) EstimateMeltEnergy(ctx context.Context, m Melt) (out MeltEnergy, err error) {
	bad := func(field, value, want string) error {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_MELT", Field: field, Value: value, Want: want}
	}
	id, _, err := s.ResolveAlloy(ctx, m.Alloy)
	if err != nil {
		return out, err
	}
	table, err := s.Table(ctx)
	if err != nil {
		return out, err
	}
	if out.Alloy, err = table.Find(id); err != nil {
		return out, scienceError("alloy", err)
	}
	if out.MeltHeat, err = out.Alloy.MeltHeat(); err != nil {
		return out, scienceError("alloy", err)
	}
	if m.Mass <= 0 || m.Mass > ledger.MaxMass {
		return out, bad("mass", fmt.Sprint(int64(m.Mass)), "must be above 0")
	}
	if m.Efficiency < 0 || m.Efficiency > ledger.Whole {
		return out, bad("efficiency_percent", fmt.Sprint(int64(m.Efficiency)), "must be above 0 and at most 100 %")
	}
	if out.FromC = m.FromC; m.ToC != nil {
		out.ToC = *m.ToC
	} else if err := s.pourAt(ctx, &out); err != nil {
		return out, err
	}
	if out.Heat, err = out.Of(m.Mass.Kg(), out.FromC, out.ToC); err != nil {
		return out, bad("to", fmt.Sprintf("%g °C", out.ToC), err.Error())
	}
	if out.ToC < out.LiquidusC {
		out.Notes = append(out.Notes, "that is below the liquidus: nothing is reckoned to melt")
	}
	if m.Own != "" {
		if _, err := ledger.Get[ledger.Pot](ctx, s.Book, ledger.RecPot, m.Own); err != nil {
			return out, err
		}
	}
	ranges := alloy.StartingEfficiency()
	known := func(furnace string) (e alloy.EfficiencyRange, ok bool) {
		i := slices.IndexFunc(ranges, func(r alloy.EfficiencyRange) bool { return r.Furnace == furnace })
		if i < 0 {
			return e, false
		}
		return ranges[i], true
	}
	if _, ok := known(m.Furnace); m.Furnace != "" && !ok {
		var names []string
		for _, r := range ranges {
			names = append(names, r.Furnace)
		}
		return out, bad("furnace_kind", m.Furnace, "must be one of "+strings.Join(names, ", "))
	}
	type efficiency struct {
		alloy.EfficiencyRange
		learned bool
	}
	owns := map[string]efficiency{} // by fuel, which has a heating value by each measure
	for _, f := range alloy.Fuels() {
		n := FuelNeed{Fuel: f}
		own, asked := owns[f.Name]
		if !asked && m.Own != "" {
			if own.EfficiencyRange, own.learned, err = s.efficiencyOf(ctx, m.Own, f.Name); err != nil {
				return out, err
			}
			owns[f.Name] = own
		}
		switch {
		case m.Efficiency > 0:
			e := float64(m.Efficiency) / float64(ledger.Whole)
			n.Efficiency = alloy.EfficiencyRange{Low: e, High: e, Source: "as given", Verified: alloy.Shop}
		case own.learned:
			n.Efficiency = own.EfficiencyRange
		default:
			n.Efficiency, _ = known(furnaceFor(m.Furnace, f, out.Alloy.Kind))
		}
		n.Low, n.High = out.Heat.Total()/n.Efficiency.High/f.Joules, out.Heat.Total()/n.Efficiency.Low/f.Joules
		if u, ok := metric[f.Unit]; ok {
			n.Metric, n.MetricLow, n.MetricHigh = u.unit, n.Low*u.size, n.High*u.size
		}
		out.Fuels = append(out.Fuels, n)
	}
	return out, nil
}

// furnaceFor is whose range of efficiency is taken.
func furnaceFor(asked string, f alloy.Fuel, kind alloy.Kind) string {
	switch {
	case asked != "":
		return asked
	case f.Name != "electricity":
		return "gas crucible"
	case kind == alloy.Aluminium:
		return "aluminium induction"
	case kind == alloy.Copper:
		return "copper induction"
	}
	return "any"
}

// pourAt chooses the temperature to bring the melt to, and says how.
func (s *Shop) pourAt(ctx context.Context, e *MeltEnergy) error {
	own, err := ledger.Get[ledger.Alloy](ctx, s.Book, ledger.RecAlloy, e.Alloy.ID)
	if err != nil && !errors.Is(err, ledger.ErrNotFound) {
		return err
	}
	if from, to := float64(own.Value.PourFromC)/1000, float64(own.Value.PourToC)/1000; from > 0 {
		e.ToC = (from + max(from, to)) / 2
		e.Notes = append(e.Notes, "brought to the middle of the shop's own pouring temperatures")
		return nil
	}
	for _, p := range []alloy.Property{alloy.PourLight, alloy.PourHeavy} {
		if f, ok := e.Alloy.Figure(p); ok {
			e.ToC = f.Mid()
			e.Used = append(e.Used, f)
			e.Notes = append(e.Notes, "brought to the middle of the pouring temperatures listed")
			return nil
		}
	}
	e.ToC = e.LiquidusC + usualSuperheat
	e.Notes = append(e.Notes, fmt.Sprintf("no pouring temperature is known: %d K over the liquidus are taken (common practice, no source)", usualSuperheat))
	return nil
}

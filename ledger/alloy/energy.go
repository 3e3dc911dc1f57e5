package alloy

import (
	"fmt"
	"math"
)

// MeltHeat is what the heat of a charge is reckoned from.
type MeltHeat struct {
	Solid     float64 // specific heat up to the liquidus, J/(kg·K)
	Liquid    float64 // of the melt; 0 takes Solid
	Latent    float64 // heat of fusion, J/kg
	LiquidusC float64 // °C
	// Used lists the figures behind the numbers, with source and flag; estimates
	// are flagged Derived. Notes says what the model leaves out here.
	Used  []Figure
	Notes []string
}

// Heat is the heat a charge takes up, in joules.
type Heat struct{ Sensible, Latent, Superheat float64 }

// Total returns the sum, J.
func (h Heat) Total() float64 { return h.Sensible + h.Latent + h.Superheat }

// Of returns the heat (J) that takes mass kg from one temperature to another (°C):
//
//	m·c_s·(min(T, T_liq) − T0) + m·L, once T reaches T_liq, + m·c_l·(T − T_liq).
//
// The specific heat is one number over the whole range; printed ones are near
// room temperature, and metals take more as they get hot, so the true heat is
// some per cent higher. The latent heat is given out at the liquidus, though an
// alloy melts over a range: only a stop inside the range is affected.
func (p MeltHeat) Of(mass, fromC, toC float64) (Heat, error) {
	switch {
	case !(mass >= 0):
		return Heat{}, fmt.Errorf("mass %g kg: give none below zero", mass)
	case !(p.Solid > 0) || !(p.Latent >= 0) || !(p.Liquid >= 0):
		return Heat{}, fmt.Errorf("specific heats %g and %g J/(kg·K), latent heat %g J/kg: give figures above zero", p.Solid, p.Liquid, p.Latent)
	case !(fromC >= -273.15) || !(toC >= fromC):
		return Heat{}, fmt.Errorf("from %g °C to %g °C: give a rise of temperature", fromC, toC)
	case fromC > p.LiquidusC:
		return Heat{}, fmt.Errorf("from %g °C: the charge starts above its liquidus of %g °C, melted already", fromC, p.LiquidusC)
	}
	liquid := p.Liquid
	if liquid == 0 {
		liquid = p.Solid
	}
	h := Heat{Sensible: mass * p.Solid * (math.Min(toC, p.LiquidusC) - fromC)}
	if toC >= p.LiquidusC {
		h.Latent = mass * p.Latent
		h.Superheat = mass * liquid * (toC - p.LiquidusC)
	}
	return h, nil
}

// MeltHeat gathers the figures of an alloy. A specific or latent heat that was not
// printed for it is estimated from the pure metals by their typical shares
// (Neumann and Kopp's rule for specific heats; for the heat of fusion a plain
// mixture, which leaves out heats of mixing), flagged Derived. The mixture is
// within 4 % of the heat of fusion printed for eight copper and aluminium alloys
// (makeitfrom.com, whose figures may be estimates of the same kind) and 17 and
// 44 % above it for ZA-12 and ZA-27. It fails when the liquidus is not known.
func (a Alloy) MeltHeat() (MeltHeat, error) {
	var p MeltHeat
	liquidus, ok := a.Figure(Liquidus)
	if !ok {
		return p, fmt.Errorf("alloy %s has no liquidus: add the shop's own figure", a.ID)
	}
	p.LiquidusC = liquidus.Value
	p.Used = append(p.Used, liquidus)
	for _, q := range []struct {
		property Property
		into     *float64
		scale    float64
	}{{SpecificHeat, &p.Solid, 1}, {LatentHeat, &p.Latent, 1000}} {
		f, ok := a.Figure(q.property)
		if !ok {
			var err error
			if f, err = a.mixed(q.property); err != nil {
				return MeltHeat{}, err
			}
		}
		*q.into = f.Value * q.scale
		p.Used = append(p.Used, f)
	}
	p.Notes = []string{"the specific heat is a room-temperature figure used up to the pour: expect some per cent more",
		"the melt is given the specific heat of the solid"}
	return p, nil
}

// mixed estimates a property by mass from the pure metals of the figures table.
func (a Alloy) mixed(p Property) (Figure, error) {
	typical := a.Typical()
	total, have := 0.0, 0.0
	unit := ""
	for _, e := range elements(typical) {
		m, ok := FindMaterial(e)
		f, has := m.Figure(p)
		if !ok || !has {
			continue
		}
		total += typical[e] * f.Value
		have += typical[e]
		unit = f.Unit
	}
	if have < 95 {
		return Figure{}, fmt.Errorf("alloy %s has no %s and its metals account for %.3g %% only: add the shop's own figure", a.ID, p, have)
	}
	return Figure{Property: p, Value: total / have, Unit: unit, Verified: Derived,
		Source: "pure metals by mass, CRC Handbook values",
		Note:   "estimate from the typical composition, not a measured figure of the alloy"}, nil
}

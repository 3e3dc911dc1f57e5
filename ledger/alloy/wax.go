package alloy

import (
	"fmt"
	"math"
)

// WaxToMetal returns the mass of metal that fills the space of a wax or other
// pattern, in the unit of the pattern's mass:
//
//	metal = wax × (1 + allowance) × metal density ÷ wax density
//
// The allowance is a part of the wax (0.1 for ten per cent) for a button or for
// what the pattern does not show. Densities in g/cm³; with a wax density of 1
// the metal density is the specific gravity of the jewellers' rule
// (riogrande.com and romanoff.com, casting help pages).
func WaxToMetal(wax, allowance, metalDensity, waxDensity float64) (float64, error) {
	for _, q := range []struct {
		field string
		v     float64
		low   bool // whether zero will do
	}{{"wax", wax, true}, {"allowance", allowance, true}, {"metal density", metalDensity, false}, {"wax density", waxDensity, false}} {
		if math.IsNaN(q.v) || math.IsInf(q.v, 0) || q.v < 0 || q.v == 0 && !q.low {
			return 0, fmt.Errorf("%s %g: give a number above zero", q.field, q.v)
		}
	}
	return wax * (1 + allowance) * metalDensity / waxDensity, nil
}

// WaxDensity returns the density of a wax of the built-in figures to use for a
// pattern, and its name; the first read in print is taken when none is named.
func WaxDensity(name string) (Figure, bool) {
	if name == "" {
		name = "casting wax"
	}
	m, ok := FindMaterial(name)
	if !ok {
		return Figure{}, false
	}
	return m.Figure(Density)
}

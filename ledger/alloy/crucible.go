package alloy

import (
	"fmt"
	"slices"
)

// Crucible is one printed capacity. The masses and the volume are what the source
// gives, 0 where it gives none; capacities are a convention of the trade, so a
// shop measures its own (fill with water to the working line and weigh).
type Crucible struct {
	Shape, Size              string
	BronzeLb, BronzeKg       float64
	AluminiumLb, AluminiumKg float64
	VolumeML                 float64
	Source                   string
	Verified                 Flag
	Note                     string
}

// Crucibles lists the built-in capacities.
func Crucibles() []Crucible { return slices.Clone(load().crucibles) }

// TimesThree is how much more bronze than aluminium, by mass, a bilge-shaped
// crucible is reckoned to hold: its number is the pounds of aluminium, three
// times that the pounds of bronze (read on mifco.com's crucible page). It is a
// rule of thumb for that shape only; the ratio of liquid densities is nearer 3.3.
const TimesThree = 3

// Bilge returns what a bilge-shaped crucible of the given number is reckoned to
// hold, in pounds, by the rule of TimesThree.
func Bilge(number float64) (aluminiumLb, bronzeLb float64) { return number, TimesThree * number }

// CrucibleMass returns the mass in grams of melt that fills a crucible of the
// given volume (mL) to the given part of it (0–1, the working fill), at a liquid
// density in g/cm³.
func CrucibleMass(volumeML, fill, liquidDensity float64) (float64, error) {
	switch {
	case !(volumeML > 0):
		return 0, fmt.Errorf("volume_ml %g: a crucible holds more than nothing", volumeML)
	case !(fill > 0 && fill <= 1):
		return 0, fmt.Errorf("fill %g: a part of the volume between 0 and 1", fill)
	case !(liquidDensity > 0):
		return 0, fmt.Errorf("liquid density %g g/cm³: give one above zero", liquidDensity)
	}
	return volumeML * fill * liquidDensity, nil
}

// MeltDensity estimates the density (g/cm³) of an alloy's melt at a
// temperature (°C) from its contents (element → weight %), scaled to 100 %.
//
// Model: volumes of the pure liquids add up (no excess volume), each liquid at its
// density at its own melting point plus its slope times the distance from there,
// also below it where the pure metal would be solid. Sources: the liquid
// densities of the embedded figures (CRC Handbook). No measured liquid density
// of a casting alloy was found to check against, hence the flag Derived.
// An element without a liquid density is an error when it is above 1 %, and is
// reckoned like the rest of the alloy when not.
func MeltDensity(content map[string]float64, celsius float64) (Figure, error) {
	mass, volume := 0.0, 0.0
	for _, e := range elements(content) {
		pct := content[e]
		if pct < 0 {
			return Figure{}, fmt.Errorf("content of %s is %g %%: give none below zero", e, pct)
		}
		m, ok := FindMaterial(e)
		rho, hasRho := m.Figure(LiquidDensity)
		melt, hasMelt := m.Figure(Melting)
		if !ok || !hasRho || !hasMelt {
			if pct > 1 {
				return Figure{}, fmt.Errorf("no liquid density of %s (%g %% of the alloy): give the density of the melt itself", e, pct)
			}
			continue
		}
		slope, _ := m.Figure(LiquidDensitySlope)
		d := rho.Value + slope.Value/1000*(celsius-melt.Value)
		if !(d > 0) {
			return Figure{}, fmt.Errorf("temperature %g °C is beyond the density line of liquid %s", celsius, e)
		}
		mass += pct
		volume += pct / d
	}
	if !(volume > 0) {
		return Figure{}, fmt.Errorf("no contents: give weight per cent by element")
	}
	return Figure{Property: LiquidDensity, Value: mass / volume, Unit: "g/cm3", Verified: Derived,
		Source: "volumes of the pure liquids added, CRC Handbook densities",
		Note:   fmt.Sprintf("estimate at %g °C, not a measured density of the alloy", celsius)}, nil
}

// elements lists the keys of a composition in order, so that sums of floats do
// not depend on the order of a map.
func elements[V any](content map[string]V) []string {
	out := make([]string, 0, len(content))
	for e := range content {
		out = append(out, e)
	}
	slices.Sort(out)
	return out
}

package charge

import (
	"fmt"
	"math"
)

// Estimate is a mass in mg with its standard uncertainty.
type Estimate struct{ Mean, SD float64 }

// FromPattern turns the mass of a wax or other pattern into that of the metal
// that fills its space: pattern × ratio, the ratio being metal density ÷ pattern
// density × (1 + allowance) with its own standard deviation. A product of
// independent quantities, its uncertainty to first order (GUM, JCGM 100:2008,
// clause 5.1.6).
func FromPattern(pattern, ratio Estimate) Estimate {
	return Estimate{pattern.Mean * ratio.Mean, math.Hypot(pattern.SD*ratio.Mean, ratio.SD*pattern.Mean)}
}

// FromVolume is the metal that fills a volume (mL) at a density (g/mL), in mg.
func FromVolume(volume, density Estimate) Estimate {
	e := FromPattern(volume, density)
	return Estimate{e.Mean * 1000, e.SD * 1000}
}

// Mold is one mold that is to be filled in a heat.
type Mold struct {
	ID string
	// Metal is what fills it, casting and gating together. Its SD is doubt beyond
	// what the shop's molds usually deviate (Filling): a weight guessed by eye has
	// some, a wax weighed like all the others has none.
	Metal Estimate
	MinC  float64 // pour between MinC and MaxC, °C; both 0: any
	MaxC  float64
	Takes float64 // seconds from the first metal to the next mold
	Rank  int     // among molds that may be poured alike, the lower rank first; the last is short first
	Alloy string  // for Group: only molds of one alloy share a heat
}

func (m *Mold) check(c *checks, at string) {
	c.need(m.Metal.Mean > 0 && m.Metal.Mean <= maxMass, at+".Metal.Mean", m.Metal.Mean, "milligrams above 0")
	c.need(m.Metal.SD >= 0 && m.Metal.SD <= m.Metal.Mean, at+".Metal.SD", m.Metal.SD, "milligrams between 0 and the mean")
	c.need(m.MinC >= 0 && m.MaxC >= m.MinC && m.MaxC < 4000, at+".MaxC", fmt.Sprintf("%g to %g", m.MinC, m.MaxC), "°C, the lower first")
	c.notNegative(m.Takes, at+".Takes")
}

// Poured is one mold of the past.
type Poured struct{ Planned, Poured float64 } // mg

// Filling is what is believed of a shop's molds: each takes planned·(1 + b + e),
// the bias b common to all, the deviations e independent, normal, with variance s².
// The belief is the conjugate one (normal and scaled inverse χ²): b given s² is
// normal about Bias with variance s²/Weight, and DF·Spread²/s² is χ² with DF
// degrees of freedom (A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013,
// section 3.3; cited from memory). DF 0 means that s is known to be Spread, and
// Weight 0 that the bias is known.
type Filling struct {
	Bias   float64 // part of planned
	Weight float64 // molds' worth of knowing the bias
	Spread float64 // part of planned
	DF     float64
}

// StartingFilling is a belief to start from: no bias, known as from two molds, and
// a spread of 5 % known as from four. It is an assumption without a source; it
// is outweighed after a dozen molds, and a shop may set its own.
func StartingFilling() Filling { return Filling{Bias: 0, Weight: 2, Spread: 0.05, DF: 4} }

// Learn returns the belief after some molds were poured. Molds with no planned
// mass tell nothing and are passed over. It needs a belief with Weight and DF
// above 0, and returns f unchanged when it knows already.
func (f Filling) Learn(molds []Poured) Filling {
	if f.Weight <= 0 || f.DF <= 0 {
		return f
	}
	n, mean, square := 0.0, 0.0, 0.0
	for _, m := range molds { // Welford's update
		if !(m.Planned > 0) || !(m.Poured >= 0) {
			continue
		}
		r := m.Poured/m.Planned - 1
		n++
		d := r - mean
		mean += d / n
		square += d * (r - mean)
	}
	k := f.Weight + n
	dev := mean - f.Bias
	sum := f.DF*f.Spread*f.Spread + square + f.Weight*n/k*dev*dev
	return Filling{
		Bias:   (f.Weight*f.Bias + n*mean) / k,
		Weight: k,
		Spread: math.Sqrt(sum / (f.DF + n)),
		DF:     f.DF + n,
	}
}

func (f Filling) check(c *checks, at string) {
	c.need(f.Bias > -1 && f.Bias < 10, at+".Bias", f.Bias, "a part of the planned mass above −1")
	c.need(f.Spread >= 0 && f.Spread < 1, at+".Spread", f.Spread, "a part of the planned mass, 0 ≤ Spread < 1")
	c.notNegative(f.Weight, at+".Weight")
	c.need(f.DF == 0 || f.DF > 2, at+".DF", f.DF, "0 for a known spread, or more than 2")
}

package alloy

import (
	"fmt"
	"math"
)

// Drift is what one melt does, as the shop believes it: the usual amount, the
// doubt about that usual amount (the same in every heat), and how far single
// heats stray from it.
type Drift struct {
	Mean   float64
	SD     float64
	HeatSD float64
}

// Effect is what one melt does to one element.
type Effect struct {
	Element string
	Loss    Drift // part of the element that leaves the melt, 0–1
	Pickup  Drift // weight % of the charge that joins it from tools, crucible or lining
}

// Input is one lot, or part of one, that goes into a melt.
type Input struct {
	Mass   float64 // in any unit, the same for all inputs
	MassSD float64
	// Origin names the weighing, so that its doubt is counted once where it counts
	// twice. It may be empty while MassSD is 0.
	Origin string
	Of     Composition
}

// Melt is a charge and what the fire does to it.
type Melt struct {
	Origin  string // the heat
	Inputs  []Input
	Effects []Effect
}

// Pour returns the composition of the melt after its losses and pickups, and its
// mass in the unit of the inputs.
//
// Model: every element is conserved but for its losses and pickups,
//
//	m_e = (1 − loss_e) Σ M_i c_ie + pickup_e Σ M_i,   c_e = m_e ÷ Σ m,
//
// the unnamed part of each lot passing unchanged. Doubts of lots, weighings,
// losses and pickups go through to first order, by origin. A loss or pickup has
// one origin for what is believed of the shop ("loss/Zn") and one for the heat
// ("heat 41/loss/Zn").
func (m Melt) Pour() (Composition, float64, error) {
	charge := 0.0
	for i, in := range m.Inputs {
		if !(in.Mass >= 0) || math.IsInf(in.Mass, 0) || !(in.MassSD >= 0) {
			return Composition{}, 0, fmt.Errorf("input %d of %s: mass %g ± %g: give none below zero", i+1, m.Origin, in.Mass, in.MassSD)
		}
		if in.MassSD > 0 && in.Origin == "" {
			return Composition{}, 0, fmt.Errorf("input %d of %s: a mass with doubt needs the weighing as its origin", i+1, m.Origin)
		}
		charge += in.Mass
	}
	if !(charge > 0) {
		return Composition{}, 0, fmt.Errorf("charge of %s: nothing in it", m.Origin)
	}
	effects := map[string]Effect{}
	for _, f := range m.Effects {
		if !(f.Loss.Mean >= 0 && f.Loss.Mean < 1) || !(f.Pickup.Mean >= 0 && f.Pickup.Mean <= 100) || f.Loss.SD < 0 || f.Loss.HeatSD < 0 || f.Pickup.SD < 0 || f.Pickup.HeatSD < 0 {
			return Composition{}, 0, fmt.Errorf("effect on %s in %s: a loss is a part between 0 and 1 of the element, a pickup weight %% of the charge, no doubt below zero", f.Element, m.Origin)
		}
		if _, twice := effects[f.Element]; twice {
			return Composition{}, 0, fmt.Errorf("effect on %s in %s: given twice", f.Element, m.Origin)
		}
		effects[f.Element] = f
	}
	f := flow{effects: effects, in: map[string]float64{}, out: map[string]float64{}, doubt: map[string]map[string]float64{}}
	for _, in := range m.Inputs {
		f.add(in)
	}
	for _, e := range elements(effects) {
		f.drift(m.Origin, effects[e], charge)
	}
	return f.composition()
}

// unnamed is the key for the part of a lot that no element accounts for.
const unnamed = ""

// flow sums masses of elements and, per origin, what they would be off by.
type flow struct {
	effects map[string]Effect
	in      map[string]float64 // mass × weight %, before losses
	out     map[string]float64 // after
	doubt   map[string]map[string]float64
}

func (f *flow) kept(element string) float64 { return 1 - f.effects[element].Loss.Mean }

func (f *flow) off(origin, element string, by float64) {
	if by == 0 {
		return
	}
	if f.doubt[origin] == nil {
		f.doubt[origin] = map[string]float64{}
	}
	f.doubt[origin][element] += by
}

func (f *flow) add(in Input) {
	rest := 100.0
	for _, e := range in.Of.Elements() {
		c := in.Of.Mean[e]
		rest -= c
		f.in[e] += in.Mass * c
		f.out[e] += in.Mass * c * f.kept(e)
		if in.MassSD > 0 {
			f.off(in.Origin, e, in.MassSD*c*f.kept(e))
		}
	}
	f.out[unnamed] += in.Mass * rest
	if in.MassSD > 0 {
		f.off(in.Origin, unnamed, in.MassSD*rest)
	}
	for _, k := range elements(in.Of.Doubt) {
		net := 0.0
		for _, e := range elements(in.Of.Doubt[k]) {
			s := in.Of.Doubt[k][e]
			net += s
			f.off(k, e, in.Mass*s*f.kept(e))
		}
		f.off(k, unnamed, -in.Mass*net)
	}
}

// drift takes what the melt picks up and the doubt about losses and pickups. The
// doubt of a weighing on the pickup it scales is of second order and left out.
func (f *flow) drift(heat string, e Effect, charge float64) {
	f.out[e.Element] += charge * e.Pickup.Mean
	f.off("loss/"+e.Element, e.Element, -f.in[e.Element]*e.Loss.SD)
	f.off(heat+"/loss/"+e.Element, e.Element, -f.in[e.Element]*e.Loss.HeatSD)
	f.off("pickup/"+e.Element, e.Element, charge*e.Pickup.SD)
	f.off(heat+"/pickup/"+e.Element, e.Element, charge*e.Pickup.HeatSD)
}

func (f *flow) composition() (Composition, float64, error) {
	total := 0.0
	for _, e := range elements(f.out) {
		total += f.out[e]
	}
	if !(total > 0) {
		return Composition{}, 0, fmt.Errorf("nothing is left of the charge")
	}
	c := Composition{Mean: map[string]float64{}, Doubt: map[string]map[string]float64{}}
	for e, m := range f.out {
		if e != unnamed {
			c.Mean[e] = 100 * m / total
		}
	}
	for k, by := range f.doubt {
		net := 0.0
		for _, e := range elements(by) {
			net += by[e]
		}
		shift := map[string]float64{}
		for e, content := range c.Mean {
			if s := (100*by[e] - content*net) / total; s != 0 {
				shift[e] = s
			}
		}
		if len(shift) > 0 {
			c.Doubt[k] = shift
		}
	}
	return c.pruned(), total / 100, nil
}

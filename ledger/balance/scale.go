package balance

import (
	"fmt"
	"math"
)

// Scale is what is known of a scale. Only Division is needed.
type Scale struct {
	Name     string
	Division Step // d, what the last digit shows, in milligrams
	Interval Step // e, the verification interval; zero: the division
	// Class and Rule give the limit of error that is believed when there is no Check.
	// Without a class the limits of class III in service are taken, and past the end
	// of that table its last row: an assumption of this package for kitchen and floor
	// scales without a plate.
	Class Class
	Rule  Rule // zero: OIML in service
	Check *Check
	// Repeatability is the standard deviation of repeated readings of one load, in
	// milligrams, from Readings readings. When it is 0, it is taken to lie within the
	// class limit or, with a Check, to be as large as the rounding of one reading.
	Repeatability float64
	Readings      int
}

// Check is the last check of a scale with known weights. It is believed instead of
// the class limit; leave it out when it is too old to be believed.
type Check struct {
	Load  int64   // what stood on the scale, milligrams
	Error int64   // shown minus true at that load, milligrams; it was not adjusted away
	U     float64 // standard uncertainty of the weights, milligrams
	Drift int64   // how far Error had moved since the check before, milligrams; 0 when unknown
}

// Weighing is one weighing as it was read and typed, in milligrams.
type Weighing struct {
	Gross int64 // as read
	Tare  Tare
	Typed Step // step of the number as typed ("12.4 lb" is a tenth of a pound); zero: the division
	// Dirt is the share of the net that is not metal, DirtU its standard uncertainty
	// and DirtDof its degrees of freedom (0: infinitely many).
	Dirt, DirtU, DirtDof float64
}

// Tare is what was taken off. The zero value is an empty scale at zero. When Saved
// is false, Mass was read on the same scale just before (or is the earlier reading
// of a bin that is read by difference); when true, it is a saved weight whose
// standard uncertainty U and degrees of freedom Dof are its own.
type Tare struct {
	Mass  int64
	Saved bool
	U     float64
	Dof   float64
}

// Names of the lines of a weighing's budget; FromScale is the one that weighings on
// one scale have in common, FromTare those with one saved tare.
const (
	FromReading = "reading"
	FromZero    = "zero or tare reading"
	FromScale   = "scale's error"
	FromWeights = "check weights"
	FromDrift   = "drift since the check before"
	FromRepeat  = "repeatability"
	FromTare    = "saved tare"
	FromDirt    = "dirt"
)

// Weigh returns the metal of a weighing in milligrams, with its budget.
//
// Rounding to a step s has the standard uncertainty s/√12 (GUM F.2.2.1), once for
// the load and once for zero or tare. The scale's error: within the limit of its
// class, taken as Uniform, at the net load, to which R 76-1 3.5.3.3 applies the
// limits, but at the gross load under a saved tare; or, from a check, the error found
// and not corrected taken as one standard uncertainty, with the check weights' own
// and the drift as Uniform, in proportion for loads above the checked one and not
// less below it. Repeatability counts twice when the tare was read as well.
//
// Refused: no division, a negative gross or tare, a net below zero, a dirt share
// outside 0..1, negative uncertainties, a load beyond the table of a stated class.
func (s Scale) Weigh(w Weighing) (Budget, error) {
	if err := s.validate(w); err != nil {
		return Budget{}, err
	}
	net := w.Gross - w.Tare.Mass
	clean := 1 - w.Dirt
	d := s.Division.Float()
	lines := make([]Contribution, 0, 8)
	add := func(name string, value, u, dof, c float64) {
		lines = append(lines, Contribution{Name: name, Value: value, U: u, Dof: dof, Sensitivity: c})
	}
	add(FromReading, float64(w.Gross), Uniform(math.Max(d, w.Typed.Float())/2), 0, clean)
	add(FromZero, 0, Uniform(d/2), 0, -clean)

	load := net
	if w.Tare.Saved {
		load = w.Gross
	}
	if c := s.Check; c != nil {
		grow := math.Max(1, float64(load)/float64(c.Load))
		add(FromScale, 0, grow*math.Abs(float64(c.Error)), 0, clean)
		add(FromWeights, 0, grow*c.U, 0, clean)
		add(FromDrift, 0, grow*Uniform(math.Abs(float64(c.Drift))), 0, clean)
	} else {
		limit, err := s.limit(load)
		if err != nil {
			return Budget{}, err
		}
		add(FromScale, 0, Uniform(limit), 0, clean)
	}
	repeat, dof := s.Repeatability, float64(s.Readings-1)
	if repeat == 0 && s.Check != nil {
		repeat, dof = Uniform(d/2), 0
	}
	if repeat > 0 {
		if !w.Tare.Saved && w.Tare.Mass > 0 {
			repeat *= math.Sqrt2
		}
		add(FromRepeat, 0, repeat, math.Max(dof, 0), clean)
	}
	if w.Tare.Saved {
		add(FromTare, float64(w.Tare.Mass), w.Tare.U, w.Tare.Dof, -clean)
	}
	if w.DirtU > 0 {
		add(FromDirt, w.Dirt, w.DirtU, w.DirtDof, -float64(net))
	}
	return Combine(float64(net)*clean, lines), nil
}

// limit returns the class limit at a load in milligrams.
func (s Scale) limit(load int64) (float64, error) {
	e := s.Interval
	if !e.given() {
		e = s.Division
	}
	if s.Class != NoClass {
		return s.Rule.MPE(s.Class, e, load)
	}
	if !within(load, 10_000, e) {
		return 3 * e.Float(), nil
	}
	return OIMLInService.MPE(ClassIII, e, load)
}

func (s Scale) validate(w Weighing) error {
	bad := func(field string, v any, want string) error {
		return &InputError{Field: fmt.Sprintf("scale %q: %s", s.Name, field), Value: v, Want: want}
	}
	unit := func(x float64) bool { return x >= 0 && !math.IsInf(x, 0) }
	switch {
	case !s.Division.given():
		return bad("division", s.Division, "a positive step in milligrams")
	case s.Interval != Step{} && !s.Interval.given():
		return bad("interval", s.Interval, "a positive step in milligrams, or none")
	case w.Typed != Step{} && !w.Typed.given():
		return bad("typed step", w.Typed, "a positive step in milligrams, or none")
	case !unit(s.Repeatability):
		return bad("repeatability", s.Repeatability, "a standard deviation, not negative")
	case s.Repeatability > 0 && s.Readings == 1:
		return bad("readings", s.Readings, "at least 2 behind a repeatability, or 0 for not known")
	case s.Check != nil && s.Check.Load <= 0:
		return bad("check load", s.Check.Load, "positive")
	case s.Check != nil && !unit(s.Check.U):
		return bad("check weights' u", s.Check.U, "a finite number, not negative")
	case w.Gross < 0:
		return bad("gross", w.Gross, "not negative")
	case w.Tare.Mass < 0:
		return bad("tare", w.Tare.Mass, "not negative")
	case w.Tare.Mass > w.Gross:
		return bad("tare", w.Tare.Mass, fmt.Sprintf("at most the gross of %d", w.Gross))
	case !unit(w.Tare.U) || !(w.Tare.Dof >= 0):
		return bad("tare's u", w.Tare.U, "a finite number, not negative, as its degrees of freedom")
	case !(w.Dirt >= 0 && w.Dirt <= 1):
		return bad("dirt", w.Dirt, "a share from 0 to 1")
	case !unit(w.DirtU) || !(w.DirtDof >= 0):
		return bad("dirt's u", w.DirtU, "a finite number, not negative, as its degrees of freedom")
	}
	return nil
}

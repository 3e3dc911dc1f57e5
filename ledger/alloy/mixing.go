package alloy

import (
	"fmt"
	"math"
)

// Mix answers whether metal of one alloy may go into a charge of another, with
// the number that says why.
//
// Model: a charge of typical metal of `into` and a share x of typical metal of
// `from` holds (1−x)·c_into + x·c_from of each element, by conservation of mass.
// Typical means the middle of a printed range, nothing of an element that has
// only a greatest limit, and what is left over for the base metal. The Reach is
// the smallest x at which some limit of `into` is reached; Worst is the same for
// metal of `from` that holds as much of every element as its own limits let it.
// Losses in the melt are left out: they are smaller than the doubt about what is
// typical.
type Mix struct {
	Into, From string // designations
	OK         bool
	Why        string
	LimitSet   string // ID of the set the limits come from, "" when there is none
	Reach
	Worst Reach
}

// Reach is the first limit that a growing share of other metal arrives at.
type Reach struct {
	Limited        bool    // whether a limit is reached at all; the rest is zero when not
	Element        string  // element or pseudo-element
	LimitPct       float64 // its limit, weight %
	ContentPct     float64 // what the other metal holds of it, weight %
	Least          bool    // it is a least limit: the metal dilutes what the alloy needs
	ReachedAtShare float64 // mass share of the other metal in the charge, 0–1
}

// ReachedAt is the mass of the other metal which reaches the limit in a charge
// of the given mass all told, in the same unit.
func (r Reach) ReachedAt(charge float64) float64 { return r.ReachedAtShare * charge }

// UsefulShare is the share below which metal of another alloy of the same family
// is not worth having in the charge, so that Mix says no. Common practice, no source.
const UsefulShare = 0.02

// MayMix asks whether returns or ingot of alloy `from` may go into a charge of
// alloy `into` (designations, UNS numbers or names; errors as Find). Metal of the
// same alloy may; of another alloy of the same family may while its share stays
// under ReachedAtShare; of another family may not, however little a first piece
// would do, since nobody counts the pieces of a bin. Unknown metal never mixes,
// not even with unknown metal. OK is a rule about alloys, not about safety.
func (t Table) MayMix(into, from string) (Mix, error) {
	a, err := t.Find(into)
	if err != nil {
		return Mix{}, fmt.Errorf("into: %w", err)
	}
	b, err := t.Find(from)
	if err != nil {
		return Mix{}, fmt.Errorf("from: %w", err)
	}
	return MayMix(a, b), nil
}

// MayMix is Table.MayMix of two alloys in hand, by the current casting limits of
// the first.
func MayMix(into, from Alloy) Mix {
	m := Mix{Into: into.ID, From: from.ID}
	switch {
	case into.IsUnknown() || from.IsUnknown():
		m.Why = "metal that nobody has identified is held apart until somebody has"
		return m
	case into.ID == from.ID:
		m.OK, m.Why = true, "the same alloy"
		return m
	}
	if set, err := into.LimitSet(Casting, ""); err == nil {
		m.LimitSet = set.ID()
		m.Reach = reach(set, into.Typical(), from.Typical())
		m.Worst = reach(set, into.Typical(), from.atMost())
	}
	number := "no limit to reckon with is known"
	if m.Limited {
		number = m.say(m.Reach)
	}
	same := into.Family == from.Family && into.Family != NoFamily && into.Family != ""
	switch {
	case !same:
		m.Why = fmt.Sprintf("%s does not go into %s: %s", describe(from), describe(into), number)
	case m.Limited && m.ReachedAtShare < UsefulShare:
		m.Why = "same family, but " + number
	default:
		m.OK = true
		m.Why = fmt.Sprintf("same family (%s): %s", into.Family, number)
		if m.Worst.Limited && (!m.Limited || m.Worst.ReachedAtShare < m.ReachedAtShare) {
			m.Why += "; at worst, " + m.say(m.Worst)
		}
	}
	return m
}

func describe(a Alloy) string {
	if a.Family == NoFamily || a.Family == "" {
		return a.ID
	}
	return fmt.Sprintf("%s (%s)", a.ID, a.Family)
}

func (m Mix) say(r Reach) string {
	bound := "greatest"
	if r.Least {
		bound = "least"
	}
	return fmt.Sprintf("%s at %.3g %% %s reaches the %s %s of %s, %g %%, when it is %.3g %% of the charge",
		m.From, r.ContentPct, r.Element, bound, r.Element, m.Into, r.LimitPct, r.ReachedAt(100))
}

// reach finds the limit that a growing share of metal b in metal a arrives at first.
func reach(set LimitSet, a, b map[string]float64) Reach {
	var first Reach
	if len(a) == 0 || len(b) == 0 {
		return first
	}
	// weigh tries one bound: metal a holds ca of it and metal b holds cb.
	weigh := func(element string, ca, cb, limit float64, least bool) {
		sign := 1.0
		if least {
			sign = -1
		}
		if sign*cb <= sign*limit || sign*ca > sign*limit { // never reached, or out already
			return
		}
		x := (limit - ca) / (cb - ca)
		if !first.Limited || x < first.ReachedAtShare {
			first = Reach{Limited: true, Element: element, LimitPct: limit, ContentPct: cb, Least: least, ReachedAtShare: x}
		}
	}
	unnamed := set.others(b)
	beyond := sum(b, unnamed)
	for _, l := range set.Limits {
		switch l.Element {
		case CopperAndNamed:
			weigh(l.Element, 100, 100-beyond, l.Min, true)
			continue
		case OthersTotal:
			weigh(l.Element, 0, beyond, l.Max, false)
			continue
		case OthersEach:
			for _, e := range unnamed {
				weigh(e, 0, b[e], l.Max, false)
			}
			continue
		}
		counted := append([]string{l.Element}, l.Plus...)
		if l.HasMax {
			weigh(l.Element, sum(a, counted), sum(b, counted), l.Max, false)
		}
		if l.HasMin { // what may be counted with it helps against the least
			counted = append(counted, l.MayPlus...)
			weigh(l.Element, sum(a, counted), sum(b, counted), l.Min, true)
		}
	}
	return first
}

func sum(content map[string]float64, of []string) float64 {
	total := 0.0
	for _, e := range of {
		total += content[e]
	}
	return total
}

// Typical returns the contents (weight %) of ordinary metal of the alloy, by its
// current casting limits: the middle of each range, nothing of an element that
// has only a greatest limit, and the rest for the base metal. It is empty for an
// alloy without limits. A convention of this package, not a nominal composition
// of any standard.
func (a Alloy) Typical() map[string]float64 {
	set, err := a.LimitSet(Casting, "")
	if err != nil {
		return nil
	}
	base := baseOf(a.Kind)
	for _, l := range set.Limits {
		if l.Remainder {
			base = l.Element
		}
	}
	out, rest, hasBase := map[string]float64{}, 100.0, false
	for _, l := range set.Limits {
		switch {
		case l.Element == CopperAndNamed || l.Element == OthersEach || l.Element == OthersTotal:
		case l.Element == base:
			hasBase = true
		case l.HasMin && l.HasMax:
			out[l.Element] = (l.Min + l.Max) / 2
			rest -= out[l.Element]
		case l.HasMin:
			out[l.Element] = l.Min
			rest -= l.Min
		default:
			out[l.Element] = 0
		}
	}
	if hasBase {
		out[base] = math.Max(0, rest)
	}
	return out
}

// atMost returns Typical with every element that has a greatest limit at it; the
// base metal stays as it is, since no metal is at all its limits at once.
func (a Alloy) atMost() map[string]float64 {
	out := a.Typical()
	if out == nil {
		return nil
	}
	set, _ := a.LimitSet(Casting, "")
	base := baseOf(a.Kind)
	for _, l := range set.Limits {
		if _, ok := out[l.Element]; ok && l.HasMax && l.Element != base {
			out[l.Element] = l.Max
		}
	}
	return out
}

// baseOf is the element that the alloys of a kind are made of.
func baseOf(k Kind) string {
	switch k {
	case Copper:
		return "Cu"
	case Aluminium:
		return "Al"
	case Zinc:
		return "Zn"
	}
	return ""
}

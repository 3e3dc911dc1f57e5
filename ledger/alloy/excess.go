package alloy

import (
	"math"
	"slices"
)

// Excess is an element of which metal holds clearly more than its alloy may.
type Excess struct {
	Element string
	Percent float64 // weight % measured
	Most    float64 // weight % that the alloy may hold
}

// How far over what an alloy may hold a measured content is clearly over it, so that
// neither the scatter of certificates nor their last digit is: lead and beryllium by a
// fifth, and lead by 0.02 %; anything else when it is more than twice as much and 1 % of
// the metal more, which is another metal and not another melt. Assumptions.
const (
	slightlyOver = 1.2
	leadOver     = 0.02
	farOver      = 2
	elseOver     = 1.0
)

// What an alloy may hold in weight % that says nothing of the element, nor of others. Assumptions.
const (
	leadUnnamed      = leadShown
	berylliumUnnamed = 0.01
)

// Excesses lists the elements of a measured content (weight %) that are clearly more than
// the alloy's current limits allow, whichever product they are for, or than the shop's own
// do if it has some; in order. Nothing is
// said of an alloy without limits.
func (a Alloy) Excesses(content map[string]float64) (out []Excess) {
	for _, e := range elements(content) {
		most, known := a.most(e)
		if !known {
			continue
		}
		over := math.Max(farOver*most, most+elseOver)
		switch e {
		case "Pb":
			over = math.Max(slightlyOver*most, most+leadOver)
		case "Be":
			over = slightlyOver * most
		}
		if content[e] > over {
			out = append(out, Excess{Element: e, Percent: content[e], Most: most})
		}
	}
	return out
}

// most is what the alloy may hold of an element, in weight %, if that is known.
func (a Alloy) most(element string) (percent float64, known bool) {
	named, others, limited := false, math.Inf(1), false
	sets := slices.DeleteFunc(slices.Clone(a.Limits), func(s LimitSet) bool { return !s.Current })
	if own, err := a.LimitSet(Casting, OwnEdition); err == nil {
		sets = []LimitSet{own}
	}
	for _, s := range sets {
		limited = true
		for _, l := range s.Limits {
			switch {
			case l.Element == element:
				named = true
				if l.Remainder || !l.HasMax {
					return 0, false
				}
				percent = math.Max(percent, l.Max)
			case slices.Contains(l.Plus, element) || slices.Contains(l.MayPlus, element):
				return 0, false // counted with another
			case (l.Element == OthersEach || l.Element == OthersTotal) && l.HasMax:
				others = math.Min(others, l.Max)
			}
		}
	}
	switch {
	case named || !limited:
		return percent, named
	case element == "Pb":
		return math.Min(others, leadUnnamed), true
	case element == "Be":
		return math.Min(others, berylliumUnnamed), true
	}
	return others, !math.IsInf(others, 1)
}

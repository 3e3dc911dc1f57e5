package alloy

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Estimate is a quantity with its standard uncertainty (one standard deviation).
type Estimate struct{ Mean, SD float64 }

// Composition is what a lot of metal is thought to hold, in weight per cent, with
// its doubt kept by origin:
//
//	content of e = Mean[e] + Σ over origins k of Doubt[k][e] · z_k,
//
// the z_k independent with mean 0 and variance 1. An origin is anything that can
// be wrong once and then sits in every lot made from it: one element of one
// certificate, one weighing, the zinc lost in one heat. So two lots of one heat
// are wrong together, the base metal falls when another element rises, and
// melting both halves of a heat again does not average their doubt away. What is
// not named in Mean (up to 100 %) is carried along unnamed.
//
// Propagation is to first order (GUM, JCGM 100:2008, clause 5.2): exact for
// blending, good for losses while they are small against the metal.
type Composition struct {
	Mean  map[string]float64
	Doubt map[string]map[string]float64 // origin → element → sensitivity × standard deviation
}

// Measured makes a composition from a certificate or an assay: element →
// weight % with its uncertainty. Each figure's doubt is its own origin, named
// origin/element. When base is not empty that element is what is left of 100 %
// and must not be measured too. Errors name the element.
func Measured(origin string, content map[string]Estimate, base string) (Composition, error) {
	if len(content) == 0 {
		return Composition{}, fmt.Errorf("composition of %s: nothing measured", origin)
	}
	if _, ok := content[base]; ok {
		return Composition{}, fmt.Errorf("composition of %s: %s is measured and also the remainder; it can be one of them", origin, base)
	}
	c := Composition{Mean: map[string]float64{}, Doubt: map[string]map[string]float64{}}
	total := 0.0
	for _, e := range elements(content) {
		v := content[e]
		if !(v.Mean >= 0 && v.Mean <= 100) || !(v.SD >= 0 && v.SD <= 100) {
			return Composition{}, fmt.Errorf("composition of %s: %s %g ± %g %%: give 0 to 100 and an uncertainty not below 0", origin, e, v.Mean, v.SD)
		}
		total += v.Mean
		c.Mean[e] = v.Mean
		if v.SD > 0 {
			c.Doubt[origin+"/"+e] = map[string]float64{e: v.SD}
			if base != "" {
				c.Doubt[origin+"/"+e][base] = -v.SD
			}
		}
	}
	if total > 100+overfull {
		return Composition{}, fmt.Errorf("composition of %s: the elements add up to %.4g %%, more than 100", origin, total)
	}
	if base != "" {
		c.Mean[base] = 100 - total
	}
	return c, nil
}

// overfull is how far above 100 % the figures of a certificate may add up, since
// each is rounded and uncertain. Common practice, no source.
const overfull = 1.0

// Printed reads a figure as certificates print it: "0.02" is known to half a unit
// of its last digit, "<0.005" lies anywhere from 0 to it. Both are rectangular
// distributions (GUM, JCGM 100:2008, clause 4.3.7).
func Printed(s string) (Estimate, error) {
	s = strings.TrimSpace(s)
	below := strings.HasPrefix(s, "<")
	digits := strings.TrimSpace(strings.TrimPrefix(s, "<"))
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil || v < 0 || strings.ContainsAny(digits, "eExXpP_+nN") {
		return Estimate{}, fmt.Errorf("content %q: give weight per cent as digits with a point, e.g. 0.02 or <0.005", s)
	}
	if below {
		return Estimate{Mean: v / 2, SD: v / math.Sqrt(12)}, nil
	}
	unit := 1.0
	if i := strings.IndexByte(digits, '.'); i >= 0 {
		unit = math.Pow(10, -float64(len(digits)-i-1))
	}
	return Estimate{Mean: v, SD: unit / math.Sqrt(12)}, nil
}

// FromLimits is the composition of metal known only by its alloy: anywhere within
// the limits with equal right (rectangular, GUM clause 4.3.7), an element with
// only a greatest limit anywhere from 0 to it, the base metal what is left. It is
// a belief, not a measurement: a certificate replaces it. The set's product must
// be the lot's own.
func FromLimits(origin string, set LimitSet, kind Kind) (Composition, error) {
	base := baseOf(kind)
	for _, l := range set.Limits {
		if l.Remainder {
			base = l.Element
		}
	}
	content := map[string]Estimate{}
	for _, l := range set.Limits {
		switch {
		case l.Element == CopperAndNamed || l.Element == OthersEach || l.Element == OthersTotal || l.Element == base:
		case l.HasMax:
			content[l.Element] = Estimate{Mean: (l.Min + l.Max) / 2, SD: (l.Max - l.Min) / math.Sqrt(12)}
		case l.HasMin:
			content[l.Element] = Estimate{Mean: l.Min}
		}
	}
	return Measured(origin, content, base)
}

// Elements lists the named elements in order.
func (c Composition) Elements() []string { return elements(c.Mean) }

// Estimate returns the content of an element; zero without doubt when unnamed.
func (c Composition) Estimate(element string) Estimate { return c.Sum(element) }

// Sum returns the content of several elements together, with what their doubts
// share reckoned in.
func (c Composition) Sum(of ...string) Estimate {
	out := Estimate{Mean: sum(c.Mean, of)}
	variance := 0.0
	for _, k := range elements(c.Doubt) {
		s := sum(c.Doubt[k], of)
		variance += s * s
	}
	out.SD = math.Sqrt(variance)
	return out
}

// Cov returns the covariance of the contents of two elements, (weight %)².
func (c Composition) Cov(a, b string) float64 {
	cov := 0.0
	for _, k := range elements(c.Doubt) {
		cov += c.Doubt[k][a] * c.Doubt[k][b]
	}
	return cov
}

// Means returns the contents without their doubt, for Judge and MeltDensity.
func (c Composition) Means() map[string]float64 {
	out := make(map[string]float64, len(c.Mean))
	for e, v := range c.Mean {
		out[e] = v
	}
	return out
}

// variances returns the variance of every element that has a doubt.
func (c Composition) variances() map[string]float64 {
	out := map[string]float64{}
	for _, k := range elements(c.Doubt) {
		for e, s := range c.Doubt[k] {
			out[e] += s * s
		}
	}
	return out
}

// negligible is the part of every element's variance below which an origin is
// dropped when metal is melted, so that a book of any age keeps only the doubts
// that still matter: with half returns those of some twenty heats.
const negligible = 1e-14

// pruned drops the origins that no longer matter to any element.
func (c Composition) pruned() Composition {
	variance := c.variances()
	for k, by := range c.Doubt {
		matters := false
		for e, s := range by {
			matters = matters || s*s > negligible*variance[e]
		}
		if !matters {
			delete(c.Doubt, k)
		}
	}
	return c
}

// Condensed keeps the `keep` origins that matter most and folds the others into
// one origin an element, named after this lot. Every standard deviation stays as
// it is; what the folded doubts share with other elements and other lots is
// forgotten, so use it where a book has grown too long to carry them all.
func (c Composition) Condensed(origin string, keep int) Composition {
	origins := elements(c.Doubt)
	if len(origins) <= keep {
		return c
	}
	variance := c.variances()
	w := make(map[string]float64, len(origins)) // the largest part of any element's variance that the origin explains
	for _, k := range origins {
		for e, s := range c.Doubt[k] {
			w[k] = max(w[k], s*s/variance[e])
		}
	}
	slices.SortStableFunc(origins, func(a, b string) int {
		switch {
		case w[a] > w[b]:
			return -1
		case w[a] < w[b]:
			return 1
		}
		return strings.Compare(a, b)
	})
	out := Composition{Mean: c.Means(), Doubt: map[string]map[string]float64{}}
	folded := map[string]float64{}
	for i, k := range origins {
		if i < keep {
			out.Doubt[k] = c.Doubt[k]
			continue
		}
		for e, s := range c.Doubt[k] {
			folded[e] += s * s
		}
	}
	for _, e := range elements(folded) {
		out.Doubt[origin+"/folded/"+e] = map[string]float64{e: math.Sqrt(folded[e])}
	}
	return out
}

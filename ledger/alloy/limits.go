package alloy

import (
	"fmt"
	"slices"
	"sort"
	"strings"
)

// Pseudo-elements of limit tables.
const (
	CopperAndNamed = "Cu+named"     // least sum of copper and the elements the table names
	OthersEach     = "others_each"  // most of any element the table does not name
	OthersTotal    = "others_total" // most of all of them together
)

// Product is what a limit set is written for.
type Product string

// Products.
const (
	Casting Product = "casting"
	Ingot   Product = "ingot"
)

// OwnEdition is the edition of the limits that a shop asks for itself.
const OwnEdition = "the shop's own"

// Limit is the range of one element, in weight per cent; HasMin and HasMax say
// which bounds are printed.
type Limit struct {
	Element   string
	Min, Max  float64
	HasMin    bool
	HasMax    bool
	Remainder bool     // the base metal, whatever is left
	Plus      []string // counted with Element against both bounds, e.g. Co with Ni
	MayPlus   []string // may be counted with Element against the least, e.g. Ni with Cu
	Source    string
	Verified  Flag
	Note      string // printed footnotes, doubts, other editions
	Carried   string // edition the row was read in, when not read for this one
}

// String shows the limit as a table prints it.
func (l Limit) String() string {
	switch {
	case l.Remainder:
		return l.Element + " remainder"
	case l.HasMin && l.HasMax:
		return fmt.Sprintf("%s %g–%g %%", l.Element, l.Min, l.Max)
	case l.HasMin:
		return fmt.Sprintf("%s at least %g %%", l.Element, l.Min)
	case l.HasMax:
		return fmt.Sprintf("%s at most %g %%", l.Element, l.Max)
	}
	return l.Element
}

// LimitSet is the composition one edition of one document asks of one alloy in
// one product. A heat keeps the ID of the set it was judged by.
type LimitSet struct {
	Alloy   string
	Kind    Product
	Edition string // as quoted, e.g. "ASTM B584-14", or "undated"
	Year    int    // of the edition, 0 when not known
	Current bool   // the set used when nobody names one
	Note    string
	Limits  []Limit
}

// ID names the set: alloy, product and edition.
func (s LimitSet) ID() string { return s.Alloy + "/" + string(s.Kind) + "/" + s.Edition }

// Limit returns the row of an element or pseudo-element.
func (s LimitSet) Limit(element string) (Limit, bool) {
	for _, l := range s.Limits {
		if l.Element == element {
			return l, true
		}
	}
	return Limit{}, false
}

// ProductError refuses to judge one product by the limits of another.
type ProductError struct {
	Set  string // ID of the set
	Asks Product
	Of   Product
}

func (e *ProductError) Error() string {
	return fmt.Sprintf("limits %s are for a %s and cannot judge a %s: their ranges differ", e.Set, e.Asks, e.Of)
}

// NoLimitsError says that no limit set answers the question, and which there are.
type NoLimitsError struct {
	Alloy   string
	Kind    Product
	Edition string
	Have    []string // IDs of the sets of this alloy
}

func (e *NoLimitsError) Error() string {
	what := string(e.Kind)
	if e.Edition != "" {
		what += " (" + e.Edition + ")"
	}
	if len(e.Have) == 0 {
		return fmt.Sprintf("alloy %s has no limits for a %s: add the shop's own", e.Alloy, what)
	}
	return fmt.Sprintf("alloy %s has no limits for a %s; there are %s", e.Alloy, what, strings.Join(e.Have, ", "))
}

// LimitSet returns the set for a product: the named edition, or the current one
// when edition is empty. The error is a *NoLimitsError; casting limits are never
// handed out for an ingot.
func (a Alloy) LimitSet(kind Product, edition string) (LimitSet, error) {
	var have []string
	for _, s := range a.Limits {
		if s.Kind == kind && (edition == s.Edition || edition == "" && s.Current) {
			return s, nil
		}
		have = append(have, s.ID())
	}
	return LimitSet{}, &NoLimitsError{Alloy: a.ID, Kind: kind, Edition: edition, Have: have}
}

// Verdict on one row of a limit set.
type Verdict string

// What a content may be found to be.
const (
	Inside      Verdict = "inside"
	Outside     Verdict = "outside"
	NotMeasured Verdict = "not measured"
)

// Finding is what a composition does to one limit.
type Finding struct {
	Limit   Limit
	Value   float64 // weight per cent, meaningless when not measured
	Verdict Verdict
	Why     string
}

// Judgement of a composition by a limit set. OK means that nothing measured is
// outside; Complete means that every row could be judged. Footnotes lists the
// printed conditions that are not checked here.
type Judgement struct {
	Set       string
	OK        bool
	Complete  bool
	Findings  []Finding
	Footnotes []string
}

// Judge compares measured contents (element → weight per cent) of a product
// with the limits. It returns a *ProductError when the set is for another product.
func (s LimitSet) Judge(of Product, content map[string]float64) (Judgement, error) {
	if of != s.Kind {
		return Judgement{}, &ProductError{Set: s.ID(), Asks: s.Kind, Of: of}
	}
	j := Judgement{Set: s.ID(), OK: true, Complete: true}
	for _, l := range s.Limits {
		f := s.find(l, content)
		j.OK = j.OK && f.Verdict != Outside
		j.Complete = j.Complete && f.Verdict != NotMeasured
		j.Findings = append(j.Findings, f)
		if conditional(l.Note) {
			j.Footnotes = append(j.Footnotes, l.Element+": "+l.Note)
		}
	}
	return j, nil
}

// conditional spots footnotes that change a limit in a way the rows cannot say.
func conditional(note string) bool {
	return strings.Contains(note, "if Fe over") || strings.Contains(note, "shall not exceed") || strings.Contains(note, "continuous castings")
}

func (s LimitSet) find(l Limit, content map[string]float64) Finding {
	f := Finding{Limit: l, Verdict: NotMeasured}
	switch l.Element {
	case CopperAndNamed:
		sum, missing := 0.0, false
		for _, e := range s.named() {
			v, ok := content[e]
			sum += v
			_, row := s.Limit(e) // what is only counted with a row is seldom reported
			missing = missing || !ok && row
		}
		f.Value = sum
		if len(content) > 0 && sum >= l.Min {
			f.Verdict = Inside
		} else if len(content) > 0 && !missing {
			f.Verdict, f.Why = Outside, fmt.Sprintf("copper and the named elements add up to %.4g %%, at least %g %% asked", sum, l.Min)
		}
		return f
	case OthersEach, OthersTotal:
		others := s.others(content)
		if len(others) == 0 {
			return f
		}
		f.Verdict = Inside
		for _, e := range others {
			v := content[e]
			if l.Element == OthersTotal {
				f.Value += v
			} else if v > f.Value {
				f.Value = v
				f.Why = e
			}
		}
		if f.Value > l.Max {
			f.Verdict = Outside
			f.Why = strings.TrimSpace(fmt.Sprintf("%s %.4g %%, at most %g %% of %s allowed", f.Why, f.Value, l.Max, l.Element))
		} else {
			f.Why = ""
		}
		return f
	}
	v, ok := content[l.Element]
	for _, e := range l.Plus {
		v += content[e]
	}
	f.Value = v
	if l.Remainder {
		f.Verdict = Inside
		return f
	}
	if !ok {
		return f
	}
	f.Verdict = Inside
	least := v
	for _, e := range l.MayPlus {
		least += content[e]
	}
	if l.HasMin && least < l.Min {
		f.Verdict, f.Why = Outside, fmt.Sprintf("%s %.4g %%, at least %g %% asked", l.Element, least, l.Min)
	}
	if l.HasMax && v > l.Max {
		f.Verdict, f.Why = Outside, fmt.Sprintf("%s %.4g %%, at most %g %% allowed", l.Element, v, l.Max)
	}
	return f
}

// named lists the elements with a row, and those counted with them.
func (s LimitSet) named() []string {
	var out []string
	for _, l := range s.Limits {
		switch l.Element {
		case CopperAndNamed, OthersEach, OthersTotal:
			continue
		}
		for _, e := range append([]string{l.Element}, l.Plus...) {
			if !slices.Contains(out, e) {
				out = append(out, e)
			}
		}
	}
	return out
}

// others lists the measured elements without a row, in order.
func (s LimitSet) others(content map[string]float64) []string {
	named := s.named()
	var out []string
	for e := range content {
		if !slices.Contains(named, e) {
			out = append(out, e)
		}
	}
	sort.Strings(out)
	return out
}

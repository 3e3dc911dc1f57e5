package alloy

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
)

// ErrNotFound is the cause when no alloy answers to a name.
var ErrNotFound = errors.New("no such alloy")

// AmbiguousError says that several alloys go by the name, and which.
type AmbiguousError struct {
	Name       string
	Candidates []string // designations, in table order
}

func (e *AmbiguousError) Error() string {
	return fmt.Sprintf("%q is the name of %s: say which", e.Name, strings.Join(e.Candidates, ", "))
}

// Table is the alloys a shop works with: the built-in ones and its own. The zero
// Table holds nothing; use Builtin. A Table never changes: With returns a new one.
type Table struct {
	alloys []Alloy
	byID   map[string]int   // folded designation or UNS number → index
	byName map[string][]int // folded name → indexes
}

// Builtin is the table of published alloys that comes with the package, and Unknown.
func Builtin() Table { return printedTable() }

var printedTable = sync.OnceValue(func() Table { return index(append(slices.Clone(load().alloys), Unknown())) })

// With returns the table with a shop's own alloys and names added. An addition
// with the designation of an alloy in the table lends it further names, figures
// and limit sets (a current limit set of a product replaces the former current
// one); it cannot change its family or base metal. Any other addition is a new
// alloy, in the family it names or in none. Errors name the addition and what
// would be right.
func (t Table) With(additions []Alloy) (Table, error) {
	alloys := slices.Clone(t.alloys)
	at := map[string]int{}
	for i, a := range alloys {
		at[fold(a.ID)] = i
	}
	for _, add := range additions {
		if strings.TrimSpace(add.ID) == "" {
			return Table{}, fmt.Errorf("shop alloy without a designation: give it one")
		}
		if fold(add.ID) == UnknownID {
			return Table{}, fmt.Errorf("shop alloy %q: %q stands for metal that nobody has identified, choose another designation", add.ID, UnknownID)
		}
		add, err := checked(add)
		if err != nil {
			return Table{}, err
		}
		i, ok := at[fold(add.ID)]
		if !ok {
			if j, taken := t.byID[fold(add.ID)]; taken {
				return Table{}, fmt.Errorf("shop alloy %q: that is the UNS number of %s", add.ID, t.alloys[j].ID)
			}
			add.Shop = true
			at[fold(add.ID)] = len(alloys)
			alloys = append(alloys, add)
			continue
		}
		known := alloys[i]
		if add.Family != NoFamily && add.Family != known.Family {
			return Table{}, fmt.Errorf("shop alloy %q: its family is %s and cannot become %s, add it under another designation", add.ID, known.Family, add.Family)
		}
		alloys[i] = merged(known, add)
	}
	return index(alloys), nil
}

// checked fills in what a shop may leave out and refuses what cannot be.
func checked(a Alloy) (Alloy, error) {
	if a.Family == "" {
		a.Family = NoFamily
	}
	if a.Kind == "" {
		a.Kind = OtherKind
	}
	a.Figures, a.Limits = slices.Clone(a.Figures), slices.Clone(a.Limits)
	for i := range a.Figures {
		a.Figures[i].Verified = Shop
		if f := a.Figures[i]; f.Value <= 0 && f.Property != LiquidDensitySlope {
			return a, fmt.Errorf("shop alloy %q: %s %g is not above zero", a.ID, f.Property, f.Value)
		}
	}
	for i := range a.Limits {
		s := &a.Limits[i]
		s.Alloy = a.ID
		if s.Kind != Casting && s.Kind != Ingot {
			return a, fmt.Errorf("shop alloy %q: limits for %q: they are for a %s or an %s", a.ID, s.Kind, Casting, Ingot)
		}
		s.Limits = slices.Clone(s.Limits)
		for k := range s.Limits {
			l := &s.Limits[k]
			l.Verified = Shop
			if l.HasMin && (l.Min < 0 || l.Min > 100) || l.HasMax && (l.Max < 0 || l.Max > 100) || l.HasMin && l.HasMax && l.Min > l.Max {
				return a, fmt.Errorf("shop alloy %q: limit %s: bounds lie between 0 and 100 %%, the least first", a.ID, l)
			}
		}
	}
	return a, nil
}

func merged(known, add Alloy) Alloy {
	known.Names = append(slices.Clone(known.Names), add.Names...)
	known.Figures = append(slices.Clone(known.Figures), add.Figures...)
	limits := slices.Clone(known.Limits)
	for _, s := range add.Limits {
		if s.Current {
			for i := range limits {
				limits[i].Current = limits[i].Current && limits[i].Kind != s.Kind
			}
		}
		limits = slices.DeleteFunc(limits, func(o LimitSet) bool { return o.Kind == s.Kind && o.Edition == s.Edition })
		limits = append(limits, s)
	}
	known.Limits = limits
	return known
}

func index(alloys []Alloy) Table {
	t := Table{alloys: alloys, byID: map[string]int{}, byName: map[string][]int{}}
	for i, a := range alloys {
		t.byID[fold(a.ID)] = i
	}
	for i, a := range alloys {
		if a.UNS != "" {
			if _, taken := t.byID[fold(a.UNS)]; !taken {
				t.byID[fold(a.UNS)] = i
			}
		}
		for _, n := range a.Names {
			k := fold(n)
			if !slices.Contains(t.byName[k], i) {
				t.byName[k] = append(t.byName[k], i)
			}
		}
	}
	return t
}

// Alloys lists the table in order: built-in, Unknown, then the shop's own.
func (t Table) Alloys() []Alloy { return slices.Clone(t.alloys) }

// Find returns the alloy that answers to a designation, a UNS number or any
// name, whatever the case and spacing. A designation wins over a name. The error
// is an *AmbiguousError, or wraps ErrNotFound.
func (t Table) Find(name string) (Alloy, error) {
	k := fold(name)
	if i, ok := t.byID[k]; ok {
		return t.alloys[i], nil
	}
	hits := t.byName[k]
	switch len(hits) {
	case 1:
		return t.alloys[hits[0]], nil
	case 0:
		return Alloy{}, fmt.Errorf("alloy %q: %w; give a designation, a UNS number or a name of the table, or %q", name, ErrNotFound, UnknownID)
	}
	e := &AmbiguousError{Name: name}
	for _, i := range hits {
		e.Candidates = append(e.Candidates, t.alloys[i].ID)
	}
	return Alloy{}, e
}

// Families lists the families of the table's alloys, in its order.
func (t Table) Families() (out []Family) {
	for _, a := range t.alloys {
		if a.Family != NoFamily && !slices.Contains(out, a.Family) {
			out = append(out, a.Family)
		}
	}
	return out
}

// Family finds a family by its name, whatever the case and spacing.
func (t Table) Family(name string) (Family, bool) {
	all := t.Families()
	i := slices.IndexFunc(all, func(f Family) bool { return fold(string(f)) == fold(name) })
	if i < 0 {
		return NoFamily, false
	}
	return all[i], true
}

var spellings = strings.NewReplacer("‐", "-", "–", "-", "aluminum", "aluminium")

// fold makes names comparable: lower case, single spaces, one kind of hyphen,
// one spelling of aluminium.
func fold(s string) string {
	s = strings.Join(strings.Fields(strings.ToLower(s)), " ")
	return spellings.Replace(s)
}

// Materials lists pure metals, waxes and investments of the built-in figures.
func Materials() []Material { return slices.Clone(load().materials) }

// FindMaterial returns a material by its name, e.g. "Cu" or "casting wax".
func FindMaterial(name string) (Material, bool) {
	for _, m := range load().materials {
		if fold(m.Name) == fold(name) {
			return m, true
		}
	}
	return Material{}, false
}

package charge

import (
	"fmt"
	"slices"
	"strings"
)

// Aim is what is made as good as possible first; the other one decides among
// charges that are as good as each other.
type Aim int

// Aims.
const (
	LeastCost Aim = iota
	MostReturns
)

// Heat is what one charge has to do. Zero fields ask for nothing unless their
// comment says otherwise.
type Heat struct {
	ID       string
	Families []string // families of lots that may go in; empty: all. The shop's rules are data

	Molds       []Mold
	Filling     Filling // what molds take beside what was planned; the zero value: exactly that
	ChanceShort float64 // of the molds taking more than there is, 0 < chance ≤ 0.5
	PourOff     int64   // mg wanted left over on the average
	Loss        Loss    // part of the charge that is lost; nil: nothing

	Heel        int64 // mg of metal already in the crucible
	HeelContent map[string]float64
	HeelOthers  float64
	Skull       int64 // mg that stays in the crucible after pouring

	Crucible  Crucible
	Lift      int64    // mg: the most that may be lifted, crucible and metal; 0: no limit
	MaxCharge int64    // mg; 0: no limit
	Waiting   *float64 // mL of room for loose metal that waits preheated; nil: no limit

	Windows  []Window
	Kept     map[string]float64 // part of an element that stays in the melt; unnamed: as the metal does
	Pickup   map[string]float64 // weight % that the melt picks up (iron from tools)
	Deoxide  Deoxidiser
	Returns  Share
	Must     map[string]int64 // lot → mg of it that have to go in
	PigMold  int64            // mg that one pig mold holds; 0: pig molds are not reckoned
	PigMolds int              // dry pig molds at hand; 0: as many as needed

	Pouring Pouring
	Aim     Aim
}

// Crucible is the vessel. Volume 0 means that its fill is not reckoned.
type Crucible struct {
	Volume  float64 // mL to the brim
	Fill    float64 // part of it that may be filled, 0 < Fill ≤ 1
	Density float64 // g/mL of the melt
	Mass    int64   // mg, empty
}

// holds is the melt that may be in it, in mg.
func (v *Crucible) holds() float64 { return v.Volume * v.Fill * v.Density * 1000 }

func (v *Crucible) check(c *checks, at string) {
	c.mass(v.Mass, at+".Mass")
	if v.Volume != 0 {
		c.need(v.Volume > 0 && v.Volume <= 1e9, at+".Volume", v.Volume, "mL above 0, at most 1e9")
		c.need(v.Fill > 0 && v.Fill <= 1, at+".Fill", v.Fill, "a part of the volume above 0, at most 1")
		c.need(v.Density > 0 && v.Density < 30, at+".Density", v.Density, "g/mL of the melt, above 0 and below 30")
	}
}

// Window is what the metal poured may contain of an element, or of several
// together, in weight %.
type Window struct {
	Name     string   // empty: the elements
	Elements []string // counted together
	Min, Max *float64 // nil: none
	Margin   float64  // kept from both limits, for the doubt about contents
}

func (w *Window) name() string {
	if w.Name != "" {
		return w.Name
	}
	return strings.Join(w.Elements, "+")
}

// Share bounds the returns as a part of the charge, the heel left out; nil: none.
type Share struct{ Min, Max *float64 }

// Deoxidiser is given by mass of melt and leaves some of itself in it.
type Deoxidiser struct {
	Name    string
	PerKg   float64            // g of it per kg of melt
	Content map[string]float64 // weight %
	Kept    float64            // part of its content that stays in the melt
}

func (h *Heat) takes(family string) bool {
	return len(h.Families) == 0 || slices.Contains(h.Families, family)
}

func (h *Heat) check(c *checks, at string, lots []Lot) {
	c.need(h.ChanceShort > 0 && h.ChanceShort <= 0.5, at+".ChanceShort", h.ChanceShort, "a chance above 0 and at most 0.5")
	c.need(len(h.Molds) > 0 || h.PourOff > 0 || h.MaxCharge > 0, at+".Molds", "empty", "molds, a pour-off or a largest charge")
	for i := range h.Molds {
		h.Molds[i].check(c, fmt.Sprintf("%s.Molds[%d]", at, i))
	}
	h.Filling.check(c, at+".Filling")
	for _, f := range []struct {
		name string
		v    int64
	}{{"PourOff", h.PourOff}, {"Heel", h.Heel}, {"Skull", h.Skull}, {"Lift", h.Lift},
		{"MaxCharge", h.MaxCharge}, {"PigMold", h.PigMold}} {
		c.mass(f.v, at+"."+f.name)
	}
	checkContent(c, h.HeelContent, h.HeelOthers, at+".Heel")
	h.Crucible.check(c, at+".Crucible")
	if h.Waiting != nil {
		c.need(*h.Waiting >= 0 && *h.Waiting <= 1e9, at+".Waiting", *h.Waiting, "mL between 0 and 1e9")
	}
	for i := range h.Windows {
		w, at := &h.Windows[i], fmt.Sprintf("%s.Windows[%d]", at, i)
		c.need(len(w.Elements) > 0, at+".Elements", "empty", "at least one element")
		c.need(w.Margin >= 0 && w.Margin <= 50, at+".Margin", w.Margin, "weight % that is not negative")
		for _, v := range []*float64{w.Min, w.Max} {
			if v != nil {
				c.need(*v >= 0 && *v <= 100, at, *v, "weight % between 0 and 100")
			}
		}
	}
	for _, e := range elements(h.Kept) {
		c.part(h.Kept[e], at+".Kept["+e+"]")
	}
	for _, e := range elements(h.Pickup) {
		c.need(h.Pickup[e] >= 0 && h.Pickup[e] <= 100, at+".Pickup["+e+"]", h.Pickup[e], "weight % between 0 and 100")
	}
	c.need(h.Deoxide.PerKg >= 0 && h.Deoxide.PerKg <= 1000, at+".Deoxide.PerKg", h.Deoxide.PerKg, "g per kg of melt")
	c.part(h.Deoxide.Kept, at+".Deoxide.Kept")
	checkContent(c, h.Deoxide.Content, 0, at+".Deoxide")
	for _, v := range []*float64{h.Returns.Min, h.Returns.Max} {
		if v != nil {
			c.part(*v, at+".Returns")
		}
	}
	c.need(h.PigMolds >= 0, at+".PigMolds", h.PigMolds, "a number that is not negative")
	c.need(h.Aim == LeastCost || h.Aim == MostReturns, at+".Aim", int(h.Aim), "LeastCost or MostReturns")
	for _, id := range elements(h.Must) {
		c.mass(h.Must[id], at+".Must["+id+"]")
		c.need(slices.ContainsFunc(lots, func(l Lot) bool { return l.ID == id }), at+".Must", id, "the ID of a lot")
	}
	h.Pouring.check(c, at+".Pouring")
}

// pickup is what the melt gains of an element, in weight %, tools and deoxidiser together.
func (h *Heat) pickup(e string) float64 {
	return h.Pickup[e] + h.Deoxide.PerKg/1000*h.Deoxide.Content[e]*h.Deoxide.Kept
}

// elements lists the keys of a map in order, so that nothing depends on map order.
func elements[V any](m map[string]V) []string {
	out := make([]string, 0, len(m))
	for e := range m {
		out = append(out, e)
	}
	slices.Sort(out)
	return out
}

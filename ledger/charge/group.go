package charge

import (
	"fmt"
	"math"
	"math/bits"
	"slices"
)

// Vessel is a crucible, or a furnace with its own, that heats can be made in.
type Vessel struct {
	ID       string
	Crucible Crucible
	Lift     int64    // mg with the metal; 0: no limit
	Skull    int64    // mg that stays in it
	Alloys   []string // that may be melted in it; empty: all
	Cost     int64    // of one heat in it whatever its size, in a small unit of money
}

// Grouping asks how to make heats of a list of molds.
type Grouping struct {
	Molds       []Mold
	Vessels     []Vessel
	ChanceShort float64
	PourOff     int64 // mg wanted left over of each heat on the average
	Filling     Filling
	Loss        Loss
	Pouring     Pouring
	PerKg       int64 // cost of melting a kg once: loss, fuel
}

// Grouped is the cheapest way found. Bound is a proven lower bound of Cost; with
// Proven they are equal.
type Grouped struct {
	Heats  []Group
	Cost   int64
	Bound  int64
	Proven bool
}

// Group is one heat: one alloy, one vessel, molds whose temperatures can be had
// in one pour.
type Group struct {
	Alloy, Vessel string
	Molds         []int   // indices into Grouping.Molds, in order of pouring
	Charge        float64 // mg: least that runs short with the chance set, at most
	TapC          float64
	Cost          int64
}

// Ungroupable is the error of a mold that no heat can be made for.
type Ungroupable struct {
	Mold string
	Why  string
}

func (e *Ungroupable) Error() string { return "charge: mold " + e.Mold + ": " + e.Why }

// exactGroup is the number of molds of one alloy up to which all ways of grouping
// them are considered; with more, a first grouping is improved step by step.
const exactGroup = 12

// Arrange groups molds into heats at the least cost, the number of heats deciding
// between equal costs. It is exact for up to 12 molds of an alloy. The errors are
// a *FieldError and an *Ungroupable.
func Arrange(g Grouping) (*Grouped, error) {
	if err := g.check(); err != nil {
		return nil, err
	}
	byAlloy := map[string][]int{}
	for i, m := range g.Molds {
		byAlloy[m.Alloy] = append(byAlloy[m.Alloy], i)
	}
	out := &Grouped{Proven: true}
	size := sizer(g.Filling, g.Loss)
	for _, alloy := range elements(byAlloy) {
		a := &arranger{g: &g, alloy: alloy, size: size, known: map[string]*Group{}}
		for v := range g.Vessels {
			if al := g.Vessels[v].Alloys; len(al) == 0 || slices.Contains(al, alloy) {
				a.vessels = append(a.vessels, v)
			}
		}
		groups, bound, err := a.all(byAlloy[alloy])
		if err != nil {
			return nil, err
		}
		cost := int64(0)
		for _, gr := range groups {
			cost += gr.Cost
			out.Heats = append(out.Heats, gr)
		}
		out.Cost += cost
		out.Bound += bound
		out.Proven = out.Proven && bound == cost
	}
	return out, nil
}

func (g *Grouping) check() error {
	var c checks
	c.need(g.ChanceShort > 0 && g.ChanceShort <= 0.5, "ChanceShort", g.ChanceShort, "a chance above 0 and at most 0.5")
	c.need(len(g.Vessels) > 0, "Vessels", "empty", "at least one")
	for i := range g.Molds {
		g.Molds[i].check(&c, fmt.Sprintf("Molds[%d]", i))
	}
	for i := range g.Vessels {
		v, at := &g.Vessels[i], fmt.Sprintf("Vessels[%d]", i)
		v.Crucible.check(&c, at+".Crucible")
		c.mass(v.Lift, at+".Lift")
		c.mass(v.Skull, at+".Skull")
		c.need(v.Cost >= 0 && v.Cost < 1e12, at+".Cost", v.Cost, "money that is not negative")
	}
	c.mass(g.PourOff, "PourOff")
	c.need(g.PerKg >= 0 && g.PerKg < 1e9, "PerKg", g.PerKg, "money that is not negative")
	g.Filling.check(&c, "Filling")
	g.Pouring.check(&c, "Pouring")
	return c.err
}

// arranger groups the molds of one alloy.
type arranger struct {
	g       *Grouping
	alloy   string
	vessels []int
	size    func([]Mold) *sizing
	known   map[string]*Group // heats reckoned already, by their molds
}

func (a *arranger) all(molds []int) ([]Group, int64, error) {
	for _, i := range molds {
		if a.heat([]int{i}) == nil {
			return nil, 0, &Ungroupable{a.g.Molds[i].ID, a.why(i)}
		}
	}
	if len(molds) <= exactGroup {
		groups := a.exact(molds)
		cost := int64(0)
		for _, gr := range groups {
			cost += gr.Cost
		}
		return groups, cost, nil
	}
	return a.improved(molds), a.bound(molds), nil
}

func (a *arranger) pick(molds []int) []Mold {
	out := make([]Mold, len(molds))
	for k, i := range molds {
		out[k] = a.g.Molds[i]
	}
	return out
}

// limit is the largest charge that a vessel takes, in mg.
func (v *Vessel) limit() float64 {
	most := math.Inf(1)
	if v.Crucible.Volume > 0 {
		most = v.Crucible.holds()
	}
	if v.Lift > 0 {
		most = math.Min(most, float64(v.Lift-v.Crucible.Mass))
	}
	return most
}

// charge is the least charge for molds in a vessel, +Inf when it does not fit.
func (a *arranger) charge(s *sizing, v *Vessel) float64 {
	rest, pourOff := -float64(v.Skull), float64(a.g.PourOff)
	if s.middleCharge(rest, pourOff) > v.limit() {
		return math.Inf(1) // more than half of all heats would be too small: no need to size it
	}
	if c := s.charge(a.g.ChanceShort, rest, pourOff); c <= v.limit() {
		return c
	}
	return math.Inf(1)
}

// heat is the cheapest heat for molds, nil when there is none.
func (a *arranger) heat(molds []int) *Group {
	sorted := slices.Sorted(slices.Values(molds))
	key := fmt.Sprint(sorted)
	h, ok := a.known[key]
	if !ok {
		h = a.reckon(sorted)
		a.known[key] = h
	}
	return h
}

func (a *arranger) reckon(molds []int) *Group {
	list := a.pick(molds)
	pour, order := planPour(list, a.g.Pouring)
	if !pour.Fits() {
		return nil
	}
	s := a.size(list)
	var best *Group
	for _, k := range a.vessels {
		v := &a.g.Vessels[k]
		c := a.charge(s, v)
		if math.IsInf(c, 1) {
			continue
		}
		cost := v.Cost + int64(math.Ceil(float64(a.g.PerKg)*c/1e6))
		if best == nil || cost < best.Cost {
			best = &Group{Alloy: a.alloy, Vessel: v.ID, Charge: c, Cost: cost}
		}
	}
	if best != nil {
		best.TapC = pour.TapC
		for _, k := range order {
			best.Molds = append(best.Molds, molds[k])
		}
	}
	return best
}

func (a *arranger) why(i int) string {
	m := a.g.Molds[i]
	if p, _ := planPour([]Mold{m}, a.g.Pouring); !p.Fits() {
		return fmt.Sprintf("its %g to %g °C cannot be had from a melt that cools %g °C a minute", m.MinC, m.MaxC, a.g.Pouring.CoolPerMinute)
	}
	if len(a.vessels) == 0 {
		return "no vessel may melt " + a.alloy
	}
	most := 0.0
	for _, v := range a.vessels {
		most = math.Max(most, a.g.Vessels[v].limit())
	}
	return fmt.Sprintf("the %.4g kg it takes on the average and the margin need more than the %.4g kg that the largest vessel may hold", m.Metal.Mean/1e6, most/1e6)
}

// exact considers every way of grouping: the cheapest for each set of molds from
// the cheapest for what one heat leaves of it. A heat that is too large stays so
// with a mold more, which saves most of the sizing.
func (a *arranger) exact(molds []int) []Group {
	n := len(molds)
	all := 1<<n - 1
	single := make([]*Group, all+1)
	tooMuch := make([]bool, all+1)
	for set := 1; set <= all; set++ {
		for rest := set; rest != 0; rest &= rest - 1 {
			if less := set &^ (rest & -rest); tooMuch[less] {
				tooMuch[set] = true
				break
			}
		}
		if tooMuch[set] {
			continue
		}
		single[set] = a.heat(members(molds, set))
		tooMuch[set] = single[set] == nil
	}
	type state struct {
		cost  int64
		heats int
		last  int
	}
	best := make([]state, all+1)
	for set := 1; set <= all; set++ {
		best[set].cost = math.MaxInt64
		low := set & -set
		for sub := set; sub != 0; sub = (sub - 1) & set {
			if sub&low == 0 || single[sub] == nil || best[set^sub].cost == math.MaxInt64 {
				continue
			}
			s := state{best[set^sub].cost + single[sub].Cost, best[set^sub].heats + 1, sub}
			if b := &best[set]; s.cost < b.cost || s.cost == b.cost && s.heats < b.heats {
				*b = s
			}
		}
	}
	var out []Group
	for set := all; set != 0; set ^= best[set].last {
		out = append(out, *single[best[set].last])
	}
	return out
}

func members(molds []int, set int) []int {
	out := make([]int, 0, bits.OnesCount(uint(set)))
	for k := range molds {
		if set>>k&1 == 1 {
			out = append(out, molds[k])
		}
	}
	return out
}

// bound is what the heats cost at least: as many as the largest vessel makes
// necessary at the least fixed cost, and the metal of all molds melted once.
func (a *arranger) bound(molds []int) int64 {
	s := a.size(a.pick(molds))
	most, fixed := 0.0, int64(math.MaxInt64)
	skull := math.Inf(1)
	for _, k := range a.vessels {
		v := &a.g.Vessels[k]
		most = math.Max(most, v.limit())
		fixed = min(fixed, v.Cost)
		skull = math.Min(skull, float64(v.Skull))
	}
	melt := s.mean / (1 - s.lossy)
	n := math.Max(1, math.Ceil(melt/most-1e-9))
	melt += n * (skull + float64(a.g.PourOff)) / (1 - s.lossy)
	return int64(n)*fixed + int64(float64(a.g.PerKg)*melt/1e6)
}

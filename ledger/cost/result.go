package cost

import (
	"cmp"
	"maps"
	"slices"
)

// Line is a named amount.
type Line struct {
	Name string
	Cost int64
}

// Heat is what a heat cost and who bears it. Metal + Conversion = Credits + Castings +
// Abnormal + InProcess.
type Heat struct {
	ID          string
	Provisional bool
	Metal       int64
	Conversion  []Line
	Credits     []Line // taken over by returns, skimmings, a heel
	Castings    []CastingCost
	Abnormal    int64 // of loss beyond the normal; below zero a gain
	InProcess   int64 // in the crucible and in molds
	Charged     int64 // mass
	Free        int64 // of Charged, came without a price and counts as free
	Theirs      int64 // of Charged, customers' own metal
	Lost        int64
	Normal      int64 // loss that is normal
}

// CastingCost is what a casting takes of its heat.
type CastingCost struct {
	ID     string
	Mass   int64 // as it came from the heat
	Free   int64 // of Mass, of metal without a price
	Cost   int64
	Credit int64  // taken over by what it was broken up into
	Gone   string // how it left
}

// Sum is the sum of lines.
func Sum(lines []Line) (sum int64) {
	for _, l := range lines {
		sum += l.Cost
	}
	return sum
}

func lines(m map[string]int64) (out []Line) {
	for _, name := range slices.Sorted(maps.Keys(m)) {
		if m[name] != 0 {
			out = append(out, Line{name, m[name]})
		}
	}
	return out
}

// Heats are all heats that cost something, by id.
func (f *Flow) Heats() (out []Heat) {
	for _, id := range slices.Sorted(maps.Keys(f.heats)) {
		out = append(out, f.Heat(id))
	}
	return out
}

// Heat is the statement of one heat.
func (f *Flow) Heat(id string) Heat {
	h := f.heats[id]
	if h == nil {
		return Heat{ID: id}
	}
	out := Heat{ID: id, Provisional: !h.settled, Metal: h.metal.Cost, Conversion: lines(h.conversion), Credits: lines(h.credit),
		Charged: h.charged, Free: h.metal.Free, Theirs: h.theirs, Lost: h.lost}
	out.Normal = h.normal
	if !h.settled {
		out.Normal = Part(h.policy.Normal[h.pool], h.charged, Million)
	}
	rest := out.Metal + Sum(out.Conversion) - Sum(out.Credits)
	ids := slices.SortedFunc(maps.Keys(h.castings), cmp.Compare[string])
	masses, good := make([]int64, len(ids)), int64(0)
	for i, c := range ids {
		masses[i] = max(h.castings[c], 0)
		good += masses[i]
	}
	borne := int64(0)
	if h.settled {
		o := Process{Cost: rest, Input: good + h.lost, Normal: out.Normal, Output: good}.Settle()
		borne, out.Abnormal = o.Good, o.Abnormal
	} else {
		borne = h.provisional(&out, rest, good)
		out.InProcess = rest - borne
	}
	if len(ids) == 0 {
		out.Abnormal += borne // nothing bears it
		borne = 0
	}
	for i, cost := range Share(borne, masses) {
		c := f.castings[ids[i]]
		out.Castings = append(out.Castings, CastingCost{ID: ids[i], Mass: masses[i], Free: Part(h.metal.Free, masses[i], h.charged), Cost: cost, Credit: c.credit, Gone: c.gone})
	}
	return out
}

// provisional is what the castings weighed so far bear while metal is in molds: that
// is taken for castings and gating as planned, the gating at the cost of its metal.
func (h *heat) provisional(out *Heat, rest, good int64) int64 {
	waiting := max(h.in-h.out-max(out.Normal-h.lost, 0), 0)
	planned := h.plan.Casting + h.plan.Gating
	coming := waiting // castings to come
	if planned > 0 {
		coming = Part(waiting, h.plan.Casting, planned)
	}
	expected := h.returns(waiting - coming).Cost // of the gating to come
	finished, _, _ := Stage{Finished: good, InProcess: coming, Elements: []Element{{Cost: rest - expected, Done: Million}}}.Value()
	if good == 0 {
		return 0
	}
	return finished
}

// Casting is what a casting takes of its heat, and the heat; false when the casting
// has taken no metal.
func (f *Flow) Casting(id string) (CastingCost, Heat, bool) {
	c := f.castings[id]
	if c == nil {
		return CastingCost{ID: id}, Heat{}, false
	}
	h := f.Heat(c.heat)
	for _, one := range h.Castings {
		if one.ID == id {
			return one, h, true
		}
	}
	return CastingCost{ID: id}, h, false
}

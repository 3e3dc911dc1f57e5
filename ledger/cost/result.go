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
	Lost        int64
	Normal      int64 // loss that is normal
}

// CastingCost is what a casting takes of its heat.
type CastingCost struct {
	ID     string
	Mass   int64 // as it came from the heat
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
	out := Heat{ID: id, Provisional: !h.settled, Metal: h.metal, Conversion: lines(h.conversion), Credits: lines(h.credit), Charged: h.charged, Lost: h.lost}
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
		out.Castings = append(out.Castings, CastingCost{ID: ids[i], Mass: masses[i], Cost: cost, Credit: c.credit, Gone: c.gone})
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
	expected := Part(h.metal, waiting-coming, h.charged) // of the gating to come
	if r, ok := h.policy.Recovered[h.pool]; ok {
		expected = r.Of(waiting - coming)
	}
	finished, _, _ := Stage{Finished: good, InProcess: coming, Elements: []Element{{Cost: rest - expected, Done: Million}}}.Value()
	if good == 0 {
		return 0
	}
	return finished
}

// LotCost is what a lot has cost: its own, or its share by mass of its pool.
func (f *Flow) LotCost(id string) int64 {
	l := f.lots[id]
	if l == nil {
		return 0
	}
	p := f.pools[f.key(id)]
	if p == nil {
		return 0
	}
	if p.mass == l.mass {
		return p.cost
	}
	return Part(p.cost, l.mass, p.mass)
}

// Position is the stock of a pool.
type Position struct {
	Pool string
	Mass int64
	Cost int64
}

// Stock is what is on the shelves by pool, lots that have a cost of their own under
// the pool they are alike with. Metal of customers is left out.
func (f *Flow) Stock() (out []Position) {
	sums := map[string]*Position{}
	at := func(pool string) *Position {
		if sums[pool] == nil {
			sums[pool] = &Position{Pool: pool}
		}
		return sums[pool]
	}
	for _, l := range f.lots {
		if l.pool != "" {
			at(l.pool).Mass += l.mass
		}
	}
	for key, p := range f.pools {
		if id, own := cutLot(key); own {
			if l := f.lots[id]; l.pool != "" || p.cost != 0 {
				at(l.pool).Cost += p.cost
			}
		} else {
			at(key).Cost += p.cost
		}
	}
	for _, key := range slices.Sorted(maps.Keys(sums)) {
		if s := sums[key]; s.Mass != 0 || s.Cost != 0 {
			out = append(out, *s)
		}
	}
	return out
}

func cutLot(key string) (id string, ok bool) {
	const prefix = "lot "
	if len(key) > len(prefix) && key[:len(prefix)] == prefix {
		return key[len(prefix):], true
	}
	return "", false
}

// Supplies is the cost of supplies on the shelf.
func (f *Flow) Supplies() (out []Position) {
	for _, key := range slices.Sorted(maps.Keys(f.supplies)) {
		if p := f.supplies[key]; p.mass != 0 || p.cost != 0 {
			out = append(out, Position{key, p.mass, p.cost})
		}
	}
	return out
}

// Where is all the money: its parts sum to In.
type Where struct {
	In        int64
	Stock     int64
	Supplies  int64
	InProcess int64
	Castings  int64 // here
	Shipped   int64 // castings that left as what they are
	Left      int64 // lots that left
	Abnormal  int64 // loss beyond the normal, and castings broken up less what they gave
	Expensed  int64
}

// Where says where the money is.
func (f *Flow) Where() Where {
	w := Where{In: f.In}
	for _, p := range f.Stock() {
		w.Stock += p.Cost
	}
	for _, p := range f.Supplies() {
		w.Supplies += p.Cost
	}
	for _, h := range f.Heats() {
		w.InProcess += h.InProcess
		w.Abnormal += h.Abnormal
		for _, c := range h.Castings {
			switch c.Gone {
			case "":
				w.Castings += c.Cost - c.Credit
			case "broken up":
				w.Abnormal += c.Cost - c.Credit
			default:
				w.Shipped += c.Cost - c.Credit
			}
		}
	}
	for _, c := range f.Gone {
		w.Left += c
	}
	for _, c := range f.Expensed {
		w.Expensed += c
	}
	return w
}

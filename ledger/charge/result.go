package charge

import (
	"math"
	"math/big"
	"slices"
)

// Plan is a charge that satisfies every demand of its heat.
type Plan struct {
	Heat  string
	Takes []Take // in the order in which they are fed
	Left  []LeftOut

	Charge      int64    // mg that go in, the heel left out
	Melt        float64  // mg in the crucible before pouring, heel and all, on the average
	Need        Estimate // mg that the molds take
	PourOff     float64  // mg left over on the average
	ChanceShort float64  // that the molds take more than there is

	Cost     int64   // small units of money, rounded to the nearest
	Returns  float64 // part of the charge
	Fill     float64 // part of the crucible's volume to the brim; 0 not known
	Lift     int64   // mg of crucible and metal
	Waiting  float64 // mL of loose metal that does not fit into the crucible at first
	PigMolds int     // dry ones to have ready, for the pour-off and one failed mold; 0 not reckoned
	Deoxide  float64 // mg of deoxidiser
	Contents []Content
	Pour     *PourPlan
	Proof    *Proof
}

// Take is one piece, or some loose metal of one lot, that goes in.
type Take struct {
	Lot      string
	Piece    string // ID of the piece, when it has one
	Loose    bool
	Handfuls int64 // of loose metal taken by the handful
	Mass     int64 // mg
	When     Feed
}

// Feed says when something goes in. Common practice, no source: loose metal makes
// a bed in the cold crucible; pieces are preheated and put on it loosely, never
// wedged, because they grow; loose metal that found no room follows as the charge
// sinks; what burns or boils off goes in last, under the surface.
type Feed int

// Feeds.
const (
	Bed Feed = iota
	OnTop
	AsItSinks
	AtTheEnd
)

var feedNames = [...]string{"bed", "on top", "as it sinks", "at the end"}

func (f Feed) String() string { return feedNames[f] }

// Content is what the melt is expected to hold of a window's elements.
type Content struct {
	Window  Window
	Percent float64 // weight %; unnamed elements of lots counted as nothing
	Most    float64 // with them counted as their lots' Others
	Binding bool    // within 1e-6 of a limit less its margin: it shapes the charge
}

func (m *model) plan(k int, x []*big.Rat, proof *Proof) *Plan {
	p := m.parts[k]
	h := p.h
	out := &Plan{Heat: h.ID, Left: p.left, Proof: proof, Need: p.size.need()}
	cost := new(big.Rat)
	returns := int64(0)
	free := h.emptyVolume()
	for _, j := range m.feeding(p) {
		c := &m.cols[j]
		l := &m.lots[c.lot]
		exact, _ := m.taken(j, x).Float64()
		mass := int64(math.Round(exact)) // loose metal by any mass is told to the milligram
		if mass == 0 {
			continue
		}
		cost.Add(cost, new(big.Rat).Mul(m.taken(j, x), l.cost()))
		out.Charge += mass
		if l.Return {
			returns += mass
		}
		out.Takes = append(out.Takes, m.take(k, j, x, mass, &free, &out.Waiting)...)
	}
	slices.SortStableFunc(out.Takes, func(a, b Take) int { return int(a.When) - int(b.When) })
	out.Cost = nearest(cost)
	if out.Charge > 0 {
		out.Returns = float64(returns) / float64(out.Charge)
	}
	charge, metal := m.metal(p, x)
	out.Melt = metal + float64(h.Skull)
	out.PourOff = metal - p.size.mean
	if len(h.Molds) > 0 {
		out.ChanceShort, _ = p.size.short(metal, charge)
	}
	out.Lift = h.Crucible.Mass + h.Heel + out.Charge
	if v := h.Crucible; v.Volume > 0 {
		out.Fill = float64(h.Heel+out.Charge) / 1000 / v.Density / v.Volume
	}
	if h.PigMold > 0 {
		out.PigMolds = int(math.Ceil((math.Max(0, out.PourOff) + float64(largest(h.Molds))) / float64(h.PigMold)))
	}
	out.Deoxide = h.Deoxide.PerKg / 1000 * out.Melt
	for i := range h.Windows {
		out.Contents = append(out.Contents, m.content(p, &h.Windows[i], x))
	}
	out.Pour, _ = planPour(h.Molds, h.Pouring)
	return out
}

// feeding orders the columns of a heat: loose metal before pieces, small pieces
// before large ones.
func (m *model) feeding(p *part) []int {
	order := make([]int, p.n)
	for i := range order {
		order[i] = p.base + i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := &m.cols[a], &m.cols[b]
		if x.loose != y.loose {
			if x.loose {
				return -1
			}
			return 1
		}
		if x.loose {
			return 0
		}
		return int(min(1, max(-1, x.mass-y.mass)))
	})
	return order
}

// take turns a column into what is ticked off beside the furnace. free is the room
// still in the crucible, waiting the bulk that has to wait outside, both mL.
func (m *model) take(k, j int, x []*big.Rat, mass int64, free, waiting *float64) []Take {
	c := &m.cols[j]
	l := &m.lots[c.lot]
	n, _ := x[j].Float64()
	if c.loose {
		t := Take{Lot: l.ID, Loose: true, Mass: mass, When: Bed}
		if c.mass > 0 {
			t.Handfuls = int64(n)
		}
		if l.Last {
			t.When = AtTheEnd
		} else if l.Bulk > 0 {
			room := float64(mass) / 1000 / l.Bulk
			if room > *free && (m.heats[k].Crucible.Volume > 0 || m.heats[k].Waiting != nil) {
				*waiting += room - *free
				if *free <= 0 {
					t.When = AsItSinks
				}
				*free = 0
			} else {
				*free -= room
			}
		}
		return []Take{t}
	}
	// Heats before this one took the first pieces of the same mass.
	from := int64(0)
	for i := range m.cols[:j] {
		if o := &m.cols[i]; o.heat < k && o.lot == c.lot && !o.loose && o.mass == c.mass {
			f, _ := x[i].Float64()
			from += int64(f)
		}
	}
	var out []Take
	for i := range int64(n) {
		t := Take{Lot: l.ID, Piece: l.Pieces[c.pieces[from+i]].ID, Mass: c.mass, When: OnTop}
		if l.Last {
			t.When = AtTheEnd
		}
		out = append(out, t)
	}
	return out
}

// content computes a window's content from the plan, not from the programme's rows.
func (m *model) content(p *part, w *Window, x []*big.Rat) Content {
	h := p.h
	least, most, net := 0.0, 0.0, float64(h.Heel)
	add := func(mass float64, content map[string]float64, others float64, keep func(e string) float64) {
		for _, e := range w.Elements {
			v, ok := content[e]
			if ok {
				least += mass * v * keep(e)
			} else {
				v = others
			}
			most += mass * v * keep(e)
		}
	}
	add(float64(h.Heel), h.HeelContent, h.HeelOthers, func(string) float64 { return 1 })
	for j := p.base; j < p.base+p.n; j++ {
		l := &m.lots[m.cols[j].lot]
		mass, _ := m.taken(j, x).Float64()
		left, _ := p.net(m.cols[j].lot).Float64()
		net += mass * left
		add(mass, l.Content, l.Others, func(e string) float64 {
			if k, ok := h.Kept[e]; ok {
				return k
			}
			return left
		})
	}
	gain := 0.0
	for _, e := range w.Elements {
		gain += h.pickup(e)
	}
	c := Content{Window: *w}
	if net > 0 {
		c.Percent, c.Most = least/net+gain, most/net+gain
	}
	c.Binding = w.Min != nil && c.Percent-*w.Min-w.Margin < 1e-6 || w.Max != nil && *w.Max-w.Margin-c.Most < 1e-6
	return c
}

func nearest(r *big.Rat) int64 {
	t := new(big.Rat).Add(r, big.NewRat(1, 2))
	q := new(big.Int).Div(t.Num(), t.Denom()) // rounds towards −∞ for a positive divisor
	return q.Int64()
}

package charge

import (
	"cmp"
	"math"
	"slices"
)

// Pouring says how the melt behaves between the furnace and the last mold.
type Pouring struct {
	CoolPerMinute float64 // °C that the melt in the crucible loses in a minute
	MaxTapC       float64 // hottest that it may leave the furnace, °C; 0: no limit
}

func (p *Pouring) check(c *checks, at string) {
	c.need(p.CoolPerMinute >= 0 && p.CoolPerMinute < 1000, at+".CoolPerMinute", p.CoolPerMinute, "°C a minute, not negative")
	c.need(p.MaxTapC >= 0 && p.MaxTapC < 4000, at+".MaxTapC", p.MaxTapC, "°C, or 0 for no limit")
}

// PourPlan is the order of pouring and the temperatures that go with it.
type PourPlan struct {
	TapC  float64 // coolest at which the melt may leave the furnace; 0 when no mold asks for a temperature
	Steps []PourStep
}

// PourStep is one mold's turn. TooCold and TooHot are by how much it misses its
// temperatures, in °C; both 0 when it does not.
type PourStep struct {
	Mold            string
	Wait            float64 // seconds to let the melt cool before it
	StartC, EndC    float64 // melt at its start and end
	TooCold, TooHot float64
}

// Fits reports whether every mold gets its temperature.
func (p *PourPlan) Fits() bool {
	return !slices.ContainsFunc(p.Steps, func(s PourStep) bool { return s.TooCold > 0 || s.TooHot > 0 })
}

// exactPour is the number of molds up to which every order is considered.
const exactPour = 14

// planPour orders the molds of one crucible. As the melt cools the temperature is
// a clock: a mold may start when the melt has cooled to MaxC and must be done
// before it reaches MinC, so this is one machine with ready times and due times,
// and tapping later means tapping cooler. Hottest first (earliest due time), lower
// rank first where that is equal, is kept when it fits, as it is common practice;
// else all orders are searched by subsets up to exactPour molds. Of the fitting
// starts the coolest is taken: less superheat takes up less gas and burns less.
func planPour(molds []Mold, p Pouring) (*PourPlan, []int) {
	order := make([]int, len(molds))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		x, y := &molds[a], &molds[b]
		return cmp.Or(-cmp.Compare(x.MinC, y.MinC), -cmp.Compare(x.MaxC, y.MaxC), cmp.Compare(x.Rank, y.Rank))
	})
	if p.CoolPerMinute == 0 {
		return still(molds, order, p), order
	}
	k := newClock(molds, p)
	if !k.fits(order) && len(molds) <= exactPour {
		if o := k.search(); o != nil {
			order = o
		}
	}
	return k.plan(molds, order), order
}

// still is the plan for a melt that does not cool.
func still(molds []Mold, order []int, p Pouring) *PourPlan {
	out := &PourPlan{}
	for _, m := range molds {
		out.TapC = math.Max(out.TapC, m.MinC)
	}
	if p.MaxTapC > 0 {
		out.TapC = math.Min(out.TapC, p.MaxTapC)
	}
	for _, i := range order {
		out.Steps = append(out.Steps, step(&molds[i], 0, out.TapC, out.TapC))
	}
	return out
}

func step(m *Mold, wait, start, end float64) PourStep {
	s := PourStep{Mold: m.ID, Wait: wait, StartC: start, EndC: end}
	if m.MaxC > 0 {
		s.TooCold, s.TooHot = math.Max(0, m.MinC-end), math.Max(0, start-m.MaxC)
		const shown = 1e-6 // less is rounding
		if s.TooCold < shown {
			s.TooCold = 0
		}
		if s.TooHot < shown {
			s.TooHot = 0
		}
	}
	return s
}

// clock has times in seconds: the melt is at temperature T at −60 T/cooling.
type clock struct {
	perC             float64 // seconds a °C
	first            float64 // no sooner than this, for the hottest tap
	ready, due, take []float64
}

func newClock(molds []Mold, p Pouring) *clock {
	k := &clock{perC: 60 / p.CoolPerMinute, first: math.Inf(-1)}
	if p.MaxTapC > 0 {
		k.first = -p.MaxTapC * k.perC
	}
	for _, m := range molds {
		ready, due := math.Inf(-1), math.Inf(1)
		if m.MaxC > 0 {
			ready, due = -m.MaxC*k.perC, -m.MinC*k.perC
		}
		k.ready, k.due, k.take = append(k.ready, ready), append(k.due, due), append(k.take, m.Takes)
	}
	return k
}

const clockTol = 1e-6 // seconds

func (k *clock) fits(order []int) bool {
	t := k.first
	for _, i := range order {
		t = math.Max(t, k.ready[i]) + k.take[i]
		if t > k.due[i]+clockTol {
			return false
		}
	}
	return true
}

// search returns an order that fits, nil when there is none: the earliest end of
// each subset, from those with one mold less.
func (k *clock) search() []int {
	n := len(k.due)
	end := make([]float64, 1<<n)
	last := make([]int8, 1<<n)
	end[0] = k.first
	for set := 1; set < 1<<n; set++ {
		end[set], last[set] = math.Inf(1), -1
		for i := range n {
			if set>>i&1 == 0 || set != 1<<i && last[set&^(1<<i)] < 0 {
				continue
			}
			t := math.Max(end[set&^(1<<i)], k.ready[i]) + k.take[i]
			if t <= k.due[i]+clockTol && (last[set] < 0 || t < end[set]) {
				end[set], last[set] = t, int8(i)
			}
		}
	}
	set := 1<<n - 1
	if n == 0 || last[set] < 0 {
		return nil
	}
	order := make([]int, n)
	for at := n - 1; at >= 0; at-- {
		order[at] = int(last[set])
		set &^= 1 << last[set]
	}
	return order
}

// plan starts an order as late, that is as cool, as its due times allow.
func (k *clock) plan(molds []Mold, order []int) *PourPlan {
	late := math.Inf(1)
	for at := len(order) - 1; at >= 0; at-- {
		i := order[at]
		late = math.Min(late, k.due[i]) - k.take[i]
	}
	out := &PourPlan{}
	known := !math.IsInf(late, 1)
	start := math.Max(late, k.first)
	if known {
		out.TapC = -start / k.perC
	}
	t := start
	for _, i := range order {
		if !known {
			out.Steps = append(out.Steps, PourStep{Mold: molds[i].ID})
			continue
		}
		from := math.Max(t, k.ready[i])
		out.Steps = append(out.Steps, step(&molds[i], from-t, -from/k.perC, -(from+k.take[i])/k.perC))
		t = from + k.take[i]
	}
	return out
}

package cost

import (
	"fmt"
	"slices"
)

// Method says what stock costs when it is used.
type Method string

// The methods; every one keeps the cost of a pool to the last unit.
const (
	ByLot         Method = "by-lot"         // each lot its own cost
	FirstIn       Method = "first-in"       // the oldest of a pool first
	MovingAverage Method = "moving-average" // the average of what is there
	MonthAverage  Method = "month-average"  // one average for each month
)

// Methods are all methods, in the order to offer them.
func Methods() []Method { return []Method{ByLot, FirstIn, MovingAverage, MonthAverage} }

// ParseMethod reads a method's name.
func ParseMethod(s string) (Method, error) {
	if m := Method(s); slices.Contains(Methods(), m) {
		return m, nil
	}
	return "", fmt.Errorf("method %q: must be by-lot, first-in, moving-average or month-average", s)
}

// Pool is stock that is alike, with its cost. Use NewPool.
type Pool struct {
	method Method
	mass   int64
	cost   int64
	layers []layer // first-in only, oldest first
	issue  rate    // month-average: this month's rate
	last   rate    // what it cost when there was some, for metal that turns up
}

type layer struct{ mass, cost int64 }

// rate is a cost of a mass.
type rate struct{ cost, mass int64 }

func (r rate) of(mass int64) int64 { return Part(r.cost, mass, r.mass) }

// NewPool is an empty pool of a method. By lot, each lot is a pool of its own.
func NewPool(m Method) *Pool { return &Pool{method: m} }

// Put adds stock with its cost.
func (p *Pool) Put(mass, cost int64) {
	p.mass += mass
	p.cost += cost
	if p.method == FirstIn {
		p.layers = append(p.layers, layer{mass, cost})
	}
	p.remember()
}

func (p *Pool) remember() {
	if p.mass > 0 {
		p.last = rate{p.cost, p.mass}
	}
}

// Take uses stock and says what it cost. With the last of it goes all that is left of
// the cost; more than there is costs no more than that.
func (p *Pool) Take(mass int64) (cost int64) {
	switch {
	case mass >= p.mass:
		cost = p.cost
		p.mass, p.cost, p.layers = 0, 0, nil
		return cost
	case p.method == FirstIn:
		for mass > 0 {
			l := &p.layers[0]
			m := min(mass, l.mass)
			c := l.cost
			if m < l.mass {
				c = Part(l.cost, m, l.mass)
			}
			l.mass, l.cost = l.mass-m, l.cost-c
			p.mass, p.cost, mass, cost = p.mass-m, p.cost-c, mass-m, cost+c
			if l.mass == 0 {
				p.layers = p.layers[1:]
			}
		}
	case p.method == MonthAverage && p.issue.mass > 0:
		cost = p.issue.of(mass)
		p.mass, p.cost = p.mass-mass, p.cost-cost
	default:
		cost = Part(p.cost, mass, p.mass)
		p.mass, p.cost = p.mass-mass, p.cost-cost
	}
	p.remember()
	return cost
}

// Month sets the month's rate: what is there at its beginning with what is bought in it.
func (p *Pool) Month(boughtMass, boughtCost int64) {
	if p.method == MonthAverage {
		p.issue = rate{p.cost + boughtCost, p.mass + boughtMass}
	}
}

// Mass and Cost are what is there.
func (p *Pool) Mass() int64 { return p.mass }

// Cost is the cost of what is there.
func (p *Pool) Cost() int64 { return p.cost }

// Worth is what a mass would cost at the pool's present rate.
func (p *Pool) Worth(mass int64) int64 { return p.last.of(mass) }

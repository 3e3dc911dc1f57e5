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

// Pool is stock that is alike, with its value. Use NewPool.
type Pool struct {
	method Method
	mass   int64
	value  Value
	layers []layer // first-in only, oldest first
	issue  layer   // month-average: this month's rate
	last   layer   // what it cost when there was some, for metal that turns up
}

// layer is a mass and its value.
type layer struct {
	mass  int64
	value Value
}

// NewPool is an empty pool of a method. By lot, each lot is a pool of its own.
func NewPool(m Method) *Pool { return &Pool{method: m} }

// Put adds stock with its value.
func (p *Pool) Put(mass int64, v Value) {
	p.mass += mass
	p.value = p.value.plus(v)
	if p.method == FirstIn {
		p.layers = append(p.layers, layer{mass, v})
	}
	p.remember()
}

func (p *Pool) remember() {
	if p.mass > 0 {
		p.last = layer{p.mass, p.value}
	}
}

// Take uses stock and says what it cost. With the last of it goes all that is left of
// the value; more than there is costs no more than that.
func (p *Pool) Take(mass int64) (v Value) {
	switch {
	case mass >= p.mass:
		v = p.value
		p.mass, p.value, p.layers = 0, Value{}, nil
		return v
	case p.method == FirstIn:
		for left := mass; left > 0; {
			l := &p.layers[0]
			m := min(left, l.mass)
			part := l.value
			if m < l.mass {
				part = l.value.part(m, l.mass)
			}
			l.mass, l.value = l.mass-m, l.value.minus(part)
			left, v = left-m, v.plus(part)
			if l.mass == 0 {
				p.layers = p.layers[1:]
			}
		}
	case p.method == MonthAverage && p.issue.mass > 0:
		v = Value{Cost: Part(p.issue.value.Cost, mass, p.issue.mass), Free: Part(p.value.Free, mass, p.mass)}
	default:
		v = p.value.part(mass, p.mass)
	}
	p.mass, p.value = p.mass-mass, p.value.minus(v)
	p.remember()
	return v
}

// Month sets the month's rate: what is there at its beginning with what is bought in it.
func (p *Pool) Month(boughtMass, boughtCost int64) {
	if p.method == MonthAverage {
		p.issue = layer{p.mass + boughtMass, Value{Cost: p.value.Cost + boughtCost}}
	}
}

// Mass is what is there.
func (p *Pool) Mass() int64 { return p.mass }

// Value is the value of what is there.
func (p *Pool) Value() Value { return p.value }

// Worth is what a mass would cost at the pool's present rate; without one it is free.
func (p *Pool) Worth(mass int64) Value {
	if p.last.mass == 0 {
		return Value{Free: mass}
	}
	return p.last.value.part(mass, p.last.mass)
}

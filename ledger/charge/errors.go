package charge

import (
	"fmt"
	"math"
	"strings"
)

// FieldError says which number cannot be, and what would be right.
type FieldError struct {
	Field, Value, Want string
}

func (e *FieldError) Error() string {
	return fmt.Sprintf("charge: %s is %s: want %s", e.Field, e.Value, e.Want)
}

// Demand is one thing that a heat asks of its charge.
type Demand struct {
	Heat  string  // the heat that asks
	What  string  // "metal for the molds", "Sn at most", …
	Limit float64 // in Unit
	Unit  string  // kg, %, mL
}

func (d Demand) String() string {
	s := fmt.Sprintf("%s %.4g %s", d.What, d.Limit, d.Unit)
	if d.Heat != "" {
		s += " (heat " + d.Heat + ")"
	}
	return s
}

// GiveWay is a demand and by how much it would have to give way, in its unit.
type GiveWay struct {
	Demand
	By float64
}

// Infeasible is the error of a heat that no charge of the lots can satisfy.
type Infeasible struct {
	// Conflict is a set of demands that cannot be met together with whole pieces
	// of what is in stock; with Minimal, any one of them left out, the rest can.
	Conflict []Demand
	Minimal  bool
	// Least is a nearest way out: the demands that give way so that all others
	// can be met, least in sum when each is measured by its own size. It is empty
	// when the limits were reached before one was found.
	Least []GiveWay
	// Left are the lots that were not looked at.
	Left []LeftOut
}

func (e *Infeasible) Error() string {
	var set, least []string
	for _, d := range e.Conflict {
		set = append(set, d.String())
	}
	for _, g := range e.Least {
		least = append(least, fmt.Sprintf("%s by %.4g %s", g.What, g.By, g.Unit))
	}
	s := "charge: no charge of the lots at hand gives " + strings.Join(set, "; ")
	if len(least) > 0 {
		s += " (least: give way in " + strings.Join(least, "; ") + ")"
	}
	return s
}

// Undecided is the error of a search that reached its limit with neither a plan
// nor a proof that there is none.
type Undecided struct{ Nodes int }

func (e *Undecided) Error() string {
	return fmt.Sprintf("charge: neither a plan nor its impossibility was found within %d nodes: allow more, or loosen a demand", e.Nodes)
}

// checks collects the first wrong number.
type checks struct{ err error }

func (c *checks) need(ok bool, field string, value any, want string) {
	if c.err == nil && !ok {
		c.err = &FieldError{field, fmt.Sprint(value), want}
	}
}

func (c *checks) part(v float64, field string) {
	c.need(v >= 0 && v <= 1, field, v, "a part between 0 and 1")
}

func (c *checks) notNegative(v float64, field string) {
	c.need(v >= 0 && !math.IsInf(v, 0), field, v, "a number that is not negative")
}

func (c *checks) mass(v int64, field string) {
	c.need(v >= 0 && v <= maxMass, field, v, "milligrams between 0 and 1e12")
}

// maxMass, a thousand tonnes in milligrams, keeps sums of masses far inside int64.
const maxMass = 1e12

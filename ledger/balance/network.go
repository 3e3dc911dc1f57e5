package balance

import (
	"fmt"
	"math"
)

// Given says what is known of a stream beforehand.
type Given int

// What is known of a stream.
const (
	Measured   Given = iota // Value with standard uncertainty U
	Unmeasured              // nothing; Value and U are ignored
	Exact                   // Value is true
)

// Stream is metal that goes from one node to another.
type Stream struct {
	ID       string // unique in the network
	Label    string // for people, "the cups of heat 41"; may be empty
	From, To string // nodes; "" is outside, which has no balance. Both "" for streams that only Constraints use
	Given    Given
	Value    float64
	U        float64  // standard uncertainty of the stream's own error, above 0 when measured
	Shared   []Shared // errors in common with other weighings; only for measured streams
}

// Shared is one effect on one weighing: measured = true + own error + Size × effect,
// where all streams that name the same Effect share one unknown number with mean
// 0 and standard deviation 1. Size is signed and in the unit of the network.
type Shared struct {
	Effect string
	Size   float64
}

// Constraint is a linear row over streams: Σ Coef × stream = Equals.
type Constraint struct {
	ID     string
	Terms  []Term
	Equals float64
}

// Term is one stream in a Constraint. Terms of the same stream add up.
type Term struct {
	Stream string
	Coef   float64
}

// Network is what is weighed and how it must add up. Every node named by a
// stream closes: what goes in comes out. A stock that changes is a node with streams
// from outside (opening) and to outside (closing).
type Network struct {
	Streams     []Stream
	Constraints []Constraint
}

// Status is what the network knows of a stream.
type Status int

// Statuses.
const (
	Redundant    Status = iota // measured, and the other weighings say something about it
	NonRedundant               // measured, and nothing can check it
	Observable                 // not measured, but fixed by the balances
	Unobservable               // not measured and not fixed
	Known                      // given as exact
)

// String returns the status in words.
func (s Status) String() string {
	switch s {
	case Redundant:
		return "measured, redundant"
	case NonRedundant:
		return "measured, not redundant"
	case Observable:
		return "unmeasured, observable"
	case Unobservable:
		return "unmeasured, unobservable"
	case Known:
		return "exact"
	}
	return fmt.Sprintf("Status(%d)", int(s))
}

// rows is a system of sparse rows over streams: Σ a x = rhs. size is the sum of
// |rhs| that went into a row, the scale on which it must be zero to count as zero.
type rows struct {
	row    []vec
	rhs    []float64
	size   []float64
	origin [][]int32 // which of names each row adds up
	names  []string
	most   float64 // largest |value| given, the scale of what rounding may leave
}

// index checks the network and returns the position of each stream by id.
func (n *Network) index() (map[string]int, error) {
	at := make(map[string]int, len(n.Streams))
	for i, s := range n.Streams {
		bad := func(field string, v any, want string) error {
			return &InputError{Field: fmt.Sprintf("streams[%s].%s", s.ID, field), Value: v, Want: want}
		}
		if s.ID == "" {
			return nil, &InputError{Field: fmt.Sprintf("streams[%d].id", i), Value: `""`, Want: "a name"}
		}
		if _, dup := at[s.ID]; dup {
			return nil, bad("id", s.ID, "each stream once")
		}
		at[s.ID] = i
		if s.From == s.To && s.From != "" {
			return nil, bad("to", s.To, "another node than from")
		}
		switch s.Given {
		case Measured:
			if !finite(s.Value) {
				return nil, bad("value", s.Value, "a finite number")
			}
			if !(s.U > 0) || math.IsInf(s.U, 0) {
				return nil, bad("u", s.U, "above 0 (give a stream without uncertainty as exact)")
			}
			for _, e := range s.Shared {
				if e.Effect == "" || !finite(e.Size) {
					return nil, bad("shared", e, "a named effect of finite size")
				}
			}
		case Exact:
			if !finite(s.Value) {
				return nil, bad("value", s.Value, "a finite number")
			}
		case Unmeasured:
		default:
			return nil, bad("given", int(s.Given), "measured, unmeasured or exact")
		}
		if s.Given != Measured && len(s.Shared) > 0 {
			return nil, bad("shared", len(s.Shared), "none unless measured")
		}
	}
	return at, nil
}

// assemble writes one row per node, in order of first appearance, and one per
// constraint; exact streams are moved to the right hand side.
func (n *Network) assemble(at map[string]int) (*rows, error) {
	sys := &rows{}
	node := make(map[string]int)
	open := func(name string) int {
		r := len(sys.row)
		sys.row = append(sys.row, vec{})
		sys.rhs = append(sys.rhs, 0)
		sys.size = append(sys.size, 0)
		sys.origin = append(sys.origin, []int32{int32(r)})
		sys.names = append(sys.names, name)
		return r
	}
	put := func(r, i int, coef float64) {
		if s := &n.Streams[i]; s.Given == Exact {
			sys.rhs[r] -= coef * s.Value
			sys.size[r] += math.Abs(coef * s.Value)
		} else {
			sys.row[r] = append(sys.row[r], entry{int32(i), coef})
		}
	}
	for i, s := range n.Streams {
		if s.Given != Unmeasured {
			sys.most = math.Max(sys.most, math.Abs(s.Value))
		}
		for _, end := range []struct {
			name string
			coef float64
		}{{s.From, -1}, {s.To, 1}} {
			if end.name == "" {
				continue
			}
			r, ok := node[end.name]
			if !ok {
				r = open(end.name)
				node[end.name] = r
			}
			put(r, i, end.coef)
		}
	}
	for k, c := range n.Constraints {
		field := fmt.Sprintf("constraints[%d %s]", k, c.ID)
		r := open(c.ID)
		if !finite(c.Equals) {
			return nil, &InputError{Field: field + ".equals", Value: c.Equals, Want: "a finite number"}
		}
		largest := 0.0
		for _, t := range c.Terms {
			if _, ok := at[t.Stream]; !ok {
				return nil, &InputError{Field: field + ".stream", Value: t.Stream, Want: "a stream of the network"}
			}
			if !finite(t.Coef) {
				return nil, &InputError{Field: field + ".coef", Value: t.Coef, Want: "a finite number"}
			}
			largest = math.Max(largest, math.Abs(t.Coef))
		}
		if largest == 0 {
			return nil, &InputError{Field: field + ".terms", Value: len(c.Terms), Want: "at least one with a coefficient"}
		}
		// Rows are brought to the same size, so that what counts as zero does not
		// depend on the units somebody wrote a constraint in.
		sys.rhs[r] = c.Equals / largest
		sys.size[r] = math.Abs(sys.rhs[r])
		for _, t := range c.Terms {
			put(r, at[t.Stream], t.Coef/largest)
		}
		sys.row[r] = tidy(sys.row[r])
	}
	return sys, nil
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

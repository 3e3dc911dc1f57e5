package program

import (
	"context"
	"math"
	"math/big"
)

// Status is how far an answer was proven.
type Status int

const (
	// Optimal says that no better answer exists, within the gap asked for.
	Optimal Status = iota
	// Feasible says that a limit stopped the search; Objective and Bound enclose the optimum.
	Feasible
	// Infeasible says that it is proven that nothing satisfies all rows, bounds and whole columns.
	Infeasible
	// Unbounded says that the relaxation without whole columns has no least value.
	Unbounded
	// Unknown says that a limit stopped the search before anything was found or excluded.
	Unknown
)

var statusNames = [...]string{"optimal", "feasible", "infeasible", "unbounded", "unknown"}

func (s Status) String() string { return statusNames[s] }

// Options limit a search. The zero value asks for the optimum to one part in a
// thousand million and sets no limit on nodes.
type Options struct {
	// Gap is good enough, as a part of the objective or of the dearest column's
	// cost, whichever is larger; 0 means 1e-9.
	Gap    float64
	GapAbs *big.Rat   // absolute gap that is good enough; nil means 0
	Nodes  int        // search nodes before the best known answer is returned; 0 means no limit
	Start  []*big.Rat // an answer to start from, ignored when it is not one
}

// Result is an answer. X, Objective, Duals and Reduced are exact; Bound is a
// proven lower bound of the objective over all feasible answers.
type Result struct {
	Status    Status
	X         []*big.Rat // by column; nil without an answer
	Objective *big.Rat
	Bound     *big.Rat // nil when none was proven

	// Of programmes without whole columns only: the change of the optimum per
	// unit of a row's active bound, and of a column's.
	Duals, Reduced []*big.Rat
	// Ray, of an infeasible programme without whole columns: multipliers of the
	// rows whose combination no x within the column bounds can satisfy.
	Ray []*big.Rat

	Nodes, Pivots int
	Exact         int // relaxations that had to be decided by the exact simplex
}

// Gap returns (Objective − Bound) relative to Objective, 0 without both.
func (r *Result) Gap() float64 {
	if r.Objective == nil || r.Bound == nil {
		return 0
	}
	d := new(big.Rat).Sub(r.Objective, r.Bound)
	if d.Sign() <= 0 {
		return 0
	}
	if r.Objective.Sign() == 0 {
		f, _ := d.Float64()
		return f
	}
	f, _ := d.Quo(d, new(big.Rat).Abs(r.Objective)).Float64()
	return f
}

// Solve minimises p. It returns an *Error when p is malformed; running into a
// limit, or the end of ctx, is not an error but a Status.
func Solve(ctx context.Context, p *Problem, o Options) (*Result, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	im := newImage(p)
	for v := range im.lo {
		if im.lo[v] != nil && im.hi[v] != nil && im.lo[v].Cmp(im.hi[v]) > 0 {
			return &Result{Status: Infeasible, Ray: im.unit(v)}, nil
		}
	}
	if im.anyWhole {
		s := newSearch(ctx, im, o)
		if len(o.Start) == len(p.Cols) && p.Feasible(o.Start) {
			s.accept(o.Start, p.Value(o.Start))
		}
		return s.run(), nil
	}
	return im.linear(), nil
}

// unit is the ray of a row whose own bounds contradict each other.
func (im *image) unit(v int) []*big.Rat {
	ray := make([]*big.Rat, im.m)
	for i := range ray {
		ray[i] = new(big.Rat)
	}
	if v >= im.n {
		ray[v-im.n].SetInt64(1)
	}
	return ray
}

// linear solves a programme without whole columns.
func (im *image) linear() *Result {
	s := newDict(im)
	res := &Result{}
	var v *vertex
	got := s.solve(inf, math.MaxInt)
	b := s.basis()
	if got == solved {
		v = im.certify(im.lo, im.hi, b)
	}
	if got == empty {
		p := newProver(im)
		if p.infeasible(s, s.badRow, s.badUp, im.flo, im.fhi) {
			return &Result{Status: Infeasible, Ray: im.floatRay(p.y), Pivots: s.pivots}
		}
	}
	if v == nil {
		res.Exact = 1
		var ray []*big.Rat
		v, ray, res.Status = im.decide(im.lo, im.hi, b)
		if res.Status == Infeasible {
			res.Ray = im.rowUnits(ray)
		}
	}
	res.Pivots = s.pivots
	if v != nil {
		res.X, res.Objective, res.Bound = v.x[:im.n], v.obj, v.obj
		res.Reduced, res.Duals = v.d, im.rowUnits(v.y)
	}
	return res
}

// floatRay turns proven multipliers of the scaled rows into exact ones of the
// rows as given; the scales are powers of two.
func (im *image) floatRay(y []float64) []*big.Rat {
	ray := make([]*big.Rat, len(y))
	for i := range y {
		ray[i] = new(big.Rat).SetFloat64(y[i] * im.r[i])
	}
	return ray
}

// rowUnits turns multipliers of the whole-number rows into those of the rows as given.
func (im *image) rowUnits(y []*big.Rat) []*big.Rat {
	t := new(big.Rat)
	for i := range y {
		y[i].Mul(y[i], t.SetInt(im.den[i]))
	}
	return y
}

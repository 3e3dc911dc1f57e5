package program

import (
	"context"
	"math/big"
)

// Soft is a row that may be broken at a price. Weight is the price of a unit of
// breaking it; nil means 1.
type Soft struct {
	Row    int
	Weight *big.Rat
}

// Breach is by how much a soft row has to be broken: Short below its Lo, Over
// above its Hi, in the row's unit.
type Breach struct {
	Row         int
	Short, Over *big.Rat
}

// Relaxed is the answer that breaks soft rows least.
type Relaxed struct {
	Result   *Result  // of the relaxed programme; X has p's columns only
	Breaches []Breach // those that are not zero, in the order of soft
}

// Elastic lets the soft rows of p be broken and finds the x with the least
// weighted sum of breaches; p's own costs play no part. Without an answer
// (Result.X nil) the rows that are not soft contradict each other, or a limit
// was reached.
func Elastic(ctx context.Context, p *Problem, soft []Soft, o Options) (*Relaxed, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	q := &Problem{Cols: make([]Col, len(p.Cols)), Rows: append([]Row(nil), p.Rows...)}
	for j, c := range p.Cols {
		c.Cost = nil
		q.Cols[j] = c
	}
	short, over := make([]int, len(soft)), make([]int, len(soft))
	for k, s := range soft {
		w := s.Weight
		if w == nil {
			w = Int(1)
		}
		r := q.Rows[s.Row]
		least, most := p.reach(s.Row)
		r.Terms = append([]Term(nil), r.Terms...)
		short[k], over[k] = -1, -1
		if r.Lo != nil && (least == nil || least.Cmp(r.Lo) < 0) {
			c := Col{Cost: w, Lo: Int(0)}
			if least != nil {
				c.Hi = new(big.Rat).Sub(r.Lo, least)
			}
			short[k] = q.AddCol(c)
			r.Terms = append(r.Terms, Term{short[k], Int(1)})
		}
		if r.Hi != nil && (most == nil || most.Cmp(r.Hi) > 0) {
			c := Col{Cost: w, Lo: Int(0)}
			if most != nil {
				c.Hi = new(big.Rat).Sub(most, r.Hi)
			}
			over[k] = q.AddCol(c)
			r.Terms = append(r.Terms, Term{over[k], Int(-1)})
		}
		q.Rows[s.Row] = r
	}
	res, err := Solve(ctx, q, o)
	if err != nil {
		return nil, err
	}
	rel := &Relaxed{Result: res}
	if res.X == nil {
		return rel, nil
	}
	for k, s := range soft {
		b := Breach{Row: s.Row, Short: new(big.Rat), Over: new(big.Rat)}
		if short[k] >= 0 {
			b.Short = res.X[short[k]]
		}
		if over[k] >= 0 {
			b.Over = res.X[over[k]]
		}
		if b.Short.Sign() != 0 || b.Over.Sign() != 0 {
			rel.Breaches = append(rel.Breaches, b)
		}
	}
	res.X = res.X[:len(p.Cols)]
	return rel, nil
}

// reach is the least and the largest activity of row i within the columns'
// bounds, nil where there is none.
func (p *Problem) reach(i int) (least, most *big.Rat) {
	coef := map[int]*big.Rat{}
	for _, t := range p.Rows[i].Terms {
		if coef[t.Col] == nil {
			coef[t.Col] = new(big.Rat)
		}
		coef[t.Col].Add(coef[t.Col], t.Coef)
	}
	least, most = new(big.Rat), new(big.Rat)
	add := func(sum, bound, a *big.Rat) *big.Rat {
		if sum == nil || bound == nil {
			return nil
		}
		return sum.Add(sum, new(big.Rat).Mul(a, bound))
	}
	for j, a := range coef {
		lo, hi := p.Cols[j].Lo, p.Cols[j].Hi
		switch a.Sign() {
		case 1:
			least, most = add(least, lo, a), add(most, hi, a)
		case -1:
			least, most = add(least, hi, a), add(most, lo, a)
		}
	}
	return least, most
}

// Conflict returns a minimal set of soft rows that cannot be met together with
// the rows that are not soft: without any one of them the rest can be. minimal
// is false when a limit left that open for some row of the set. The set is nil
// when p has an answer or none was excluded within the limits, and empty when
// the rows that are not soft contradict each other.
//
// Where the relaxation without whole columns is contradictory already, it makes
// the set small before the whole columns are asked.
func Conflict(ctx context.Context, p *Problem, soft []int, o Options) (set []int, minimal bool, err error) {
	if err := p.Check(); err != nil {
		return nil, false, err
	}
	c := conflict{ctx, p, soft, o}
	res, err := c.try(soft, true)
	if err != nil {
		return nil, false, err
	}
	set = append([]int{}, soft...)
	if res.Status == Infeasible {
		if set, _, err = c.delete(named(set, res.Ray), true); err != nil {
			return nil, false, err
		}
	} else if res, err = c.try(soft, false); err != nil || res.Status != Infeasible {
		return nil, false, err
	}
	return c.delete(set, false)
}

type conflict struct {
	ctx  context.Context
	p    *Problem
	soft []int
	o    Options
}

// try solves p with only some of the soft rows; relaxed takes no column for whole.
func (c *conflict) try(set []int, relaxed bool) (*Result, error) {
	q := &Problem{Cols: make([]Col, len(c.p.Cols)), Rows: append([]Row(nil), c.p.Rows...)}
	for j, col := range c.p.Cols {
		col.Cost = nil
		if relaxed && col.Whole {
			col.Lo, col.Hi, col.Whole = ceilRat(col.Lo), floorRat(col.Hi), false
		}
		q.Cols[j] = col
	}
	for _, i := range c.soft {
		q.Rows[i].Lo, q.Rows[i].Hi = nil, nil
	}
	for _, i := range set {
		q.Rows[i] = c.p.Rows[i]
	}
	return Solve(c.ctx, q, c.o)
}

// delete is the deletion filter: it leaves out each row in turn, and for good when
// the rest is a conflict without it.
func (c *conflict) delete(set []int, relaxed bool) (_ []int, minimal bool, err error) {
	minimal = true
	for k := 0; k < len(set); {
		rest := append(append([]int{}, set[:k]...), set[k+1:]...)
		res, err := c.try(rest, relaxed)
		if err != nil {
			return nil, false, err
		}
		if res.Status == Infeasible {
			// Rows before k stay: they were found to be needed.
			set = append(append([]int{}, set[:k]...), named(rest[k:], res.Ray)...)
			continue
		}
		minimal = minimal && res.Status != Unknown
		k++
	}
	return set, minimal, nil
}

// named are the rows of set that a ray needs; all of them without a ray.
func named(set []int, ray []*big.Rat) []int {
	if ray == nil {
		return set
	}
	var out []int
	for _, i := range set {
		if ray[i].Sign() != 0 {
			out = append(out, i)
		}
	}
	return out
}

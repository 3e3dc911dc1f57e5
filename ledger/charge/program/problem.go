package program

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
)

// Problem is a programme to minimise. The zero value is the empty programme.
type Problem struct {
	Cols []Col
	Rows []Row
}

// Col is one unknown. A nil Cost is 0; a nil Lo or Hi means no bound on that side.
type Col struct {
	Name   string
	Cost   *big.Rat
	Lo, Hi *big.Rat
	Whole  bool // only whole values
}

// Row is lo ≤ Σ coef·x ≤ hi; a nil Lo or Hi means no bound on that side.
type Row struct {
	Name   string
	Lo, Hi *big.Rat
	Terms  []Term
}

// Term is one coefficient of a row.
type Term struct {
	Col  int
	Coef *big.Rat
}

// AddCol appends a column and returns its index.
func (p *Problem) AddCol(c Col) int {
	p.Cols = append(p.Cols, c)
	return len(p.Cols) - 1
}

// AddRow appends a row and returns its index.
func (p *Problem) AddRow(r Row) int {
	p.Rows = append(p.Rows, r)
	return len(p.Rows) - 1
}

// Int returns n as a rational.
func Int(n int64) *big.Rat { return new(big.Rat).SetInt64(n) }

// Decimal returns the decimal that a person means by a float64: the shortest
// one that reads back as f, so 0.05 is exactly 5/100. It panics when f is not
// finite, which is a mistake of the caller and not of the data.
func Decimal(f float64) *big.Rat {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		panic(fmt.Sprintf("program: %v has no decimal", f))
	}
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(f, 'g', -1, 64))
	if !ok {
		panic(fmt.Sprintf("program: %v has no decimal", f))
	}
	return r
}

// Error says what is wrong with a Problem: the field, its value and what would be right.
type Error struct {
	Field, Value, Want string
}

func (e *Error) Error() string {
	return fmt.Sprintf("program: %s is %s: want %s", e.Field, e.Value, e.Want)
}

// Check reports the first thing that makes p meaningless. Bounds that
// contradict each other are not such a thing; they make it infeasible.
func (p *Problem) Check() error {
	for i, r := range p.Rows {
		for k, t := range r.Terms {
			if t.Col < 0 || t.Col >= len(p.Cols) {
				return &Error{fmt.Sprintf("Rows[%d].Terms[%d].Col", i, k), strconv.Itoa(t.Col), fmt.Sprintf("0..%d", len(p.Cols)-1)}
			}
			if t.Coef == nil {
				return &Error{fmt.Sprintf("Rows[%d].Terms[%d].Coef", i, k), "nil", "a number"}
			}
		}
	}
	return nil
}

// Value returns c·x exactly; x has one value for each column.
func (p *Problem) Value(x []*big.Rat) *big.Rat {
	z, t := new(big.Rat), new(big.Rat)
	for j, c := range p.Cols {
		if c.Cost != nil {
			z.Add(z, t.Mul(c.Cost, x[j]))
		}
	}
	return z
}

// Activity returns Σ coef·x of row i exactly.
func (p *Problem) Activity(i int, x []*big.Rat) *big.Rat {
	z, t := new(big.Rat), new(big.Rat)
	for _, k := range p.Rows[i].Terms {
		z.Add(z, t.Mul(k.Coef, x[k.Col]))
	}
	return z
}

// Feasible reports whether x satisfies every row, bound and whole column, exactly.
func (p *Problem) Feasible(x []*big.Rat) bool {
	for j, c := range p.Cols {
		if !within(x[j], c.Lo, c.Hi) || c.Whole && !x[j].IsInt() {
			return false
		}
	}
	for i, r := range p.Rows {
		if !within(p.Activity(i, x), r.Lo, r.Hi) {
			return false
		}
	}
	return true
}

func within(v, lo, hi *big.Rat) bool {
	return (lo == nil || v.Cmp(lo) >= 0) && (hi == nil || v.Cmp(hi) <= 0)
}

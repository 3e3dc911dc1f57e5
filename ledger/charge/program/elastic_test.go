package program

import (
	"context"
	"math/big"
	"math/rand/v2"
	"testing"
)

// everyWhole calls f with every value that the whole columns of p can take.
func everyWhole(p *Problem, f func(x []*big.Rat)) {
	x := make([]*big.Rat, len(p.Cols))
	var rec func(j int)
	rec = func(j int) {
		if j == len(x) {
			f(x)
			return
		}
		lo, hi := ceilRat(p.Cols[j].Lo), floorRat(p.Cols[j].Hi)
		for v := new(big.Rat).Set(lo); v.Cmp(hi) <= 0; v = new(big.Rat).Add(v, Int(1)) {
			x[j] = v
			rec(j + 1)
		}
	}
	rec(0)
}

func breach(p *Problem, i int, x []*big.Rat) *big.Rat {
	a := p.Activity(i, x)
	if lo := p.Rows[i].Lo; lo != nil && a.Cmp(lo) < 0 {
		return a.Sub(lo, a)
	}
	if hi := p.Rows[i].Hi; hi != nil && a.Cmp(hi) > 0 {
		return a.Sub(a, hi)
	}
	return new(big.Rat)
}

// The least weighted sum of breaches, and minimal conflicting sets, against
// enumeration of all whole values.
func TestElasticEnumerated(t *testing.T) {
	tried, sets := 0, 0
	for seed := range 1200 {
		r := rand.New(rand.NewPCG(uint64(seed), 4))
		p := randomProblem(r, true)
		soft := make([]Soft, len(p.Rows))
		rows := make([]int, len(p.Rows))
		for i := range soft {
			soft[i] = Soft{i, Int(int64(1 + r.IntN(3)))}
			rows[i] = i
		}
		empty := false
		for _, c := range p.Cols {
			empty = empty || ceilRat(c.Lo).Cmp(floorRat(c.Hi)) > 0
		}
		var least *big.Rat
		feasible := map[uint]bool{} // sets of rows that can be met together
		everyWhole(p, func(x []*big.Rat) {
			sum := new(big.Rat)
			met := uint(0)
			for i, s := range soft {
				b := breach(p, i, x)
				if b.Sign() == 0 {
					met |= 1 << i
				}
				sum.Add(sum, b.Mul(b, s.Weight))
			}
			feasible[met] = true
			if least == nil || sum.Cmp(least) < 0 {
				least = sum
			}
		})
		can := func(set []int) bool {
			want := uint(0)
			for _, i := range set {
				want |= 1 << i
			}
			for met := range feasible {
				if met&want == want {
					return true
				}
			}
			return false
		}
		rel, err := Elastic(context.Background(), p, soft, Options{})
		if err != nil {
			t.Fatal(err)
		}
		set, minimal, err := Conflict(context.Background(), p, rows, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if least == nil {
			if rel.Result.Status != Infeasible || set == nil || len(set) != 0 {
				t.Errorf("seed %d: no value fits the columns, got %v and set %v", seed, rel.Result.Status, set)
			}
			continue
		}
		tried++
		if d := new(big.Rat).Sub(rel.Result.Objective, least); d.Sign() < 0 || d.Cmp(new(big.Rat).Mul(least, Decimal(1e-9))) > 0 {
			t.Errorf("seed %d: breaches weigh %v, least %v", seed, rel.Result.Objective, least)
		}
		for _, b := range rel.Breaches {
			if got := breach(p, b.Row, rel.Result.X); got.Cmp(new(big.Rat).Add(b.Short, b.Over)) != 0 {
				t.Errorf("seed %d: row %d is broken by %v, said to be by %v and %v", seed, b.Row, got, b.Short, b.Over)
			}
		}
		if can(rows) {
			if set != nil {
				t.Errorf("seed %d: conflict %v in a programme with an answer", seed, set)
			}
			continue
		}
		sets++
		if !minimal || can(set) {
			t.Errorf("seed %d: set %v (minimal %v) can be met", seed, set, minimal)
		}
		for k := range set {
			if rest := append(append([]int{}, set[:k]...), set[k+1:]...); !can(rest) {
				t.Errorf("seed %d: set %v is a conflict without row %d too", seed, set, set[k])
			}
		}
	}
	if tried < 800 || sets < 200 {
		t.Errorf("%d tried, %d conflicts: the instances do not try it", tried, sets)
	}
}

// A limit on nodes gives an answer and a bound that enclose the optimum, and the
// same ones every time.
func TestNodeLimit(t *testing.T) {
	possible := 0
	for seed := uint64(0); possible < 6; seed++ {
		p := blendProblem(seed, 14, 6)
		full, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if full.Status == Infeasible {
			continue
		}
		possible++
		for _, nodes := range []int{1, 5, 20, 60} {
			a, err := Solve(context.Background(), p, Options{Nodes: nodes})
			if err != nil {
				t.Fatal(err)
			}
			b, _ := Solve(context.Background(), p, Options{Nodes: nodes})
			if a.Status != b.Status || a.Nodes != b.Nodes || a.Pivots != b.Pivots || !sameRat(a.Objective, b.Objective) || !sameRat(a.Bound, b.Bound) {
				t.Errorf("seed %d: two runs with %d nodes differ", seed, nodes)
			}
			if a.Bound != nil && a.Bound.Cmp(full.Objective) > 0 {
				t.Errorf("seed %d, %d nodes: bound %v above the optimum %v", seed, nodes, a.Bound, full.Objective)
			}
			if a.X == nil && a.Status != Unknown || a.X != nil && (!p.Feasible(a.X) || a.Objective.Cmp(full.Objective) < 0) {
				t.Errorf("seed %d, %d nodes: %v with answer %v", seed, nodes, a.Status, a.X)
			}
		}
		// Started from the optimum, it can only be proven, not lost.
		again, err := Solve(context.Background(), p, Options{Start: full.X, Nodes: 1})
		if err != nil {
			t.Fatal(err)
		}
		if !sameRat(again.Objective, full.Objective) {
			t.Errorf("seed %d: started from %v, returned %v", seed, full.Objective, again.Objective)
		}
	}
}

func sameRat(a, b *big.Rat) bool { return a == b || a != nil && b != nil && a.Cmp(b) == 0 }

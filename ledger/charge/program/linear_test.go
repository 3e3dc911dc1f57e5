package program

import (
	"context"
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"example.org/remelt/ledger/charge/program/glpsol"
)

// randomLinear draws programmes without whole columns: free columns, missing
// bounds, equalities, copies of rows, and right-hand sides in the thousands,
// which made a float simplex without scaling call feasible blends infeasible.
func randomLinear(r *rand.Rand) *Problem {
	p := &Problem{}
	n, m := 2+r.IntN(9), 1+r.IntN(7)
	thousands := int64(1)
	if r.IntN(2) == 0 {
		thousands = 1000
	}
	for range n {
		c := Col{Cost: Int(int64(r.IntN(30) - 3)), Lo: Int(0)}
		switch r.IntN(5) {
		case 0:
			c.Lo = nil
		case 1, 2:
			c.Hi = Int(int64(r.IntN(8)) * 100 * thousands / 1000)
		}
		p.AddCol(c)
	}
	for i := range m {
		row := Row{}
		for j := range n {
			if v := int64(r.IntN(16) - 2); r.IntN(4) > 0 && v != 0 {
				row.Terms = append(row.Terms, Term{j, Int(v)})
			}
		}
		at := Int(int64(r.IntN(20)) * thousands)
		switch r.IntN(4) {
		case 0:
			row.Lo = at
		case 1:
			row.Hi = at
		case 2:
			row.Lo, row.Hi = at, at
		case 3:
			row.Lo, row.Hi = at, new(big.Rat).Add(at, Int(thousands*int64(r.IntN(5))))
		}
		p.AddRow(row)
		if i > 0 && r.IntN(6) == 0 {
			p.AddRow(p.Rows[i-1])
		}
	}
	return p
}

// proveLinear checks an answer by nothing but the programme: that X is feasible
// and that the duals bound the objective from below by its own value; or that
// the ray combines the rows to something no x within the bounds can be.
func proveLinear(t *testing.T, seed int, p *Problem, r *Result) {
	t.Helper()
	y, c := r.Duals, make([]*big.Rat, len(p.Cols))
	for j := range c {
		c[j] = new(big.Rat)
		if p.Cols[j].Cost != nil {
			c[j].Set(p.Cols[j].Cost)
		}
	}
	if r.Status == Infeasible {
		y = make([]*big.Rat, len(r.Ray))
		for i := range y {
			y[i] = r.Ray[i]
		}
		for j := range c {
			c[j].SetInt64(0)
		}
	}
	for i, row := range p.Rows {
		for _, k := range row.Terms {
			c[k.Col].Sub(c[k.Col], new(big.Rat).Mul(y[i], k.Coef))
		}
	}
	sum := new(big.Rat)
	least := func(a, lo, hi *big.Rat) {
		b := lo
		if a.Sign() < 0 {
			b = hi
		}
		if a.Sign() == 0 {
			return
		}
		if b == nil {
			t.Errorf("seed %d (%v): a multiplier leans on a bound that is not there", seed, r.Status)
			return
		}
		sum.Add(sum, new(big.Rat).Mul(a, b))
	}
	for j, col := range p.Cols {
		least(c[j], col.Lo, col.Hi)
	}
	for i, row := range p.Rows {
		least(y[i], row.Lo, row.Hi)
	}
	if r.Status == Infeasible {
		if sum.Sign() <= 0 {
			t.Errorf("seed %d: the ray proves nothing", seed)
		}
		return
	}
	if !p.Feasible(r.X) || sum.Cmp(r.Objective) != 0 || p.Value(r.X).Cmp(r.Objective) != 0 {
		t.Errorf("seed %d: objective %v, value %v, proven bound %v", seed, r.Objective, p.Value(r.X), sum)
	}
}

// Weak duality is the outside check here: an exact pair of answers with no gap,
// or an exact ray, leaves nothing to believe.
func TestLinearProvesItself(t *testing.T) {
	count := map[Status]int{}
	exact := 0
	for seed := range 3000 {
		p := randomLinear(rand.New(rand.NewPCG(uint64(seed), 3)))
		r, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		count[r.Status]++
		exact += r.Exact
		if r.Status == Unbounded {
			im := newImage(p)
			if _, _, st := im.decide(im.lo, im.hi, nil); st != Unbounded {
				t.Errorf("seed %d: unbounded, from the basis of logicals %v", seed, st)
			}
			continue
		}
		proveLinear(t, seed, p, r)
		// The exact simplex alone must come to the same.
		im := newImage(p)
		v, _, st := im.decide(im.lo, im.hi, nil)
		if st != r.Status || st == Optimal && v.obj.Cmp(r.Objective) != 0 {
			t.Errorf("seed %d: %v %v, exact simplex alone %v", seed, r.Status, r.Objective, st)
		}
	}
	t.Logf("%v; exact simplex needed %d times", count, exact)
	for _, s := range []Status{Optimal, Infeasible, Unbounded} {
		if count[s] < 100 {
			t.Errorf("only %d programmes were %v: the instances do not try it", count[s], s)
		}
	}
}

func TestLinearAgainstGlpsol(t *testing.T) {
	glpsol.Need(t)
	for seed := range 150 {
		p := randomLinear(rand.New(rand.NewPCG(uint64(seed), 3)))
		r, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		g := runGlpsol(t, p, 10, "--nopresol")
		if r.Status == Optimal {
			z, _ := r.Objective.Float64()
			if g.Status != "f" || math.Abs(z-g.Value) > 1e-6*math.Max(1, math.Abs(z)) {
				t.Errorf("seed %d: optimum %v, glpsol %q %v", seed, z, g.Status, g.Value)
			}
		} else if g.Status == "f" && r.Status == Infeasible {
			t.Errorf("seed %d: infeasible, glpsol %v", seed, g.Value)
		}
	}
}

// A change of units of rows, columns and costs, and a change of their order,
// change nothing but the units.
func TestUnitsAndOrder(t *testing.T) {
	for seed := range 300 {
		r := rand.New(rand.NewPCG(uint64(seed), 3))
		p := randomLinear(r)
		q := &Problem{}
		at := r.Perm(len(p.Cols))
		back := make([]int, len(at))
		unit := make([]*big.Rat, len(p.Cols))
		for k, j := range at {
			back[j] = k
			unit[j] = big.NewRat(int64(1+r.IntN(5000)), int64(1+r.IntN(5000)))
			c := p.Cols[j]
			c.Cost = new(big.Rat).Mul(c.Cost, unit[j])
			if c.Lo != nil {
				c.Lo = new(big.Rat).Quo(c.Lo, unit[j])
			}
			if c.Hi != nil {
				c.Hi = new(big.Rat).Quo(c.Hi, unit[j])
			}
			q.AddCol(c)
		}
		for _, i := range r.Perm(len(p.Rows)) {
			f := big.NewRat(int64(1+r.IntN(5000)), int64(1+r.IntN(5000)))
			row := Row{}
			if v := p.Rows[i].Lo; v != nil {
				row.Lo = new(big.Rat).Mul(v, f)
			}
			if v := p.Rows[i].Hi; v != nil {
				row.Hi = new(big.Rat).Mul(v, f)
			}
			for _, k := range p.Rows[i].Terms {
				a := new(big.Rat).Mul(k.Coef, f)
				row.Terms = append(row.Terms, Term{back[k.Col], a.Mul(a, unit[k.Col])})
			}
			q.AddRow(row)
		}
		a, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		b, err := Solve(context.Background(), q, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if a.Status != b.Status || !sameRat(a.Objective, b.Objective) {
			t.Errorf("seed %d: %v %v, in other units and order %v %v", seed, a.Status, a.Objective, b.Status, b.Objective)
		}
	}
}

// A basis is certified only when its vertex is the optimum: any others, drawn at
// random, are refused or have its value.
func TestCertifyRefuses(t *testing.T) {
	refused, agreed := 0, 0
	for seed := range 600 {
		r := rand.New(rand.NewPCG(uint64(seed), 3))
		p := randomLinear(r)
		im := newImage(p)
		best, _, st := im.decide(im.lo, im.hi, nil)
		for range 20 {
			b := &basis{up: make([]bool, im.n+im.m)}
			for _, v := range r.Perm(im.n + im.m)[:im.m] {
				b.basic = append(b.basic, int32(v))
			}
			for v := range b.up {
				b.up[v] = im.lo[v] == nil || im.hi[v] != nil && r.IntN(2) == 0
			}
			v := im.certify(im.lo, im.hi, b)
			switch {
			case v == nil:
				refused++
			case st != Optimal || v.obj.Cmp(best.obj) != 0:
				t.Errorf("seed %d: a basis of value %v certified, the programme is %v", seed, v.obj, st)
			default:
				agreed++
			}
		}
	}
	if refused < 1000 || agreed < 100 {
		t.Errorf("%d refused, %d certified: the bases do not try both", refused, agreed)
	}
}

package program

import (
	"context"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"example.org/remelt/ledger/charge/program/glpsol"
)

// enumerate is the oracle of small programmes whose columns are all whole.
func enumerate(p *Problem) *big.Rat {
	var best *big.Rat
	x := make([]*big.Rat, len(p.Cols))
	var rec func(j int)
	rec = func(j int) {
		if j == len(x) {
			if p.Feasible(x) {
				if z := p.Value(x); best == nil || z.Cmp(best) < 0 {
					best = z
				}
			}
			return
		}
		lo, _ := ceilRat(p.Cols[j].Lo).Float64()
		hi, _ := floorRat(p.Cols[j].Hi).Float64()
		for v := lo; v <= hi; v++ {
			x[j] = new(big.Rat).SetFloat64(v)
			rec(j + 1)
		}
	}
	rec(0)
	return best
}

func TestEnumerated(t *testing.T) {
	n := 800
	feasible := 0
	for seed := range n {
		p := randomProblem(rand.New(rand.NewPCG(uint64(seed), 1)), true)
		want := enumerate(p)
		got, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			if got.Status != Infeasible {
				t.Errorf("seed %d: %v, enumeration finds nothing", seed, got.Status)
			}
			continue
		}
		feasible++
		if got.Status != Optimal || got.Objective.Cmp(want) != 0 {
			t.Errorf("seed %d: %v %v, enumerated optimum %v", seed, got.Status, got.Objective, want)
			continue
		}
		if !p.Feasible(got.X) || p.Value(got.X).Cmp(got.Objective) != 0 {
			t.Errorf("seed %d: the answer breaks its own programme", seed)
		}
		if got.Bound.Cmp(want) > 0 || got.Gap() > 1e-9 {
			t.Errorf("seed %d: bound %v, optimum %v", seed, got.Bound, want)
		}
	}
	if feasible < n/5 || feasible > n*4/5 {
		t.Errorf("%d of %d programmes feasible: the instances do not try both", feasible, n)
	}
}

// agree solves p here and with glpsol and reports a disagreement; "" is agreement
// or a limit of glpsol's, said in what.
func agree(t *testing.T, p *Problem, flags ...string) (what, wrong string) {
	t.Helper()
	g := runGlpsol(t, p, 10, flags...)
	if !slices.ContainsFunc(p.Cols, func(c Col) bool { return c.Whole }) && g.Status == "f" && !g.Late {
		g.Status = "o" // of a programme without whole columns glpsol says feasible, twice, for optimal
	}
	ctx, stop := context.WithTimeout(context.Background(), 30*time.Second)
	defer stop()
	got, err := Solve(ctx, p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got.X != nil && (!p.Feasible(got.X) || p.Value(got.X).Cmp(got.Objective) != 0) {
		return "", "the answer breaks its own programme"
	}
	switch {
	case g.Late || got.Status == Feasible || got.Status == Unknown:
		// A limit of one of them: the answers must still enclose one another.
		if got.Bound != nil && (g.Status == "f" || g.Status == "o") {
			if b, _ := got.Bound.Float64(); g.Value < b-1e-6*math.Max(1, math.Abs(b)) {
				return "", fmt.Sprintf("bound %v, glpsol has %v", b, g.Value)
			}
		}
		if g.Status == "f" && got.Status == Infeasible && holds(g, p) {
			return "", fmt.Sprintf("infeasible, glpsol has %v", g.Value)
		}
		return "limit", ""
	case g.Status == "o" && !holds(g, p):
		// GLPK 5.0's integer preprocessor (on by default in glpsol, --nopresol does
		// not turn it off) hands out answers that break a row: 12.93 x between 2.9
		// and 9.9, x 0 or 1, becomes x = 1, "integer optimal". Ask without it.
		if len(flags) > 0 {
			return "", "glpsol's answer breaks its rows"
		}
		_, wrong := agree(t, p, "--nointopt")
		return "glpsol wrong by default", wrong
	case got.Status == Infeasible && (g.Status == "n" || g.Status == "u"):
		return "infeasible", ""
	case got.Status == Optimal && g.Status == "o":
		z, _ := got.Objective.Float64()
		if math.Abs(z-g.Value) > 1e-6*math.Max(1, math.Abs(z)) {
			return "", fmt.Sprintf("optimum %v, glpsol %v", z, g.Value)
		}
		return "optimal", ""
	}
	return "", fmt.Sprintf("%v, glpsol %q %v", got.Status, g.Status, g.Value)
}

// How long random programmes are thrown at both solvers: REMELT_STRESS (a
// duration such as 1h), or a minute under REMELT_CI=1, or two seconds.
func stressTime(t *testing.T) time.Duration {
	if s := os.Getenv("REMELT_STRESS"); s != "" {
		d, err := time.ParseDuration(s)
		if err != nil {
			t.Fatalf("REMELT_STRESS: %v", err)
		}
		return d
	}
	if os.Getenv("REMELT_CI") == "1" {
		return time.Minute
	}
	return 2 * time.Second
}

// Random programmes with ties, contradictions and knapsack-like pieces against
// glpsol, the small ones against enumeration as well, for as long as stressTime
// says. REMELT_SEED starts elsewhere.
func TestStress(t *testing.T) {
	glpsol.Need(t)
	first, _ := strconv.ParseUint(os.Getenv("REMELT_SEED"), 10, 64)
	count := map[string]int{}
	for seed, end := first, time.Now().Add(stressTime(t)); time.Now().Before(end); seed++ {
		r := rand.New(rand.NewPCG(seed, 5))
		small := r.IntN(4) == 0
		p := randomProblem(r, small)
		if r.IntN(10) == 0 {
			p, small = blendProblem(seed, 5+r.IntN(10), 2+r.IntN(5)), false
		}
		what, wrong := agree(t, p)
		if wrong != "" {
			t.Errorf("seed %d: %s", seed, wrong)
			continue
		}
		count[what]++
		l := randomLinear(r)
		res, err := Solve(context.Background(), l, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if res.Status != Unbounded {
			proveLinear(t, int(seed), l, res)
			count["linear, proves itself"]++
		}
		if small {
			want := enumerate(p)
			got, err := Solve(context.Background(), p, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if (want == nil) != (got.Status == Infeasible) || want != nil && !sameRat(want, got.Objective) {
				t.Errorf("seed %d: %v %v, enumerated %v", seed, got.Status, got.Objective, want)
			}
			count["enumerated"]++
		}
	}
	t.Logf("%v", count)
}

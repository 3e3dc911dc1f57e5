package program

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sort"
	"testing"
	"time"

	"example.org/remelt/ledger/charge/program/glpsol"
)

// blendProblem draws a charge of the size that the shop's planner must answer
// at once: lots of whole pieces or of loose metal by the handful, elements with
// windows, a least total and a largest one, and a share of returns.
func blendProblem(seed uint64, lots, elements int) *Problem {
	r := rand.New(rand.NewPCG(seed, 40))
	p := &Problem{}
	frac := make([][]int64, 0) // per column and element, in 1e-5
	target := make([]float64, elements)
	for e := range elements {
		target[e] = math.Exp(r.Float64()*5 - 7) // 0.1 % to 13 %
	}
	var mass []int64 // grams
	var ret []bool
	for range lots {
		f := make([]int64, elements)
		for e := range f {
			f[e] = int64(target[e] * math.Exp(0.35*r.NormFloat64()) * 1e5)
		}
		price := int64(600 + r.IntN(900)) // per kg
		isRet := r.IntN(2) == 0
		if isRet {
			price = price * 6 / 10
		}
		if r.IntN(4) == 0 { // loose, handfuls of 500 g
			p.AddCol(Col{Cost: Int(price * 500 / 1000), Lo: Int(0), Hi: Int(int64(4 + r.IntN(30))), Whole: true})
			mass, ret, frac = append(mass, 500), append(ret, isRet), append(frac, f)
			continue
		}
		for range 1 + r.IntN(3) {
			m := int64(2000 + r.IntN(8000))
			p.AddCol(Col{Cost: Int(price * m / 1000), Lo: Int(0), Hi: Int(int64(1 + r.IntN(2))), Whole: true})
			mass, ret, frac = append(mass, m), append(ret, isRet), append(frac, f)
		}
	}
	total := int64(60000 + r.IntN(40000))
	row := func(name string, lo, hi *int64, coef func(j int) int64) {
		t := Row{Name: name}
		if lo != nil {
			t.Lo = Int(*lo)
		}
		if hi != nil {
			t.Hi = Int(*hi)
		}
		for j := range p.Cols {
			if c := coef(j); c != 0 {
				t.Terms = append(t.Terms, Term{j, Int(c)})
			}
		}
		p.AddRow(t)
	}
	most, zero := total*115/100, int64(0)
	row("total", &total, &most, func(j int) int64 { return mass[j] })
	row("returns", nil, &zero, func(j int) int64 {
		if ret[j] {
			return mass[j]
		}
		return -mass[j]
	})
	for e := range elements {
		hi := int64(target[e] * (1.05 + 0.15*r.Float64()) * 1e5)
		row(fmt.Sprintf("max%d", e), nil, &zero, func(j int) int64 { return mass[j] * (frac[j][e] - hi) })
		if e%3 == 0 {
			lo := int64(target[e] * (0.8 + 0.15*r.Float64()) * 1e5)
			row(fmt.Sprintf("min%d", e), &zero, nil, func(j int) int64 { return mass[j] * (frac[j][e] - lo) })
		}
	}
	return p
}

// The same blends, by the same proven gap, here and by glpsol with and without
// its cuts: the ratio of processor times is logged. The answers must agree
// within the gap.
func TestBlendsAgainstGlpsol(t *testing.T) {
	glpsol.Need(t)
	const gap = 0.001
	n := 2
	if os.Getenv("REMELT_STRESS") != "" {
		n = 20
	}
	var ours, theirs, cuts []float64
	for seed := range n {
		p := blendProblem(uint64(seed), 40, 15)
		g := runGlpsol(t, p, 10, "--mipgap", fmt.Sprint(gap))
		c := runGlpsol(t, p, 10, "--cuts", "--mipgap", fmt.Sprint(gap))
		t0 := cpu()
		got, err := Solve(context.Background(), p, Options{Gap: gap})
		d := cpu() - t0
		if err != nil {
			t.Fatal(err)
		}
		z, _ := got.Objective.Float64()
		b, _ := got.Bound.Float64()
		if got.Status != Optimal || got.Gap() > gap || !p.Feasible(got.X) {
			t.Errorf("seed %d: %v, gap %v", seed, got.Status, got.Gap())
		}
		for _, other := range []glpsol.Answer{g, c} {
			if other.Value != 0 && other.Value < b-1e-6*b {
				t.Errorf("seed %d: proven bound %v, glpsol has %v", seed, b, other.Value)
			}
		}
		t.Logf("seed %2d: %d columns, %d rows: %v in %d nodes, %v; glpsol %v, %v; with cuts %v, %v", seed, len(p.Cols), len(p.Rows),
			z, got.Nodes, d.Round(time.Millisecond), g.Value, g.CPU.Round(time.Millisecond), c.Value, c.CPU.Round(time.Millisecond))
		ours, theirs, cuts = append(ours, d.Seconds()), append(theirs, g.CPU.Seconds()), append(cuts, c.CPU.Seconds())
	}
	sort.Float64s(ours)
	sort.Float64s(theirs)
	sort.Float64s(cuts)
	mid := len(ours) / 2
	t.Logf("median processor time %.3f s, glpsol %.3f s, with cuts %.3f s; ratio to the faster %.2f", ours[mid], theirs[mid], cuts[mid], ours[mid]/min(theirs[mid], cuts[mid]))
}

func BenchmarkBlend40x15(b *testing.B) {
	for i := 0; b.Loop(); i++ {
		if _, err := Solve(context.Background(), blendProblem(uint64(i%20), 40, 15), Options{Gap: 0.001}); err != nil {
			b.Fatal(err)
		}
	}
}

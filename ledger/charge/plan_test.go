package charge

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var exactly = Limits{Gap: 1e-9}

func takesOf(p *Plan, lots []Lot) []taken {
	var out []taken
	for _, t := range p.Takes {
		for i := range lots {
			if lots[i].ID == t.Lot {
				out = append(out, taken{i, t.Loose, t.Mass, t.Mass})
			}
		}
	}
	return out
}

// Plans of small stocks against every charge there is: same feasibility, same
// cost or returns, and the reason against a plan is a reason.
func TestPlanEnumerated(t *testing.T) {
	count := map[string]int{}
	for seed := range 200 {
		h, lots := randomHeat(rand.New(rand.NewPCG(uint64(seed), 8)))
		type cand struct {
			v     verdict
			takes []taken
		}
		var best *cand
		better := func(a, b verdict) bool {
			if h.Aim == MostReturns {
				return a.returns > b.returns+0.5 || a.returns > b.returns-0.5 && a.cost < b.cost-1e-6
			}
			return a.cost < b.cost-1e-6 || a.cost < b.cost+1e-6 && a.returns > b.returns+0.5
		}
		var all []verdict
		size := newSizing(h.Molds, h.Filling, h.Loss)
		everyCharge(&h, lots, func(takes []taken) {
			v := judge(&h, lots, size, takes)
			all = append(all, v)
			if v.ok() && (best == nil || better(v, best.v)) {
				best = &cand{v, append([]taken{}, takes...)}
			}
		})
		got, err := Make(context.Background(), h, lots, exactly)
		var no *Infeasible
		switch {
		case errors.As(err, &no):
			if best != nil {
				// The chord asks for a little more metal than the chance itself.
				if best.v.margin["metal for the molds"] < 2e-4 {
					count["chord"]++
					continue
				}
				t.Errorf("seed %d: %v, but there is %v", seed, err, best.takes)
				continue
			}
			count["infeasible"]++
			checkReason(t, seed, no, all)
		case err != nil:
			t.Fatalf("seed %d: %v", seed, err)
		case best == nil:
			t.Errorf("seed %d: a plan where enumeration has none: %+v", seed, got)
		default:
			count["planned"]++
			v := judge(&h, lots, size, takesOf(got, lots))
			if !v.ok() {
				t.Errorf("seed %d: the plan breaks a demand: %v", seed, v.margin)
			}
			if math.Abs(v.cost-float64(got.Cost)) > 0.51 || math.Abs(v.charge-float64(got.Charge)) > 0.5 || math.Abs(v.net-got.Melt) > 1 {
				t.Errorf("seed %d: plan says cost %v, charge %v, melt %v; it is %v, %v, %v", seed, got.Cost, got.Charge, got.Melt, v.cost, v.charge, v.net)
			}
			if better(best.v, v) {
				if best.v.margin["metal for the molds"] < 2e-4 {
					count["chord"]++
					continue
				}
				t.Errorf("seed %d: cost %v, returns %v; best %v, %v", seed, v.cost, v.returns, best.v.cost, best.v.returns)
			}
		}
	}
	t.Logf("%v", count)
	if count["planned"] < 50 || count["infeasible"] < 50 || count["chord"] > 4 {
		t.Errorf("%v: the instances do not try it", count)
	}
}

// checkReason: the conflicting set cannot be met, it can without any one of its
// demands, and giving way as said makes a charge possible.
func checkReason(t *testing.T, seed int, no *Infeasible, all []verdict) {
	t.Helper()
	can := func(demands []Demand, give map[string]float64) bool {
		for _, v := range all {
			ok := true
			for _, d := range demands {
				m, known := v.marginOf(d)
				if !known {
					t.Fatalf("seed %d: unknown demand %q", seed, d.What)
				}
				ok = ok && m+give[d.What] >= -1e-6
			}
			if ok {
				return true
			}
		}
		return false
	}
	if !no.Minimal || len(no.Conflict) == 0 {
		t.Errorf("seed %d: %v minimal %v", seed, no.Conflict, no.Minimal)
	}
	if can(no.Conflict, nil) {
		t.Errorf("seed %d: %v can be met together", seed, no.Conflict)
	}
	for k := range no.Conflict {
		rest := append(append([]Demand{}, no.Conflict[:k]...), no.Conflict[k+1:]...)
		if !can(rest, nil) {
			t.Errorf("seed %d: %v is a conflict without %q too", seed, no.Conflict, no.Conflict[k].What)
		}
	}
	if len(no.Least) == 0 {
		t.Errorf("seed %d: no way out", seed)
	}
	give := map[string]float64{}
	for _, g := range no.Least {
		give[g.What] = g.By
		if g.Unit == "kg" && g.What[:5] == "metal" {
			give[g.What] = 1 // its margin is a chance; any will do when metal may lack
		}
	}
	for _, v := range all {
		ok := true
		for name, m := range v.margin {
			slack := 0.0
			for what, by := range give {
				if len(what) >= len(name) && what[:len(name)] == name {
					slack = by
				}
			}
			ok = ok && m+slack*(1+1e-6) >= -2e-4
		}
		if ok {
			return
		}
	}
	t.Errorf("seed %d: giving way in %v makes no charge possible", seed, no.Least)
}

// Equal input, equal plan; lots in another order, money in another unit: the same value.
func TestPlanInvariance(t *testing.T) {
	for seed := range 150 {
		r := rand.New(rand.NewPCG(uint64(seed), 8))
		h, lots := randomHeat(r)
		a, errA := Make(context.Background(), h, lots, exactly)
		b, errB := Make(context.Background(), h, lots, exactly)
		if d := cmp.Diff(a, b); d != "" || (errA == nil) != (errB == nil) {
			t.Errorf("seed %d: two runs differ:\n%s", seed, d)
		}
		turned := append([]Lot{}, lots...)
		r.Shuffle(len(turned), func(i, j int) { turned[i], turned[j] = turned[j], turned[i] })
		for i := range turned {
			turned[i].Value *= 1000
		}
		c, errC := Make(context.Background(), h, turned, exactly)
		if (errA == nil) != (errC == nil) {
			t.Errorf("seed %d: %v, in another order %v", seed, errA, errC)
			continue
		}
		if errA != nil {
			continue
		}
		if math.Abs(float64(c.Cost)-1000*float64(a.Cost)) > 501 || math.Abs(c.Returns-a.Returns) > 1e-9 {
			t.Errorf("seed %d: cost %v, returns %v; in another order and unit %v, %v", seed, a.Cost, a.Returns, c.Cost, c.Returns)
		}
		// Accepting a higher chance, or having a lot more, costs nothing.
		if h.Aim == LeastCost {
			looser := h
			looser.ChanceShort = 0.2
			if d, err := Make(context.Background(), looser, lots, exactly); err != nil || d.Cost > a.Cost {
				t.Errorf("seed %d: a chance of 20 %% instead of 5 %% costs more: %v, %v", seed, d, err)
			}
			more := append(append([]Lot{}, lots...), Lot{ID: "more", Family: "red", Pieces: []Piece{{Mass: 4e6}}, Value: 1000})
			if d, err := Make(context.Background(), h, more, exactly); err != nil || d.Cost > a.Cost {
				t.Errorf("seed %d: one lot more costs more: %v, %v", seed, d, err)
			}
		}
	}
}

// The chance of running short that a plan of whole pieces states, against 10 000
// simulated pours of it.
func TestPlanChanceSimulated(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	tried := 0
	for seed := 0; tried < 5; seed++ {
		h, lots := randomHeat(rand.New(rand.NewPCG(uint64(seed), 8)))
		h.ChanceShort = 0.15
		h.Loss = NormalLoss{Mean: 0.02, SD: 0.01}
		p, err := Make(context.Background(), h, lots, Limits{})
		if err != nil || p.ChanceShort < 0.02 {
			continue
		}
		tried++
		size := newSizing(h.Molds, h.Filling, h.Loss)
		short := 0
		const n = 10000
		for range n {
			f := h.Filling
			chi := 0.0
			for range int(f.DF) {
				z := r.NormFloat64()
				chi += z * z
			}
			s := math.Sqrt(f.DF * f.Spread * f.Spread / chi)
			b := f.Bias + s/math.Sqrt(f.Weight)*r.NormFloat64()
			need := 0.0
			for _, m := range h.Molds {
				need += m.Metal.Mean * (1 + b + s*r.NormFloat64())
			}
			metal := float64(h.Heel - h.Skull)
			dl := 0.01 * r.NormFloat64()
			for _, t := range takesOf(p, lots) {
				metal += float64(t.mass) * (1 - lossOf(&lots[t.lot], size) - dl)
			}
			if need > metal {
				short++
			}
		}
		if got := float64(short) / n; math.Abs(got-p.ChanceShort) > 0.01 {
			t.Errorf("seed %d: plan says %.4f, simulated %.4f", seed, p.ChanceShort, got)
		}
		if p.ChanceShort > h.ChanceShort {
			t.Errorf("seed %d: chance %v above the %v set", seed, p.ChanceShort, h.ChanceShort)
		}
	}
}

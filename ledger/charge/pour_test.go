package charge

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func permutations(n int, f func([]int) bool) bool {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	var rec func(k int) bool
	rec = func(k int) bool {
		if k == n {
			return f(order)
		}
		for i := k; i < n; i++ {
			order[k], order[i] = order[i], order[k]
			if rec(k + 1) {
				return true
			}
			order[k], order[i] = order[i], order[k]
		}
		return false
	}
	return rec(0)
}

// pourable simulates a pour, second by second of temperature: the melt leaves at
// tap, each mold waits until it may start, and must end warm enough.
func pourable(molds []Mold, order []int, tap, cool float64) bool {
	at := tap
	for _, i := range order {
		m := &molds[i]
		if m.MaxC > 0 && at > m.MaxC {
			at = m.MaxC // wait for it
		}
		at -= cool / 60 * m.Takes
		if m.MaxC > 0 && at < m.MinC-1e-6 {
			return false
		}
	}
	return true
}

// Orders of pouring against all orders, each tried from the hottest tap.
func TestPourEnumerated(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 10))
	fit, searched := 0, 0
	for range 3000 {
		p := Pouring{CoolPerMinute: float64(5 + r.IntN(40)), MaxTapC: float64(1150 + r.IntN(120))}
		molds := make([]Mold, 1+r.IntN(6))
		for i := range molds {
			least := float64(1000 + r.IntN(150))
			molds[i] = Mold{ID: fmt.Sprint(i), MinC: least, MaxC: least + float64(5+r.IntN(90)), Takes: float64(10 + r.IntN(60)), Rank: r.IntN(2)}
			if r.IntN(6) == 0 {
				molds[i].MinC, molds[i].MaxC = 0, 0
			}
		}
		plan, order := planPour(molds, p)
		can := permutations(len(molds), func(o []int) bool { return pourable(molds, o, p.MaxTapC, p.CoolPerMinute) })
		if plan.Fits() != can {
			t.Fatalf("%+v %+v: plan fits %v, some order does %v", molds, p, plan.Fits(), can)
		}
		if !can || plan.TapC == 0 {
			continue
		}
		fit++
		for k := 1; k < len(order); k++ {
			if molds[order[k]].MinC > molds[order[k-1]].MinC {
				searched++
				break
			}
		}
		if plan.TapC > p.MaxTapC+1e-6 || !pourable(molds, order, plan.TapC+1e-6, p.CoolPerMinute) {
			t.Fatalf("tap at %v does not pour %+v in order %v", plan.TapC, molds, order)
		}
		if pourable(molds, order, plan.TapC-0.01, p.CoolPerMinute) {
			t.Fatalf("order %v of %+v pours from cooler than %v as well", order, molds, plan.TapC)
		}
		for k, s := range plan.Steps {
			if s.Mold != molds[order[k]].ID || s.EndC > s.StartC || s.Wait < 0 {
				t.Fatalf("step %+v", s)
			}
		}
	}
	t.Logf("%d fit, %d in another order than hottest first", fit, searched)
	if fit < 500 || searched < 5 {
		t.Errorf("%d fit, %d not hottest first: the instances do not try it", fit, searched)
	}
}

func TestPourMisses(t *testing.T) {
	molds := []Mold{{ID: "thin", MinC: 1150, MaxC: 1200, Takes: 30}, {ID: "thick", MinC: 1050, MaxC: 1090, Takes: 60}}
	p, _ := planPour(molds, Pouring{CoolPerMinute: 10, MaxTapC: 1120})
	if p.Fits() || p.Steps[0].TooCold == 0 {
		t.Errorf("a mold that wants 1150 °C fits a melt of 1120: %+v", p)
	}
	p, _ = planPour(molds, Pouring{}) // a melt that does not cool cannot do both
	if p.TapC != 1150 || p.Fits() || p.Steps[1].TooHot != 60 {
		t.Errorf("%+v", p)
	}
	p, _ = planPour([]Mold{{ID: "b", Rank: 2}, {ID: "a", Rank: 1}}, Pouring{CoolPerMinute: 10})
	if !p.Fits() || p.TapC != 0 || p.Steps[0].Mold != "a" {
		t.Errorf("molds without temperatures go by rank: %+v", p)
	}
	p, _ = planPour(molds, Pouring{CoolPerMinute: 10, MaxTapC: 1250})
	if !p.Fits() || math.Abs(p.Steps[1].Wait-(1150-1090)*6) > 1e-6 || math.Abs(p.TapC-1155) > 1e-6 {
		t.Errorf("tap at 1155 for half a minute at 10 °C a minute, wait for 1090: %+v", p)
	}
}

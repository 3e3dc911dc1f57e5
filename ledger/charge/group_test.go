package charge

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func randomGrouping(r *rand.Rand, n int) Grouping {
	g := Grouping{ChanceShort: 0.05, Filling: Filling{0.01, 20, 0.04, 25}, Loss: NormalLoss{0.02, 0.005},
		Pouring: Pouring{CoolPerMinute: float64(5 + r.IntN(20)), MaxTapC: 1250}, PerKg: int64(r.IntN(120)), PourOff: int64(r.IntN(3)) * 500_000}
	for k := range 1 + r.IntN(2) {
		v := Vessel{ID: fmt.Sprint("V", k), Crucible: Crucible{Volume: float64(2000 + r.IntN(3000)), Fill: 0.9, Density: 7.8}, Skull: 200_000, Cost: int64(2000 + r.IntN(6)*500)}
		if k == 1 && r.IntN(2) == 0 {
			v.Alloys = []string{"A"}
		}
		g.Vessels = append(g.Vessels, v)
	}
	for i := range n {
		least := float64(1000 + 10*r.IntN(15))
		m := Mold{ID: fmt.Sprint("m", i), Alloy: []string{"A", "A", "B"}[r.IntN(3)], Metal: Estimate{Mean: float64(1+r.IntN(9)) * 1e6},
			MinC: least, MaxC: least + float64(40+r.IntN(80)), Takes: float64(15 + r.IntN(40))}
		if r.IntN(4) == 0 {
			m.MinC, m.MaxC = 0, 0
		}
		g.Molds = append(g.Molds, m)
	}
	return g
}

// enumerated is the least cost over all partitions of the molds into heats and all
// vessels for each, −1 when there is none.
func enumerated(g *Grouping) int64 {
	memo := map[string]int64{}
	price := func(set []int) int64 {
		key := fmt.Sprint(set)
		if c, ok := memo[key]; ok {
			return c
		}
		best := int64(-1)
		defer func() { memo[key] = best }()
		var molds []Mold
		for _, i := range set {
			if g.Molds[i].Alloy != g.Molds[set[0]].Alloy {
				return best
			}
			molds = append(molds, g.Molds[i])
		}
		if !permutations(len(molds), func(o []int) bool { return pourable(molds, o, g.Pouring.MaxTapC, g.Pouring.CoolPerMinute) }) {
			return best
		}
		s := newSizing(molds, g.Filling, g.Loss)
		for _, v := range g.Vessels {
			if len(v.Alloys) > 0 && !slices.Contains(v.Alloys, molds[0].Alloy) {
				continue
			}
			// The least charge by bisection on the chance itself.
			low, high := 0.0, 1e9
			for range 60 {
				c := (low + high) / 2
				metal := c*(1-s.lossy) - float64(v.Skull)
				if chance, _ := s.short(metal, c); chance > g.ChanceShort || metal < s.mean+float64(g.PourOff) {
					low = c
				} else {
					high = c
				}
			}
			if high > v.Crucible.Volume*v.Crucible.Fill*v.Crucible.Density*1000 {
				continue
			}
			if cost := v.Cost + int64(math.Ceil(float64(g.PerKg)*high/1e6)); best < 0 || cost < best {
				best = cost
			}
		}
		return best
	}
	best := int64(-1)
	var rec func(i int, parts [][]int)
	rec = func(i int, parts [][]int) {
		if i == len(g.Molds) {
			sum := int64(0)
			for _, p := range parts {
				c := price(p)
				if c < 0 {
					return
				}
				sum += c
			}
			if best < 0 || sum < best {
				best = sum
			}
			return
		}
		for k := range parts {
			old := parts[k]
			parts[k] = append(append([]int{}, old...), i)
			rec(i+1, parts)
			parts[k] = old
		}
		rec(i+1, append(slices.Clone(parts), []int{i}))
	}
	rec(0, nil)
	return best
}

// Heats made of up to 8 molds against every partition, every vessel and every
// order of pouring.
func TestArrangeEnumerated(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 11))
	several := 0
	for n := 1; n <= 8; n++ {
		rounds := 8
		if n == 8 {
			rounds = 3
		}
		for range rounds {
			g := randomGrouping(r, n)
			want := enumerated(&g)
			got, err := Arrange(g)
			var no *Ungroupable
			if errors.As(err, &no) {
				if want >= 0 {
					t.Errorf("%v, enumerated cost %d", err, want)
				}
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			// A charge differs by less than a gram from the bisection's.
			if !got.Proven || got.Bound != got.Cost || math.Abs(float64(got.Cost-want)) > float64(len(got.Heats)) {
				t.Errorf("%d molds: cost %d (proven %v), enumerated %d", n, got.Cost, got.Proven, want)
			}
			if len(got.Heats) > 1 && len(got.Heats) < n {
				several++
			}
			checkGroups(t, &g, got)
		}
	}
	if several < 15 {
		t.Errorf("only %d of the groupings are between one heat a mold and one for all", several)
	}
}

func checkGroups(t *testing.T, g *Grouping, got *Grouped) {
	t.Helper()
	seen := make([]int, len(g.Molds))
	for _, h := range got.Heats {
		var list []Mold
		for _, i := range h.Molds {
			seen[i]++
			list = append(list, g.Molds[i])
			if g.Molds[i].Alloy != h.Alloy {
				t.Errorf("mold %d of %s in a heat of %s", i, g.Molds[i].Alloy, h.Alloy)
			}
		}
		order := make([]int, len(list))
		for i := range order {
			order[i] = i
		}
		if h.TapC > 0 && !pourable(list, order, h.TapC+1e-6, g.Pouring.CoolPerMinute) {
			t.Errorf("heat %+v cannot be poured in its order from %v °C", h, h.TapC)
		}
	}
	for i, n := range seen {
		if n != 1 {
			t.Errorf("mold %d is in %d heats", i, n)
		}
	}
}

// Beyond what is enumerated: every mold once, the bound below the cost, no worse
// than the exact answer of a part, and the same every time.
func TestArrangeMany(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 11))
	for range 3 {
		g := randomGrouping(r, 22)
		for i := range g.Molds {
			g.Molds[i].Alloy = "A"
			g.Molds[i].MinC, g.Molds[i].MaxC = 1000, 1200
		}
		g.Vessels[0].Crucible.Volume = 6000
		a, err := Arrange(g)
		if err != nil {
			t.Fatal(err)
		}
		b, _ := Arrange(g)
		if a.Cost != b.Cost || len(a.Heats) != len(b.Heats) {
			t.Errorf("two runs: %d and %d", a.Cost, b.Cost)
		}
		checkGroups(t, &g, a)
		if a.Bound > a.Cost {
			t.Errorf("bound %d above cost %d", a.Bound, a.Cost)
		}
		t.Logf("22 molds in %d heats, cost %d, bound %d", len(a.Heats), a.Cost, a.Bound)
	}
}

func TestUngroupable(t *testing.T) {
	g := randomGrouping(rand.New(rand.NewPCG(4, 11)), 2)
	g.Molds[1].Metal.Mean = 5e8
	var no *Ungroupable
	if _, err := Arrange(g); !errors.As(err, &no) || no.Mold != "m1" {
		t.Errorf("a mold of 500 kg: %v", err)
	}
}

// Two heats from one stock against every pair of charges.
func TestTogetherEnumerated(t *testing.T) {
	planned, refused := 0, 0
	for seed := range 150 {
		r := rand.New(rand.NewPCG(uint64(seed), 12))
		h, lots := randomHeat(r)
		lots = lots[:2]
		for i := range lots {
			lots[i].Held, lots[i].Family = "", "red"
			if len(lots[i].Pieces) > 3 {
				lots[i].Pieces = lots[i].Pieces[:3]
			}
			lots[i].Loose = min(lots[i].Loose, 6e6)
			lots[i].LooseHeld = 0
			lots[i].Value = lots[i].Mass() / 1e6 * int64(300+100*i)
		}
		if lots[0].Mass() == 0 || lots[1].Mass() == 0 {
			continue
		}
		h.Aim, h.Must, h.Loss = LeastCost, nil, NormalLoss{Mean: 0.02}
		h.Molds = h.Molds[:1]
		h.Molds[0].Metal.Mean = float64(2+r.IntN(4)) * 1e6
		g := h
		g.ID = "g"
		g.Molds = []Mold{{Metal: Estimate{Mean: float64(2+r.IntN(4)) * 1e6}}}
		sizeH, sizeG := newSizing(h.Molds, h.Filling, h.Loss), newSizing(g.Molds, g.Filling, g.Loss)
		type use struct {
			cost float64
			mass map[taken]int64
		}
		collect := func(h *Heat, size *sizing) (out []use) {
			everyCharge(h, lots, func(takes []taken) {
				if v := judge(h, lots, size, takes); v.ok() {
					u := use{v.cost, map[taken]int64{}}
					for _, t := range takes {
						u.mass[kind(t)] += t.mass
					}
					out = append(out, u)
				}
			})
			return out
		}
		have := map[taken]int64{}
		everyCharge(&h, lots, func(takes []taken) {
			for _, t := range takes {
				if k := kind(t); t.mass > have[k] {
					have[k] = t.mass
				}
			}
		})
		best := math.Inf(1)
		for _, a := range collect(&h, sizeH) {
			for _, b := range collect(&g, sizeG) {
				fits := true
				for k, m := range b.mass {
					fits = fits && m+a.mass[k] <= have[k]
				}
				if fits {
					best = math.Min(best, a.cost+b.cost)
				}
			}
		}
		plans, err := Together(t.Context(), []Heat{h, g}, lots, exactly)
		if err != nil {
			refused++
			if !math.IsInf(best, 1) {
				t.Errorf("seed %d: %v, enumerated cost %v", seed, err, best)
			}
			continue
		}
		planned++
		if cost := float64(plans[0].Cost + plans[1].Cost); math.Abs(cost-best) > 1.1 {
			t.Errorf("seed %d: cost %v, enumerated %v", seed, cost, best)
		}
		used := map[string]int{}
		for _, p := range plans {
			for _, k := range p.Takes {
				if !k.Loose {
					used[k.Lot+k.Piece]++
				}
			}
		}
		for i := range lots {
			n := map[string]int{}
			for _, p := range lots[i].Pieces {
				n[lots[i].ID+p.ID]++
			}
			for id, k := range n {
				if used[id] > k {
					t.Errorf("seed %d: piece %s is used %d times, there are %d", seed, id, used[id], k)
				}
			}
		}
	}
	t.Logf("%d planned, %d refused", planned, refused)
	if planned < 15 || refused < 15 {
		t.Errorf("%d planned, %d refused: the instances do not try it", planned, refused)
	}
}

// kind is what a take is counted against: pieces of one mass, the handfuls, or the
// last handful of a lot.
func kind(t taken) taken {
	t.mass = 0
	return t
}

// Where cost does not decide, fewer heats do.
func TestArrangeFewestHeats(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 11))
	for range 20 {
		g := randomGrouping(r, 6)
		g.PerKg = 0
		for i := range g.Vessels {
			g.Vessels[i].Cost = 0
		}
		free, err := Arrange(g)
		if err != nil {
			continue
		}
		for i := range g.Vessels {
			g.Vessels[i].Cost = 1 // the number of heats is the cost now
		}
		if paid, err := Arrange(g); err != nil || int64(len(free.Heats)) != paid.Cost {
			t.Errorf("%d heats where they cost nothing, %v where each costs 1", len(free.Heats), paid)
		}
	}
}

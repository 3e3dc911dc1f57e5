package loss

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

var long = flag.Bool("long", false, "run the simulations over 200 seeds instead of a few")

// world is an invented shop whose losses come from a family that the model does not assume: skewed (log-normal), with
// heavy tails (a heat in twelve goes wrong, Pareto), multiplied together, and drifting.
type world struct {
	heats  int
	drift  float64 // relative growth of the loss over the whole span
	step   int     // from this heat on (0: never) …
	jump   float64 // … the loss is this much more, a fraction of the charge
	normal bool    // plain normal scatter instead
}

var shopFamilies = map[string]Base{"silicon bronze": CopperBase, "tin bronze": CopperBase, "yellow brass": ZincBearing, "aluminium": AluminiumBase}

func (w world) draw(seed uint64) []Heat {
	r := rand.New(rand.NewPCG(seed, 41))
	family := []string{"silicon bronze", "silicon bronze", "silicon bronze", "tin bronze", "yellow brass", "aluminium"}
	base := map[string]float64{"silicon bronze": 0.8, "tin bronze": 1.0, "yellow brass": 1.5, "aluminium": 1.8}
	form := [NumForms]float64{0.016, 0.024, 0.018, 0.05, 0.12}
	pot := map[string]float64{}
	day := time.Date(2025, 1, 6, 8, 0, 0, 0, time.UTC)
	var out []Heat
	for i := range w.heats {
		day = day.Add(time.Duration(12+r.IntN(36)) * time.Hour)
		h := Heat{ID: fmt.Sprintf("H%04d", i+1), Time: day, Family: family[r.IntN(len(family))], Charged: 20 + 60*r.Float64()}
		h.Crucible = fmt.Sprintf("%s pot %d", h.Family[:2], i/240)
		h.Furnace = []string{"gas 1", "gas 2"}[r.IntN(2)]
		if _, ok := pot[h.Crucible]; !ok {
			pot[h.Crucible] = math.Exp(0.12 * r.NormFloat64())
		}
		total := 0.0
		for f := range h.Shares {
			x := r.ExpFloat64() * []float64{1, 1, 0.6, 0.15, 0.02}[f]
			h.Shares[f] = x
			total += x
		}
		rate := 0.0
		for f := range h.Shares {
			h.Shares[f] /= total
			rate += h.Shares[f] * form[f]
		}
		if r.IntN(3) > 0 {
			s := 60 + 120*r.Float64()
			h.Superheat = &s
			rate *= 1 + 0.002*(s-120)
		}
		rate *= base[h.Family] * pot[h.Crucible]
		if h.Furnace == "gas 2" {
			rate *= 1.1
		}
		rate *= 1 + w.drift*float64(i)/float64(w.heats)
		if w.normal {
			rate += 0.006 * r.NormFloat64()
		} else {
			rate *= math.Exp(0.30 * r.NormFloat64())
			if r.IntN(12) == 0 {
				rate += 0.006 * (math.Pow(1-r.Float64(), -1/2.5) - 1) // Pareto, infinite third moment
			}
		}
		if w.step > 0 && i >= w.step {
			rate += w.jump
		}
		sd := 0.05 + 0.05*r.Float64() // kg
		h.Loss = split(rate*h.Charged, sd, r.NormFloat64())
		out = append(out, h)
	}
	return out
}

// split shares the loss out over the causes; what was weighed falls to the unaccounted.
func split(kg, sd, miss float64) (l [NumCauses]Amount) {
	for c, s := range [NumCauses]float64{0.4, 0.35, 0.05, 0.1, 0.1} {
		l[c] = Amount{Kg: s * kg, Known: true}
	}
	l[Unaccounted].Kg += sd * miss
	l[Unaccounted].SD = sd
	return l
}

// In a shop whose losses are skewed, heavy-tailed and drifting, 90 % intervals hold 85 to 95 % of the heats held back.
func TestIntervalsHoldWhatTheyPromise(t *testing.T) {
	for _, c := range []struct {
		name  string
		world world
		first int
		drift bool
		seeds int // few, for every day; 200 with -long
	}{
		{"200 heats, half held back", world{heats: 200, drift: 0.4}, 100, true, 8},
		{"60 heats, 40 held back", world{heats: 60, drift: 0.2}, 20, true, 20},
		{"200 heats, drift not followed", world{heats: 200, drift: 0.4}, 100, false, 8},
	} {
		t.Run(c.name, func(t *testing.T) {
			var sum Coverage
			var width, err, belief float64
			outside, seeds := 0, c.seeds
			if *long {
				seeds = 200
			}
			for seed := range uint64(seeds) {
				cfg := Config{Beliefs: Starting(shopFamilies), Drift: c.drift}
				got, e := HoldBack(c.world.draw(seed), cfg, c.first, 0, 0.9)
				if e != nil {
					t.Fatal(e)
				}
				sum.Heats += got.Heats
				sum.Inside += got.Inside
				sum.Below += got.Below
				sum.Above += got.Above
				for k, n := range got.PIT {
					sum.PIT[k] += n
				}
				width += got.Width / float64(seeds)
				err += got.Error / float64(seeds)
				belief += got.BeliefError / float64(seeds)
				if got.Rate < 0.85 || got.Rate > 0.95 {
					outside++
				}
			}
			rate := float64(sum.Inside) / float64(sum.Heats)
			t.Logf("%d seeds: %.2f %% of %d heats inside (%d below, %d above); %d seeds outside 85–95 %%; mean width %.4f, error %.4f (beliefs alone %.4f); by tenth %v",
				seeds, 100*rate, sum.Heats, sum.Below, sum.Above, outside, width, err, belief, sum.PIT)
			if rate < 0.85 || rate > 0.95 {
				t.Errorf("coverage %.3f is outside 0.85 to 0.95", rate)
			}
			if !(err < belief) {
				t.Errorf("forecasts err by %.4f, the starting beliefs alone by %.4f", err, belief)
			}
		})
	}
}

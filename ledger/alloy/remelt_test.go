package alloy

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func drawRemelt(r *rapid.T) Remelt {
	e := func(name string, high float64) Estimate {
		return Estimate{rapid.Float64Range(0, high).Draw(r, name), rapid.Float64Range(0, high/10).Draw(r, name+" sd")}
	}
	return Remelt{Element: "Fe", Virgin: e("virgin", 0.2), Start: e("start", 0.5),
		Loss:     Drift{rapid.Float64Range(0, 0.2).Draw(r, "loss"), 0.01, 0.01},
		Pickup:   Drift{rapid.Float64Range(0, 0.05).Draw(r, "pickup"), 0.002, 0.002},
		MeltLoss: rapid.Float64Range(0, 0.1).Draw(r, "melt loss")}
}

func TestClosedFormAgreesWithSteps(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m, share := drawRemelt(r), rapid.Float64Range(0, 1).Draw(r, "share")
		n := rapid.IntRange(0, 60).Draw(r, "n")
		steps, err := m.Forecast(n, share)
		if err != nil {
			r.Fatal(err)
		}
		for _, s := range steps {
			want, err := m.After(s.N, share)
			if err != nil || !near(s.Content.Mean, want, 1e-9) {
				r.Fatalf("after %d: steps %g, closed form %g, %v", s.N, s.Content.Mean, want, err)
			}
		}
		if end, ok, err := m.Settles(share); err != nil {
			r.Fatal(err)
		} else if a, _ := m.line(share); ok && a < 0.95 {
			late, err := m.Forecast(2000, share)
			if err != nil {
				r.Fatal(err)
			}
			last := late[2000].Content
			if fixed, ok := m.end(share); !ok || !near(last.Mean, end, 1e-9) || !near(last.Mean, fixed.Mean, 1e-9) || !near(last.SD, fixed.SD, 1e-9) {
				r.Fatalf("settles at %g (%+v), after 2000 melts %+v", end, fixed, last)
			}
		}
	})
}

// A shop without returns has virgin metal melted once in every heat; a shop of
// returns alone, without loss, gains one pickup a heat; with the shares of metal by
// age, r^k(1−r), the mixture of ages gives the same answer as the recursion.
func TestRemeltByAgeOfMetal(t *testing.T) {
	m := Remelt{Element: "Fe", Virgin: Estimate{Mean: 0.1}, Start: Estimate{Mean: 0.1}, Pickup: Drift{Mean: 0.01}}
	for n, want := range map[int]float64{0: 0.1, 1: 0.11, 5: 0.15} {
		if got, _ := m.After(n, 1); !near(got, want, 1e-12) {
			t.Errorf("returns only, after %d: %g, want %g", n, got, want)
		}
	}
	if _, ok, _ := m.Settles(1); ok {
		t.Error("iron picked up for ever and never let go does not settle")
	}
	m.Loss.Mean, m.MeltLoss = 0.08, 0.03
	for _, share := range []float64{0, 0.3, 0.5, 0.9} {
		kept, g := 1-m.Loss.Mean, 1-m.MeltLoss
		byAge, virgin := 0.0, m.Virgin.Mean
		for k, weight := 0, 1-share; k < 5000; k, weight = k+1, weight*share {
			virgin = (virgin*kept + m.Pickup.Mean) / g // metal on its k+1st melt
			byAge += weight * virgin
		}
		if got, ok, _ := m.Settles(share); !ok || !near(got, byAge, 1e-9) {
			t.Errorf("share %g settles at %g, by ages of metal %g", share, got, byAge)
		}
	}
}

// The recursion against the heats themselves, one Melt poured after another. Iron
// does not burn, the copper around it does.
func TestRemeltAgreesWithMelts(t *testing.T) {
	virgin := measured(t, "virgin", map[string]Estimate{"Fe": {0.05, 0.01}}, "Cu")
	loss, pickup := 0.02, Drift{0.01, 0.002, 0.004}
	m := Remelt{Element: "Fe", Virgin: Estimate{0.05, 0.01}, Start: Estimate{0.05, 0}, Pickup: pickup, MeltLoss: loss}
	steps, err := m.Forecast(12, 0.6)
	if err != nil {
		t.Fatal(err)
	}
	returns := measured(t, "start", map[string]Estimate{"Fe": {0.05, 0}}, "Cu")
	for i := 1; i <= 12; i++ {
		returns, _ = pour(t, Melt{Origin: fmt.Sprint("heat ", i),
			Inputs:  []Input{{Mass: 60, Of: returns}, {Mass: 40, Of: virgin}},
			Effects: []Effect{{Element: "Cu", Loss: Drift{Mean: loss}}, {Element: "Fe", Pickup: pickup}}})
		got, want := returns.Estimate("Fe"), steps[i].Content
		// g is 1 − loss of the copper + pickup in the melt, 1 − MeltLoss in the recursion.
		if math.Abs(got.Mean-want.Mean) > 1e-3*want.Mean || math.Abs(got.SD-want.SD) > 5e-3*want.SD {
			t.Errorf("heat %d: melt %+v, recursion %+v", i, got, want)
		}
	}
}

// The standard deviation against brute force.
func TestRemeltDeviationAgreesWithSimulation(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	m := Remelt{Element: "Zn", Virgin: Estimate{5, 0.1}, Start: Estimate{4.5, 0.2}, Loss: Drift{0.07, 0.01, 0.02}, MeltLoss: 0.01}
	steps, _ := m.Forecast(8, 0.5)
	const n = 40_000
	sum, squares := 0.0, 0.0
	for range n {
		d := m
		d.Virgin.Mean += d.Virgin.SD * rng.NormFloat64()
		d.Start.Mean += d.Start.SD * rng.NormFloat64()
		usual := m.Loss.Mean + m.Loss.SD*rng.NormFloat64()
		c := d.Start.Mean
		for range 8 {
			c = (0.5*c + 0.5*d.Virgin.Mean) * (1 - usual - m.Loss.HeatSD*rng.NormFloat64()) / (1 - m.MeltLoss)
		}
		sum += c
		squares += c * c
	}
	mean := sum / n
	sd := math.Sqrt(squares/n - mean*mean)
	if got := steps[8].Content; math.Abs(got.Mean-mean) > 4*sd/math.Sqrt(n)+0.005 || math.Abs(got.SD-sd) > 0.02*sd {
		t.Errorf("after 8 melts %+v, simulated %g ± %g", got, mean, sd)
	}
}

func TestContentIsMonotoneInShare(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := drawRemelt(r)
		m.Start = m.Virgin
		n := rapid.IntRange(1, 40).Draw(r, "n")
		low := rapid.Float64Range(0, 1).Draw(r, "low")
		high := rapid.Float64Range(low, 1).Draw(r, "high")
		at := func(n int, share float64) float64 {
			c, err := m.After(n, share)
			if err != nil {
				r.Fatal(err)
			}
			return c
		}
		grows := at(1, 1) >= at(0, 1) && at(2, 1) >= at(1, 1)
		falls := at(1, 1) <= at(0, 1) && at(2, 1) <= at(1, 1)
		if a, b := at(n, low), at(n, high); grows && a > b+1e-9 || falls && a < b-1e-9 {
			r.Fatalf("share %g gives %g, %g gives %g", low, a, high, b)
		}
	})
}

// Without doubts the greatest share has a closed form: the two must agree, and a
// hair more must break the limit.
func TestGreatestShareByClosedForm(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := drawRemelt(r)
		m.Virgin.SD, m.Loss.SD, m.Loss.HeatSD, m.Pickup.SD, m.Pickup.HeatSD = 0, 0, 0, 0, 0
		m.MeltLoss = math.Min(m.MeltLoss, m.Loss.Mean) // what burns less than the rest is tested by the recursion itself
		limit := Limit{Element: "Fe", Max: m.Virgin.Mean + rapid.Float64Range(0.001, 0.3).Draw(r, "room"), HasMax: true}
		s, err := m.GreatestShare(limit, Forever, 0.5)
		if err != nil {
			r.Fatal(err)
		}
		k, g := 1-m.Loss.Mean, 1-m.MeltLoss
		want := (g*limit.Max - m.Virgin.Mean*k - m.Pickup.Mean) / (k * (limit.Max - m.Virgin.Mean))
		switch {
		case want < 0:
			if s.OK {
				r.Fatalf("virgin metal alone is outside, yet share %g", s.Share)
			}
		case want >= 1:
			if !s.OK || s.Share < 1-1e-9 {
				r.Fatalf("share %+v, want 1", s)
			}
		default:
			if !s.OK || math.Abs(s.Share-want) > 1e-6 {
				r.Fatalf("share %g, closed form %g", s.Share, want)
			}
			if c, ok, err := m.Settles(s.Share + 1e-5); err == nil && ok && c <= limit.Max {
				r.Fatalf("a larger share of %g would keep it too: %g", s.Share+1e-5, c)
			}
		}
		soon, err := m.GreatestShare(limit, 3, 0.5)
		if err != nil {
			r.Fatal(err)
		}
		if soon.Share < s.Share-1e-9 {
			r.Fatalf("three melts allow %g, endless ones %g", soon.Share, s.Share)
		}
	})
}

func TestGreatestShareOfASet(t *testing.T) {
	set := castingSet(t, "A356.0", "")
	iron := Remelt{Element: "Fe", Virgin: Estimate{0.12, 0.01}, Pickup: Drift{0.02, 0.005, 0.005}}
	magnesium := Remelt{Element: "Mg", Virgin: Estimate{0.35, 0.01}, Loss: Drift{0.08, 0.02, 0.02}}
	absent := Remelt{Element: "Zn", MeltLoss: 0.02}
	s, err := GreatestShare([]Remelt{iron, magnesium, absent}, set, Forever, 0.05)
	if err != nil || !s.OK || !(s.Share > 0 && s.Share < 1) || s.Element == "Zn" {
		t.Fatalf("%+v, %v", s, err)
	}
	sure, _ := GreatestShare([]Remelt{iron, magnesium}, set, Forever, 0.01)
	mean, _ := GreatestShare([]Remelt{iron, magnesium}, set, Forever, 0.5)
	five, _ := GreatestShare([]Remelt{iron, magnesium}, set, 5, 0.05)
	if !(sure.Share < s.Share && s.Share < mean.Share && s.Share <= five.Share) {
		t.Errorf("1 %%: %g, 5 %%: %g, the mean alone: %g, five melts: %g", sure.Share, s.Share, mean.Share, five.Share)
	}
	if only, _ := GreatestShare([]Remelt{absent}, set, Forever, 0.05); only.Share != 1 || !only.OK {
		t.Errorf("an element that is not there limits nothing: %+v", only)
	}
	if out, _ := GreatestShare([]Remelt{{Element: "Fe", Virgin: Estimate{0.3, 0}}}, set, 1, 0.5); out.OK || out.Element != "Fe" {
		t.Errorf("virgin metal outside: %+v", out)
	}
}

func TestRemeltRefuses(t *testing.T) {
	good := Remelt{Element: "Fe", Virgin: Estimate{0.1, 0}}
	for name, try := range map[string]func() error{
		"share":       func() error { _, err := good.After(1, 1.1); return err },
		"share NaN":   func() error { _, err := good.After(1, math.NaN()); return err },
		"melts":       func() error { _, err := good.After(-1, 0.5); return err },
		"many melts":  func() error { _, err := good.Forecast(1e6, 0.5); return err },
		"loss":        func() error { _, _, err := Remelt{Loss: Drift{Mean: 1}}.Settles(0.5); return err },
		"melt loss":   func() error { _, _, err := Remelt{MeltLoss: -1}.Settles(0.5); return err },
		"pickup":      func() error { _, _, err := Remelt{Pickup: Drift{Mean: -1}}.Settles(0.5); return err },
		"chance":      func() error { _, err := good.GreatestShare(Limit{}, 1, 0); return err },
		"chance high": func() error { _, err := good.GreatestShare(Limit{}, 1, 0.6); return err },
	} {
		if try() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

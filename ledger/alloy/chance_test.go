package alloy

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// Areas under the standard normal curve as tabulated in the NIST/SEMATECH
// e-Handbook of Statistical Methods, 1.3.6.7.1: 0.97500 up to 1.96, 0.84134 up to
// 1.00, 0.99865 up to 3.00, 0.50000 up to 0.
func TestChanceIsTheNormalTail(t *testing.T) {
	for _, c := range []struct{ z, area float64 }{{1.96, 0.97500}, {1, 0.84134}, {3, 0.99865}, {0, 0.5}} {
		lot := measured(t, "cert", map[string]Estimate{"Sn": {5, 0.2}}, "Cu")
		for _, set := range []LimitSet{
			{Kind: Casting, Limits: []Limit{{Element: "Sn", HasMax: true, Max: 5 + 0.2*c.z}}},
			{Kind: Casting, Limits: []Limit{{Element: "Sn", HasMin: true, Min: 5 - 0.2*c.z}}},
		} {
			got, err := lot.ChanceOutside(set, Casting)
			if err != nil || math.Abs(got.AtLeast-(1-c.area)) > 0.000_01 || got.AtMost != got.AtLeast || !got.Complete {
				t.Errorf("z = %g: %+v, %v; want %g", c.z, got, err, 1-c.area)
			}
		}
	}
}

func TestChanceWithoutDoubtIsInOrOut(t *testing.T) {
	for value, want := range map[float64]float64{3.9: 1, 4: 0, 5: 0, 6: 0, 6.1: 1} {
		lot := measured(t, "cert", map[string]Estimate{"Sn": {Mean: value}}, "Cu")
		set := LimitSet{Kind: Casting, Limits: []Limit{{Element: "Sn", Min: 4, Max: 6, HasMin: true, HasMax: true}}}
		if got, _ := lot.ChanceOutside(set, Casting); got.AtLeast != want {
			t.Errorf("%g %%: %g, want %g", value, got.AtLeast, want)
		}
	}
}

func TestChanceOfSumsAndOfTheUnknown(t *testing.T) {
	set := castingSet(t, "356.0", "")
	lot := measured(t, "cert", map[string]Estimate{"Si": {7, 0}, "Sn": {0.04, 0.01}, "Cr": {0.09, 0.01}}, "Al")
	got, err := lot.ChanceOutside(set, Casting)
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got.Rows {
		switch r.Limit.Element {
		case OthersTotal: // 0.13 ± 0.01·√2 against 0.15
			if !r.Known || math.Abs(r.Above-above(Estimate{0.13, 0.01 * math.Sqrt2}, 0.15)) > 1e-12 {
				t.Errorf("others together: %+v", r)
			}
		case OthersEach: // chromium
			if !r.Known || r.Above < 0.99 {
				t.Errorf("others each: %+v", r)
			}
		case "Fe":
			if r.Known || r.Above != 0 {
				t.Errorf("iron was not measured: %+v", r)
			}
		}
	}
	if got.Complete || got.AtLeast < 0.99 || got.AtMost < got.AtLeast {
		t.Errorf("%+v", got)
	}
	var product *ProductError
	if _, err := lot.ChanceOutside(set, Ingot); !errors.As(err, &product) {
		t.Errorf("an ingot by casting limits: %v", err)
	}
}

// The stated approximation at work: certificates rectangular, chances forecast by
// the normal curve, frequencies counted.
func TestChanceAgainstCountedFrequency(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	var lots []Composition
	means := []float64{4, 6, 5}
	for i, m := range means {
		lots = append(lots, measured(t, string(rune('a'+i)), map[string]Estimate{"Sn": {m, 0.5 / math.Sqrt(3)}}, "Cu"))
	}
	c, _ := pour(t, Melt{Origin: "heat", Inputs: []Input{{Mass: 1, Of: lots[0]}, {Mass: 1, Of: lots[1]}, {Mass: 1, Of: lots[2]}}})
	for _, max := range []float64{5.1, 5.2, 5.3} {
		got, _ := c.ChanceOutside(LimitSet{Kind: Casting, Limits: []Limit{{Element: "Sn", Max: max, HasMax: true}}}, Casting)
		over := 0
		const n = 100_000
		for range n {
			s := 0.0
			for _, m := range means {
				s += (m + rng.Float64() - 0.5) / 3
			}
			if s > max {
				over++
			}
		}
		if f := float64(over) / n; math.Abs(f-got.AtLeast) > 0.01 {
			t.Errorf("over %g %%: forecast %g, counted %g", max, got.AtLeast, f)
		}
	}
}

// The verdict by the same table: at 1.96 deviations inside of a limit a row is inside, at
// 1 it may be outside, beyond it it is outside; a sum of all that is named is never only
// perhaps outside.
func TestVerdictOfAChance(t *testing.T) {
	for _, c := range []struct {
		of   string
		z    float64
		want Verdict
	}{{"Sn", 1.96, Inside}, {"Sn", 1, MayBeOutside}, {"Sn", -0.1, Outside}, {CopperAndNamed, 1, Inside}, {CopperAndNamed, -0.1, Outside}} {
		lot := measured(t, "cert", map[string]Estimate{"Sn": {5, 0.2}, "Cu": {94, 0}}, "")
		set := LimitSet{Kind: Casting, Limits: []Limit{{Element: "Sn", HasMax: true, Max: 5 + 0.2*c.z}, {Element: "Zn", HasMax: true, Max: 1}}}
		if c.of == CopperAndNamed {
			set.Limits = []Limit{{Element: "Cu", HasMin: true, Min: 50}, {Element: "Sn", HasMax: true, Max: 90}, {Element: CopperAndNamed, HasMin: true, Min: 99 - 0.2*c.z}}
		}
		got, err := lot.ChanceOutside(set, Casting)
		if err != nil || got.Verdict() != c.want {
			t.Errorf("%s, z = %g: %q, want %q (%+v, %v)", c.of, c.z, got.Verdict(), c.want, got, err)
		}
		if c.of == "Sn" && got.Rows[1].Verdict() != NotMeasured {
			t.Errorf("zinc that nobody measured is %q", got.Rows[1].Verdict())
		}
	}
}

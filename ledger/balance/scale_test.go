package balance

import (
	"errors"
	"math"
	"testing"
)

// TestWeigh checks budgets against sums written out by hand from GUM 4.3.7 (a limit a
// gives a/√3), F.2.2.1 (a step s gives s/√12) and OIML R 76-1 table 6.
func TestWeigh(t *testing.T) {
	floor := Scale{Name: "floor", Division: Milligrams(10_000), Class: ClassIII}
	checked := floor
	checked.Check = &Check{Load: 20_000_000, Error: 4_000, U: 1_000, Drift: 3_000}
	checked.Repeatability, checked.Readings = 6_000, 10
	pounds := Scale{Name: "pounds", Division: Step{45_359_237, 1000}, Class: ClassIII, Rule: HB44Maintenance}
	const g = 1e3
	sq := func(x float64) float64 { return x * x }
	for _, c := range []struct {
		name  string
		scale Scale
		w     Weighing
		value float64
		u     float64 // milligrams
	}{
		// 1260 intervals: 1 e at first verification, 2 e = 20 g in service.
		{"class", floor, Weighing{Gross: 12_600_000}, 12_600 * g, g * math.Sqrt(2*100.0/12+400.0/3)},
		// exactly 500 intervals is still ½ e, so 10 g in service; one division more is 20 g.
		{"at the edge", floor, Weighing{Gross: 5_000_000}, 5_000 * g, g * math.Sqrt(2*100.0/12+100.0/3)},
		{"past the edge", floor, Weighing{Gross: 5_010_000}, 5_010 * g, g * math.Sqrt(2*100.0/12+400.0/3)},
		// 50 lb is 500 divisions of 0.1 lb though 22 679 618.5 mg is no whole number.
		{"pounds at the edge", pounds, Weighing{Gross: 22_679_619}, 22_679_619, 45_359.237 * math.Sqrt(2.0/12+1.0/3)},
		// typed to half a kilogram
		{"typed", floor, Weighing{Gross: 12_500_000, Typed: Milligrams(500_000)}, 12_500 * g, g * math.Sqrt((sq(500)+100)/12+400.0/3)},
		// error 4, weights 1, drift 3/√3, repeatability 6
		{"check", checked, Weighing{Gross: 12_600_000}, 12_600 * g, g * math.Sqrt(2*100.0/12+16+1+3+36)},
		// twice the checked load: what the check says doubles
		{"check, heavier", checked, Weighing{Gross: 40_000_000}, 40_000 * g, g * math.Sqrt(2*100.0/12+4*(16+1+3)+36)},
		// read by difference: limits at the net (260 intervals), repeatability unknown
		{"difference", floor, Weighing{Gross: 12_600_000, Tare: Tare{Mass: 10_000_000}}, 2_600 * g, g * math.Sqrt(2*100.0/12+100.0/3)},
		{"difference, check", checked, Weighing{Gross: 12_600_000, Tare: Tare{Mass: 10_000_000}}, 2_600 * g, g * math.Sqrt(2*100.0/12+20+2*36)},
		// saved tare: limits at the gross, and its own 8 g
		{"saved tare", floor, Weighing{Gross: 12_600_000, Tare: Tare{Mass: 10_000_000, Saved: true, U: 8_000}}, 2_600 * g, g * math.Sqrt(2*100.0/12+400.0/3+64)},
		// one-heat example: 25 300 g with 2 % of dirt is 24 794 g of metal
		{"dirt", floor, Weighing{Gross: 25_300_000, Dirt: 0.02, DirtU: 0.01}, 24_794 * g, g * math.Sqrt(sq(0.98)*(2*100.0/12+sq(30)/3)+sq(253))},
	} {
		b, err := c.scale.Weigh(c.w)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if c.name == "dirt" { // 2530 intervals: 1.5 e, 3 e in service
			check(t, "dirt's part", b.Lines[len(b.Lines)-1].Size(), 253*g, 1e-6)
		}
		check(t, c.name+" metal", b.Value, c.value, 1e-6)
		check(t, c.name+" u", b.U, c.u, 1e-6*c.u)
	}
	// A division contributes 0.29 of itself (GUM F.2.2.1).
	check(t, "share of a division", Uniform(0.5), 0.29, 0.005)
}

// TestWeighDof: nine degrees of freedom of the repeatability weigh in by its share,
// Welch-Satterthwaite by hand.
func TestWeighDof(t *testing.T) {
	s := Scale{Division: Milligrams(10_000), Repeatability: 20_000, Readings: 10, Class: ClassIII}
	b, err := s.Weigh(Weighing{Gross: 3_000_000})
	if err != nil {
		t.Fatal(err)
	}
	v := 2*100.0/12 + 100.0/3 + 400
	check(t, "effective degrees of freedom", b.Dof, 9*v*v/(400*400), 1e-9)
	own, shared := b.Apart(FromScale)
	check(t, "own part", own, 1e3*math.Sqrt(2*100.0/12+400), 1e-6)
	check(t, "scale's part", shared, 1e4/math.Sqrt(3), 1e-6)
	check(t, "degrees of freedom of a quarter's doubt", DofOfDoubt(0.25), 8, 0) // GUM G.4.2 example
	check(t, "triangular", Triangular(1), 1/math.Sqrt(6), 1e-15)
}

// TestWeighCoverage holds the budget against simulation: the interval of 95 % covers
// the truth of simulated weighings in about 95 % of them.
func TestWeighCoverage(t *testing.T) {
	const runs = 6_000
	s := Scale{Division: Milligrams(10_000), Class: ClassIII, Repeatability: 5_000, Readings: 30}
	rng := seeded(7)
	spread := func(half float64) float64 { return half * (2*rng.Float64() - 1) }
	inside := 0
	for range runs {
		truth := 2_000_000 + 2e6*rng.Float64()
		dirty := truth / (1 - (0.02 + 0.01*rng.NormFloat64()))
		shown := dirty + spread(10_000) + 5_000*rng.NormFloat64() - spread(5_000)
		read := int64(math.Round(shown/10_000)) * 10_000
		b, err := s.Weigh(Weighing{Gross: read, Dirt: 0.02, DirtU: 0.01})
		if err != nil {
			t.Fatal(err)
		}
		half, _ := b.Expanded(0.95)
		if math.Abs(b.Value-truth) <= half {
			inside++
		}
	}
	share := float64(inside) / runs
	t.Logf("95 %% intervals cover %.1f %%", 100*share)
	if share < 0.94 || share > 0.96 {
		t.Errorf("95 %% intervals cover %.4f", share)
	}
}

func TestWeighRefusals(t *testing.T) {
	good := Scale{Name: "s", Division: Milligrams(100), Class: ClassIII}
	for name, c := range map[string]struct {
		scale Scale
		w     Weighing
	}{
		"no division":    {Scale{}, Weighing{Gross: 1}},
		"negative gross": {good, Weighing{Gross: -1}},
		"negative net":   {good, Weighing{Gross: 1, Tare: Tare{Mass: 2}}},
		"beyond table":   {good, Weighing{Gross: 1_000_001}},
		"dirt":           {good, Weighing{Gross: 1, Dirt: 1.1}},
		"dirt NaN":       {good, Weighing{Gross: 1, Dirt: math.NaN()}},
		"tare u":         {good, Weighing{Gross: 1, Tare: Tare{U: -1}}},
		"repeatability":  {Scale{Division: Milligrams(1), Repeatability: 3, Readings: 1}, Weighing{}},
		"check load":     {Scale{Division: Milligrams(1), Check: &Check{}}, Weighing{}},
		"III L in OIML":  {Scale{Division: Milligrams(1), Class: ClassIIIL}, Weighing{}},
	} {
		if _, err := c.scale.Weigh(c.w); !errors.Is(err, ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Without a class the last row of class III goes on.
	b, err := Scale{Division: Milligrams(100)}.Weigh(Weighing{Gross: 2_000_000})
	if err != nil {
		t.Fatal(err)
	}
	check(t, "unclassed u", b.U, math.Sqrt(2*1e4/12+9e4/3), 1e-9)
	if _, err := ParseClass("V"); !errors.Is(err, ErrInvalid) {
		t.Errorf("class V: %v", err)
	}
	if c, err := ParseClass(ClassIIIL.String()); c != ClassIIIL || err != nil {
		t.Errorf("III L does not survive: %v, %v", c, err)
	}
	if _, err := Evaluate(func(x []float64) float64 { return math.Log(x[0]) }, []Contribution{{U: 1}}); !errors.Is(err, ErrInvalid) {
		t.Errorf("a model that is not finite: %v", err)
	}
	if _, err := Evaluate(func(x []float64) float64 { return x[0] }, []Contribution{{U: -1}}); !errors.Is(err, ErrInvalid) {
		t.Errorf("negative u: %v", err)
	}
}

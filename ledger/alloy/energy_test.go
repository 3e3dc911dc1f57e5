package alloy

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// univerkov.com, worked physics problem: 4 kg of aluminium from 520 °C to 660 °C
// and melted, c 880 J/(kg·K), L 380 kJ/kg (a school table's figure).
func TestHeatToMeltAsPublished(t *testing.T) {
	var i01 struct {
		Inputs   struct{ M, C, T0, Tm, L float64 }
		Expected struct {
			Sensible float64 `json:"Q_sensible"`
			Latent   float64 `json:"Q_latent"`
			Total    float64 `json:"Q_total"`
		}
		Tolerance struct{ Abs float64 }
	}
	published(t, "i01-melt-4kg-aluminium", &i01)
	p := MeltHeat{Solid: i01.Inputs.C, Latent: i01.Inputs.L, LiquidusC: i01.Inputs.Tm}
	h, err := p.Of(i01.Inputs.M, i01.Inputs.T0, i01.Inputs.Tm)
	if err != nil {
		t.Fatal(err)
	}
	for what, pair := range map[string][2]float64{"sensible": {h.Sensible, i01.Expected.Sensible}, "latent": {h.Latent, i01.Expected.Latent}, "total": {h.Total(), i01.Expected.Total}} {
		if math.Abs(pair[0]-pair[1]) > i01.Tolerance.Abs {
			t.Errorf("%s: %g J, want %g", what, pair[0], pair[1])
		}
	}
	if h.Superheat != 0 {
		t.Errorf("superheat %g J at the melting point", h.Superheat)
	}
}

// propanecost.com; Federal Register, 21 March 2007 (frontiernaturalgas.com); ASHRAE
// Fundamentals (foodtechinfo.com). Sources differ by half a per cent.
func TestHeatingValuesAsPublished(t *testing.T) {
	var i05 struct {
		Expected struct {
			Gal  []float64 `json:"propane_btu_per_gal"`
			Gas  []float64 `json:"natural_gas_btu_per_cf"`
			KWh  []float64 `json:"kwh_btu"`
			Oil  float64   `json:"oil2_btu_per_gal"`
			Lb   float64   `json:"propane_btu_per_lb"`
			Foot float64   `json:"propane_btu_per_cf"`
		}
		Tolerance struct{ Rel float64 }
	}
	published(t, "i05-fuel-heating-values", &i05)
	want := map[string][]float64{"propane gal": i05.Expected.Gal, "propane lb": {i05.Expected.Lb}, "propane ft3": {i05.Expected.Foot},
		"natural gas ft3": i05.Expected.Gas, "electricity kWh": i05.Expected.KWh, "fuel oil no. 2 gal": {i05.Expected.Oil}}
	for _, f := range Fuels() {
		values, ok := want[f.Name+" "+f.Unit]
		delete(want, f.Name+" "+f.Unit)
		if !ok || f.Source == "" {
			t.Errorf("%s per %s: nothing to check against, or no source", f.Name, f.Unit)
		}
		for _, v := range values {
			if got := f.Joules / 1055.05585262; math.Abs(got-v) > i05.Tolerance.Rel*v {
				t.Errorf("%s: %g Btu/%s, published %g", f.Name, got, f.Unit, v)
			}
		}
	}
	if len(want) != 0 {
		t.Errorf("published but not offered: %v", want)
	}
}

func TestMeltHeatOfAlloys(t *testing.T) {
	for _, c := range []struct {
		id       string
		specific float64
		flag     Flag // of the latent heat
	}{{"C95200", 377.1, Yes}, {"C83600", 377.1, Derived}, {"A356.0", 0, Derived}, {"356.0", 963, Memory}} {
		a, _ := Builtin().Find(c.id)
		p, err := a.MeltHeat()
		if err != nil {
			t.Fatal(err)
		}
		if c.specific != 0 && p.Solid != c.specific {
			t.Errorf("%s: specific heat %g, want %g", c.id, p.Solid, c.specific)
		}
		if len(p.Used) != 3 || p.Used[2].Verified != c.flag || p.Used[2].Source == "" || p.Latent < 1e5 || p.Latent > 6e5 {
			t.Errorf("%s: latent heat %g J/kg of %+v", c.id, p.Latent, p.Used)
		}
	}
	for _, id := range []string{UnknownID, "C87850"} { // C87850: no melting range was found
		a, _ := Builtin().Find(id)
		if _, err := a.MeltHeat(); err == nil {
			t.Errorf("%s has no liquidus, yet no error", id)
		}
	}
	p := MeltHeat{Solid: 400, Latent: 2e5, LiquidusC: 1000}
	for _, bad := range [][3]float64{{-1, 20, 1100}, {1, 20, 10}, {1, 1001, 1100}, {1, -300, 1100}, {math.NaN(), 20, 1100}} {
		if _, err := p.Of(bad[0], bad[1], bad[2]); err == nil {
			t.Errorf("Of(%v): no error", bad)
		}
	}
}

// The plain mixture against the heats of fusion printed at makeitfrom.com, rounded
// to two figures; for zinc-aluminium alloys it is known to be too high.
func TestMixtureAgreesWithPrintedHeatsOfFusion(t *testing.T) {
	n := 0
	for _, a := range load().alloys {
		f, ok := a.Figure(LatentHeat)
		if !ok || f.Verified != Yes || a.Kind == Zinc {
			continue
		}
		n++
		m, err := a.mixed(LatentHeat)
		if err != nil || math.Abs(m.Value-f.Value) > 0.04*f.Value {
			t.Errorf("%s: mixture %.4g J/g, printed %g, %v", a.ID, m.Value, f.Value, err)
		}
	}
	if n != 8 {
		t.Errorf("%d alloys with a printed heat of fusion, want 8", n)
	}
}

// Heat adds up over masses and over stops on the way.
func TestHeatAddsUp(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := MeltHeat{Solid: rapid.Float64Range(100, 1000).Draw(r, "solid"), Liquid: rapid.Float64Range(100, 1000).Draw(r, "liquid"),
			Latent: rapid.Float64Range(0, 5e5).Draw(r, "latent"), LiquidusC: rapid.Float64Range(400, 1100).Draw(r, "liquidus")}
		m1, m2 := rapid.Float64Range(0, 100).Draw(r, "m1"), rapid.Float64Range(0, 100).Draw(r, "m2")
		stop, to := rapid.Float64Range(20, 399).Draw(r, "stop"), rapid.Float64Range(399, 1300).Draw(r, "to")
		of := func(m, from, to float64) float64 {
			h, err := p.Of(m, from, to)
			if err != nil {
				r.Fatal(err)
			}
			return h.Total()
		}
		if !near(of(m1+m2, 20, to), of(m1, 20, to)+of(m2, 20, to), 1e-12) || !near(of(m1, 20, to), of(m1, 20, stop)+of(m1, stop, to), 1e-12) {
			r.Fatal("heat does not add up")
		}
	})
}

// Scheaffer, Mendenhall and Ott, Elementary Survey Sampling, exercise 6.1, as
// worked in a student's solution: r = 21.19403, s² of the residuals 1.75029, total
// for an x of 75: 1589.552.
func TestBurnIsTheRatioEstimate(t *testing.T) {
	var c struct {
		Inputs   struct{ X, Y []float64 }
		Expected struct {
			Ratio    float64
			Residual float64 `json:"residual_variance"`
			Total    float64 `json:"total_at_75"`
		}
		Tolerance struct{ Rel float64 }
	}
	published(t, "ratio-estimator-timber", &c)
	var records []FuelUse
	mean := 0.0
	for i, x := range c.Inputs.X {
		records = append(records, FuelUse{HeatJ: x, FuelJ: c.Inputs.Y[i]})
		mean += x / float64(len(c.Inputs.X))
	}
	b, err := LearnBurn(records, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	next, err := b.Next(75)
	if err != nil {
		t.Fatal(err)
	}
	residual := b.SE * b.SE * float64(b.N) * mean * mean
	for what, pair := range map[string][2]float64{"ratio": {b.PerHeat, c.Expected.Ratio}, "residual variance": {residual, c.Expected.Residual}, "total": {next.FuelJ, c.Expected.Total}} {
		if math.Abs(pair[0]-pair[1]) > c.Tolerance.Rel*pair[1] {
			t.Errorf("%s %g, want %g", what, pair[0], pair[1])
		}
	}
}

// Intervals hold the truth as often as they say: 2000 furnaces of 8 heats each,
// errors growing with the root of the heat.
func TestBurnIntervalsCover(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	const beta, runs = 7.0, 2000
	ratio, next := 0, 0
	burn := func(h float64) float64 { return beta*h + 1.5*math.Sqrt(h)*rng.NormFloat64() }
	for range runs {
		var records []FuelUse
		for range 8 {
			h := 5 + 20*rng.Float64()
			records = append(records, FuelUse{h, burn(h)})
		}
		b, err := LearnBurn(records, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		if b.Low <= 1/beta && 1/beta <= b.High {
			ratio++
		}
		h := 5 + 20*rng.Float64()
		f, err := b.Next(h)
		if err != nil || !f.Bounded {
			t.Fatal(err)
		}
		if v := burn(h); f.Low <= v && v <= f.High {
			next++
		}
	}
	for what, n := range map[string]int{"efficiency": ratio, "next heat": next} {
		if p := float64(n) / runs; p < 0.87 || p > 0.93 {
			t.Errorf("%s: %.3f of 90 %% intervals cover", what, p)
		}
	}
}

func TestBurnOfFewRecords(t *testing.T) {
	if _, err := LearnBurn(nil, 0.9); err == nil {
		t.Error("no records: no error")
	}
	one, err := LearnBurn([]FuelUse{{10, 100}}, 0.9)
	if err != nil || one.Efficiency != 0.1 || one.SE != 0 || one.High != 0 {
		t.Errorf("one record: %+v, %v", one, err)
	}
	if f, err := one.Next(20); err != nil || f.Bounded || f.FuelJ != 200 {
		t.Errorf("one record: %+v, %v", f, err)
	}
	wild, err := LearnBurn([]FuelUse{{10, 10}, {10, 300}}, 0.9)
	if err != nil || math.IsInf(wild.High, 0) || wild.High < wild.Efficiency {
		t.Errorf("two wild records: %+v, %v", wild, err)
	}
	for _, bad := range [][]FuelUse{{{0, 1}}, {{1, 0}}, {{math.NaN(), 1}}, {{1, math.Inf(1)}}} {
		if _, err := LearnBurn(bad, 0.9); err == nil {
			t.Errorf("%v: no error", bad)
		}
	}
	if _, err := LearnBurn([]FuelUse{{1, 1}}, 1); err == nil {
		t.Error("certainty: no error")
	}
	for _, r := range StartingEfficiency() {
		if r.Source == "" || (r.Verified == Yes) != (r.Furnace == "any") || !(r.Low > 0 && r.Low < r.High && r.High < 1) {
			t.Errorf("%+v", r)
		}
	}
}

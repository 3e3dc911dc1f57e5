package alloy

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

func near(got, want, rel float64) bool {
	return math.Abs(got-want) <= rel*math.Max(1, math.Max(math.Abs(got), math.Abs(want)))
}

func measured(t *testing.T, origin string, content map[string]Estimate, base string) Composition {
	t.Helper()
	c, err := Measured(origin, content, base)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func pour(t *testing.T, m Melt) (Composition, float64) {
	t.Helper()
	c, mass, err := m.Pour()
	if err != nil {
		t.Fatal(err)
	}
	return c, mass
}

func TestMeasured(t *testing.T) {
	c := measured(t, "cert 7", map[string]Estimate{"Sn": {5, 0.1}, "Pb": {5, 0.2}}, "Cu")
	if got := c.Estimate("Cu"); got.Mean != 90 || !near(got.SD, math.Hypot(0.1, 0.2), 1e-12) {
		t.Errorf("remainder: %+v", got)
	}
	if cov := c.Cov("Cu", "Sn"); !near(cov, -0.01, 1e-12) {
		t.Errorf("the remainder falls as tin rises: covariance %g, want -0.01", cov)
	}
	if all := c.Sum("Cu", "Sn", "Pb"); all.Mean != 100 || all.SD > 1e-12 {
		t.Errorf("all together: %+v, want 100 without doubt", all)
	}
	for name, bad := range map[string]func() (Composition, error){
		"nothing":  func() (Composition, error) { return Measured("x", nil, "") },
		"base too": func() (Composition, error) { return Measured("x", map[string]Estimate{"Cu": {90, 0}}, "Cu") },
		"below 0":  func() (Composition, error) { return Measured("x", map[string]Estimate{"Cu": {-1, 0}}, "") },
		"over 100": func() (Composition, error) {
			return Measured("x", map[string]Estimate{"Cu": {96, 0}, "Si": {6, 0}}, "")
		},
		"not a sd":  func() (Composition, error) { return Measured("x", map[string]Estimate{"Cu": {96, math.NaN()}}, "") },
		"not a num": func() (Composition, error) { return Measured("x", map[string]Estimate{"Cu": {math.NaN(), 0}}, "") },
	} {
		if _, err := bad(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// Rectangular distributions as in the GUM (JCGM 100:2008), clause 4.3.7: bounds
// ±0.40 about 16.52 give a standard uncertainty of 0.23 (its example 1; from memory).
func TestRectangular(t *testing.T) {
	set := LimitSet{Kind: Casting, Limits: []Limit{{Element: "X", Min: 16.12, Max: 16.92, HasMin: true, HasMax: true}, {Element: "Cu", Remainder: true}}}
	c, err := FromLimits("lot 1", set, Copper)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.Estimate("X"); math.Abs(got.Mean-16.52) > 1e-9 || math.Abs(got.SD-0.23) > 0.005 {
		t.Errorf("X: %+v, want 16.52 ± 0.23", got)
	}
	for s, want := range map[string]Estimate{"0.02": {0.02, 0.01 / math.Sqrt(12)}, "5.0": {5, 0.1 / math.Sqrt(12)}, " 85": {85, 1 / math.Sqrt(12)}, "<0.005": {0.0025, 0.005 / math.Sqrt(12)}, "< 0.1": {0.05, 0.1 / math.Sqrt(12)}} {
		if got, err := Printed(s); err != nil || !near(got.Mean, want.Mean, 1e-12) || !near(got.SD, want.SD, 1e-12) {
			t.Errorf("Printed(%q) = %+v, %v; want %+v", s, got, err, want)
		}
	}
	for _, bad := range []string{"", "0,02", "-1", "1e-2", "nan", "inf", "<", "trace", "0x1"} {
		if got, err := Printed(bad); err == nil {
			t.Errorf("Printed(%q) = %+v, want an error", bad, got)
		}
	}
	if c, err := FromLimits("lot 2", castingSet(t, "C83600", ""), Copper); err != nil || !near(c.Estimate("Sn").Mean, 5, 1e-12) || !near(c.Sum(c.Elements()...).Mean, 100, 1e-12) {
		t.Errorf("85-5-5-5 by its limits: %v, %v", c.Mean, err)
	}
	for _, a := range load().alloys {
		for _, s := range a.Limits {
			if c, err := FromLimits("lot", s, a.Kind); err != nil || c.Estimate(baseOf(a.Kind)).Mean <= 0 {
				t.Errorf("%s: %v, %v", s.ID(), c.Mean, err)
			}
		}
	}
}

// Two halves of one heat are wrong together; two certificates are not.
func TestDoubtOfOneHeatDoesNotAverageAway(t *testing.T) {
	ingot := measured(t, "cert 1", map[string]Estimate{"Sn": {5, 0.2}}, "Cu")
	other := measured(t, "cert 2", map[string]Estimate{"Sn": {5, 0.2}}, "Cu")
	cast, _ := pour(t, Melt{Origin: "heat 1", Inputs: []Input{{Mass: 50, Of: ingot}}, Effects: []Effect{{Element: "Sn", Loss: Drift{Mean: 0.01, HeatSD: 0.01}}}})
	again, _ := pour(t, Melt{Origin: "heat 2", Inputs: []Input{{Mass: 7, Of: cast}, {Mass: 3, Of: cast}}})
	if got, want := again.Estimate("Sn"), cast.Estimate("Sn"); !near(got.SD, want.SD, 1e-12) || !near(got.Mean, want.Mean, 1e-12) {
		t.Errorf("pigs and cups of one heat melted together: %+v, want %+v", got, want)
	}
	two, _ := pour(t, Melt{Origin: "heat 3", Inputs: []Input{{Mass: 5, Of: ingot}, {Mass: 5, Of: other}}})
	if got := two.Estimate("Sn").SD; !near(got, 0.2/math.Sqrt2, 1e-12) {
		t.Errorf("two certificates: ± %g, want 0.2/√2", got)
	}
}

// drawMelt makes a random charge of lots that partly share their origins.
func drawMelt(r *rapid.T) Melt {
	names := []string{"Sn", "Zn", "Pb", "Fe"}
	m := Melt{Origin: "heat"}
	var lots []Composition
	for i := range rapid.IntRange(1, 3).Draw(r, "lots") {
		content := map[string]Estimate{}
		for _, e := range names[:rapid.IntRange(1, 4).Draw(r, "elements")] {
			content[e] = Estimate{rapid.Float64Range(0, 20).Draw(r, e), rapid.Float64Range(0, 1).Draw(r, "sd")}
		}
		base := ""
		if rapid.Bool().Draw(r, "remainder") {
			base = "Cu"
		}
		c, err := Measured(fmt.Sprint("cert ", i), content, base)
		if err != nil {
			r.Fatal(err)
		}
		lots = append(lots, c)
	}
	for i := range rapid.IntRange(1, 5).Draw(r, "inputs") {
		m.Inputs = append(m.Inputs, Input{Mass: rapid.Float64Range(0.1, 100).Draw(r, "mass"), MassSD: 0.01, Origin: fmt.Sprint("weighing ", i), Of: rapid.SampledFrom(lots).Draw(r, "lot")})
	}
	for _, e := range names {
		m.Effects = append(m.Effects, Effect{Element: e, Loss: Drift{rapid.Float64Range(0, 0.2).Draw(r, "loss"), 0.01, 0.01}, Pickup: Drift{rapid.Float64Range(0, 0.1).Draw(r, "pickup"), 0.01, 0.01}})
	}
	return m
}

func same(r *rapid.T, what string, a, b Composition) {
	for _, e := range append(a.Elements(), b.Elements()...) {
		x, y := a.Estimate(e), b.Estimate(e)
		if !near(x.Mean, y.Mean, 1e-9) || !near(x.SD, y.SD, 1e-9) {
			r.Fatalf("%s: %s %+v and %+v", what, e, x, y)
		}
		for _, f := range a.Elements() {
			if !near(a.Cov(e, f), b.Cov(e, f), 1e-9) {
				r.Fatalf("%s: covariance of %s and %s %g and %g", what, e, f, a.Cov(e, f), b.Cov(e, f))
			}
		}
	}
}

func TestMeltConservesMass(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := drawMelt(r)
		c, mass, err := m.Pour()
		if err != nil {
			r.Fatal(err)
		}
		charge, gone := 0.0, 0.0
		for _, in := range m.Inputs {
			charge += in.Mass
		}
		for _, f := range m.Effects {
			in := 0.0
			for _, i := range m.Inputs {
				in += i.Mass * i.Of.Mean[f.Element] / 100
			}
			want := in*(1-f.Loss.Mean) + charge*f.Pickup.Mean/100
			gone += in - want
			if got := mass * c.Mean[f.Element] / 100; !near(got, want, 1e-9) {
				r.Fatalf("%s: %g in the melt, want %g", f.Element, got, want)
			}
		}
		if !near(mass, charge-gone, 1e-9) {
			r.Fatalf("mass %g, want %g", mass, charge-gone)
		}
	})
}

func TestMeltDoesNotDependOnOrderUnitsOrSplitting(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := drawMelt(r)
		c, mass, err := m.Pour()
		if err != nil {
			r.Fatal(err)
		}
		turned, pounds, split := m, m, m
		turned.Inputs, pounds.Inputs, split.Inputs = nil, nil, nil
		for i, in := range m.Inputs {
			turned.Inputs = append([]Input{in}, turned.Inputs...)
			lb := in
			lb.Mass, lb.MassSD = in.Mass/0.45359237, in.MassSD/0.45359237
			pounds.Inputs = append(pounds.Inputs, lb)
			if i == 0 { // one lot charged in two goes under one weighing
				a, b := in, in
				a.Mass, a.MassSD, b.Mass, b.MassSD = in.Mass*0.3, in.MassSD*0.3, in.Mass*0.7, in.MassSD*0.7
				split.Inputs = append(split.Inputs, a, b)
			} else {
				split.Inputs = append(split.Inputs, in)
			}
		}
		for what, other := range map[string]Melt{"order": turned, "pounds": pounds, "split": split} {
			c2, mass2, err := other.Pour()
			if err != nil {
				r.Fatal(err)
			}
			if what == "pounds" {
				mass2 *= 0.45359237
			}
			if !near(mass, mass2, 1e-9) {
				r.Fatalf("%s: mass %g and %g", what, mass, mass2)
			}
			same(r, what, c, c2)
		}
	})
}

// First-order propagation against brute force: the same heat drawn 40 000 times.
func TestMeltAgreesWithSimulation(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	certA := map[string]Estimate{"Sn": {5, 0.15}, "Zn": {5, 0.2}, "Pb": {5, 0.25}}
	certB := map[string]Estimate{"Sn": {8, 0.2}, "Zn": {4, 0.3}}
	effects := []Effect{{Element: "Zn", Loss: Drift{0.07, 0.01, 0.02}}, {Element: "Fe", Pickup: Drift{0.02, 0.005, 0.004}}}
	melt := func(a, b Composition, ma, mb float64, f []Effect) (Composition, float64) {
		return pour(t, Melt{Origin: "heat", Effects: f, Inputs: []Input{
			{Mass: ma, MassSD: 0.3, Origin: "weighing a", Of: a}, {Mass: mb, MassSD: 0.5, Origin: "weighing b", Of: b}}})
	}
	want, _ := melt(measured(t, "a", certA, "Cu"), measured(t, "b", certB, "Cu"), 40, 20, effects)
	const n = 40_000
	names := []string{"Cu", "Fe", "Pb", "Sn", "Zn"}
	draws := map[string][]float64{}
	for range n {
		draw := func(cert map[string]Estimate, origin string) Composition {
			out := map[string]Estimate{}
			for _, e := range elements(cert) {
				out[e] = Estimate{Mean: cert[e].Mean + cert[e].SD*rng.NormFloat64()}
			}
			return measured(t, origin, out, "Cu")
		}
		f := []Effect{
			{Element: "Zn", Loss: Drift{Mean: 0.07 + 0.01*rng.NormFloat64()*1 + 0.02*rng.NormFloat64()}},
			{Element: "Fe", Pickup: Drift{Mean: math.Max(0, 0.02+0.005*rng.NormFloat64()+0.004*rng.NormFloat64())}}}
		f[0].Loss.Mean = math.Max(0, f[0].Loss.Mean)
		c, _ := melt(draw(certA, "a"), draw(certB, "b"), 40+0.3*rng.NormFloat64(), 20+0.5*rng.NormFloat64(), f)
		for _, e := range names {
			draws[e] = append(draws[e], c.Mean[e])
		}
	}
	moment := func(a, b string) float64 {
		ma, mb, s := 0.0, 0.0, 0.0
		for i := range draws[a] {
			ma += draws[a][i] / n
			mb += draws[b][i] / n
		}
		for i := range draws[a] {
			s += (draws[a][i] - ma) * (draws[b][i] - mb) / n
		}
		return s
	}
	for _, e := range names {
		sd := math.Sqrt(moment(e, e))
		if math.Abs(sd-want.Estimate(e).SD) > 0.02*sd {
			t.Errorf("%s ± %g, simulated ± %g", e, want.Estimate(e).SD, sd)
		}
		for _, f := range names {
			if got, sim := want.Cov(e, f), moment(e, f); math.Abs(got-sim) > 0.03*math.Sqrt(moment(e, e)*moment(f, f)) {
				t.Errorf("covariance of %s and %s %g, simulated %g", e, f, got, sim)
			}
		}
	}
}

func TestMeltRefuses(t *testing.T) {
	lot := measured(t, "a", map[string]Estimate{"Sn": {5, 0.1}}, "Cu")
	for name, m := range map[string]Melt{
		"nothing":       {},
		"no mass":       {Inputs: []Input{{Mass: 0, Of: lot}}},
		"negative":      {Inputs: []Input{{Mass: -1, Of: lot}}},
		"not a number":  {Inputs: []Input{{Mass: math.NaN(), Of: lot}}},
		"endless":       {Inputs: []Input{{Mass: math.Inf(1), Of: lot}}},
		"no weighing":   {Inputs: []Input{{Mass: 1, MassSD: 0.1, Of: lot}}},
		"twice":         {Inputs: []Input{{Mass: 1, Of: lot}}, Effects: []Effect{{Element: "Sn"}, {Element: "Sn"}}},
		"all lost":      {Inputs: []Input{{Mass: 1, Of: lot}}, Effects: []Effect{{Element: "Sn", Loss: Drift{Mean: 1}}}},
		"negative loss": {Inputs: []Input{{Mass: 1, Of: lot}}, Effects: []Effect{{Element: "Sn", Loss: Drift{Mean: -0.1}}}},
	} {
		if _, _, err := m.Pour(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestCondensedKeepsDeviations(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c, _, err := drawMelt(r).Pour()
		if err != nil {
			r.Fatal(err)
		}
		small := c.Condensed("lot", rapid.IntRange(0, 5).Draw(r, "keep"))
		for _, e := range c.Elements() {
			if a, b := c.Estimate(e), small.Estimate(e); a.Mean != b.Mean || !near(a.SD, b.SD, 1e-9) {
				r.Fatalf("%s: %+v became %+v", e, a, b)
			}
		}
		if len(small.Doubt) > max(len(c.Doubt), 5+len(c.Mean)) {
			r.Fatalf("%d origins became %d", len(c.Doubt), len(small.Doubt))
		}
	})
}

func TestStartingBeliefsAreFlagged(t *testing.T) {
	for _, b := range Beliefs() {
		if b.Flag != Memory || b.Source == "" || b.Note == "" {
			t.Errorf("%+v must say that it is no measured figure", b)
		}
	}
	for _, a := range load().alloys {
		m := Melt{Origin: "heat", Effects: StartingEffects(a.Family)}
		c, err := FromLimits("lot", a.Limits[0], a.Kind)
		if err != nil {
			t.Fatal(err)
		}
		m.Inputs = []Input{{Mass: 1, Of: c}}
		if _, _, err := m.Pour(); err != nil {
			t.Errorf("%s: %v", a.ID, err)
		}
	}
}

package alloy_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"example.org/remelt/ledger/alloy"
)

// TestAnalysisOfSomeElements: what an analysis names counts, the rest stays, and copper is
// what is left of 100 %. The figures are invented; the sums are arithmetic.
func TestAnalysisOfSomeElements(t *testing.T) {
	carried := made(t, "heat 1", map[string]alloy.Estimate{"Sn": {Mean: 5, SD: 0.3}, "Pb": {Mean: 5, SD: 0.4}, "Zn": {Mean: 5, SD: 0.5}}, "Cu")
	got := carried.Corrected(made(t, "lot 7", map[string]alloy.Estimate{"Zn": {Mean: 3.8, SD: 0.1}}, ""))
	for e, want := range map[string]alloy.Estimate{
		"Zn": {Mean: 3.8, SD: 0.1}, "Sn": {Mean: 5, SD: 0.3}, "Pb": {Mean: 5, SD: 0.4},
		"Cu": {Mean: 86.2, SD: math.Sqrt(0.3*0.3 + 0.4*0.4 + 0.1*0.1)},
	} {
		if v := got.Estimate(e); math.Abs(v.Mean-want.Mean) > 1e-9 || math.Abs(v.SD-want.SD) > 1e-9 {
			t.Errorf("%s %.6f ± %.6f, want %.6f ± %.6f", e, v.Mean, v.SD, want.Mean, want.SD)
		}
	}
	if v := got.Sum("Cu", "Sn", "Pb", "Zn"); math.Abs(v.Mean-100) > 1e-9 || v.SD > 1e-9 {
		t.Errorf("all together %.6f ± %.6f", v.Mean, v.SD)
	}
	if got := carried.Corrected(made(t, "lot 7", map[string]alloy.Estimate{"Cu": {Mean: 92, SD: 0.3}}, "")); math.Abs(got.Mean["Sn"]-8.0/3) > 1e-9 {
		t.Errorf("beside 92 %% copper there are %.4f %% tin, want a third of 8", got.Mean["Sn"])
	}
	few := made(t, "certificate", map[string]alloy.Estimate{"Si": {Mean: 3.9, SD: 0.1}, "Mn": {Mean: 1, SD: 0.1}}, "")
	if got := few.Corrected(made(t, "lot 7", map[string]alloy.Estimate{"Mn": {Mean: 0.8, SD: 0.1}}, "")); got.Mean["Si"] != 3.9 {
		t.Errorf("less manganese makes %.4f %% silicon of 3.9", got.Mean["Si"])
	}
}

func TestCorrectedHolds(t *testing.T) {
	names := []string{"Cu", "Sn", "Pb", "Zn", "Fe"}
	some := func(t *rapid.T, label string) map[string]alloy.Estimate {
		content, room := map[string]alloy.Estimate{}, 100.0
		for _, e := range rapid.SliceOfNDistinct(rapid.SampledFrom(names), 1, 5, rapid.ID[string]).Draw(t, label) {
			v := rapid.Float64Range(0, room).Draw(t, label+e)
			content[e], room = alloy.Estimate{Mean: v, SD: rapid.Float64Range(0, 1).Draw(t, label+e+"sd")}, room-v
		}
		return content
	}
	rapid.Check(t, func(t *rapid.T) {
		before, err := alloy.Measured("before", some(t, "before"), "")
		if err != nil {
			t.Fatal(err)
		}
		now := some(t, "now")
		by, err := alloy.Measured("now", now, "")
		if err != nil {
			t.Fatal(err)
		}
		got := before.Corrected(by)
		for e, v := range now {
			if is := got.Estimate(e); math.Abs(is.Mean-v.Mean) > 1e-9 || math.Abs(is.SD-v.SD) > 1e-9 {
				t.Fatalf("%s measured as %v is %v", e, v, is)
			}
		}
		if v := got.Sum(names...); v.Mean > 100+1e-9 {
			t.Fatalf("all together %g %%", v.Mean)
		}
		for _, e := range got.Elements() {
			if got.Mean[e] < 0 {
				t.Fatalf("%s is %g", e, got.Mean[e])
			}
		}
	})
}

func made(t *testing.T, origin string, content map[string]alloy.Estimate, base string) alloy.Composition {
	t.Helper()
	c, err := alloy.Measured(origin, content, base)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

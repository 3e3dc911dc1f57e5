package balance

import (
	"math"
	"slices"
	"testing"
)

// TestFalseAlarms: in books without wrong weighings an alarm is raised in at most α
// of them, and not in far fewer; the global test rejects α of them.
func TestFalseAlarms(t *testing.T) {
	const runs, alpha = 2000, 0.05
	truth := shop(seeded(11), 5, 12)
	alarms, global := 0, 0
	var z2 float64
	var count int
	for seed := range uint64(runs) {
		res, err := Reconcile(noisy(truth, seeded(1000+seed)), Options{Alpha: alpha})
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Suspects) > 0 {
			alarms++
		}
		if res.Adjusted.Global.P < alpha {
			global++
		}
		for _, s := range res.Streams {
			if s.Detectable > 0 && !math.IsInf(s.Detectable, 0) {
				z2 += s.Z * s.Z
				count++
			}
		}
	}
	rate, se := float64(alarms)/runs, math.Sqrt(alpha*(1-alpha)/runs)
	t.Logf("%d books of %d weighings: false alarms %.1f %% (stated at most %.0f %%), global test %.1f %%",
		runs, len(truth.Streams), 100*rate, 100*alpha, 100*float64(global)/runs)
	if rate > alpha+3*se || rate < alpha/3 {
		t.Errorf("false alarm rate %.4f, stated %.2f", rate, alpha)
	}
	if g := float64(global) / runs; math.Abs(g-alpha) > 3*se {
		t.Errorf("global test rejects %.4f, want %.2f ± %.3f", g, alpha, 3*se)
	}
	if m := z2 / float64(count); math.Abs(m-1) > 0.03 {
		t.Errorf("mean z² is %.3f, want 1", m)
	}
}

// role says how a result points at a weighing: as the k-th suspect, as a suspect's
// twin, as its rival, or not at all.
func role(suspects []Suspect, id string) string {
	for _, s := range suspects {
		if s.ID == id {
			return "named"
		}
	}
	for _, s := range suspects {
		if slices.Contains(s.Twins, id) {
			return "twin"
		}
	}
	for _, s := range suspects {
		if slices.ContainsFunc(s.Rivals, func(r Rival) bool { return r.ID == id }) {
			return "rival"
		}
	}
	return "missed"
}

// TestPower: an error of the size called detectable raises an alarm on its weighing
// with the stated power; what the search names first is the right weighing, its twin
// (by structure nothing can tell them apart) or has it among its rivals.
func TestPower(t *testing.T) {
	const runs = 1500
	truth := shop(seeded(12), 8, 20)
	plain, err := Reconcile(truth, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var testable []int
	for i, s := range plain.Streams {
		if s.Status == Redundant && !math.IsInf(s.Detectable, 0) {
			testable = append(testable, i)
		}
	}
	for _, times := range []float64{1, 2} {
		over, ratio := 0, 0.0
		roles := map[string]int{}
		for seed := range uint64(runs) {
			rng := seeded(50_000 + seed)
			n := noisy(truth, rng)
			i := testable[rng.IntN(len(testable))]
			size := times * plain.Streams[i].Detectable
			if rng.IntN(2) == 0 {
				size = -size
			}
			n.Streams[i].Value += size
			res, err := Reconcile(n, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(res.Streams[i].Z) > res.Level.Critical {
				over++
			}
			first := res.Suspects[:min(1, len(res.Suspects))]
			r := role(first, n.Streams[i].ID)
			roles[r]++
			if r == "named" {
				ratio += first[0].Error / size
			}
		}
		power := float64(over) / runs
		t.Logf("%d books, one error of %g × detectable among %d weighings: alarm on it %.1f %%, of the first named it is %v",
			runs, times, len(truth.Streams), 100*power, roles)
		if times == 1 && math.Abs(power-plain.Level.Power) > 3*math.Sqrt(0.16/runs) {
			t.Errorf("power %.3f, stated %.2f", power, plain.Level.Power)
		}
		if times == 2 && (power < 0.99 || float64(roles["missed"]) > 0.02*runs) {
			t.Errorf("at twice the detectable size: power %.3f, missed %d", power, roles["missed"])
		}
		if m := ratio / float64(roles["named"]); times == 2 && math.Abs(m-1) > 0.02 {
			t.Errorf("estimated sizes are on average %.3f of the true ones", m)
		}
	}
}

// TestSeveralErrors: three large errors make three suspects, each of them a planted
// one or one that has it among its twins or rivals.
func TestSeveralErrors(t *testing.T) {
	const runs = 100
	truth := shop(seeded(13), 40, 40)
	plain, err := Reconcile(truth, Options{})
	if err != nil {
		t.Fatal(err)
	}
	roles, named, planted := map[string]int{}, 0, 0
	for seed := range uint64(runs) {
		rng := seeded(90_000 + seed)
		n := noisy(truth, rng)
		bad := map[string]bool{}
		for len(bad) < 3 {
			i := rng.IntN(len(n.Streams))
			s := plain.Streams[i]
			if s.Status != Redundant || bad[s.ID] {
				continue
			}
			bad[s.ID] = true
			n.Streams[i].Value += 3 * s.Detectable
		}
		res, err := Reconcile(n, Options{})
		if err != nil {
			t.Fatal(err)
		}
		planted += len(bad)
		named += len(res.Suspects)
		for id := range bad {
			roles[role(res.Suspects, id)]++
		}
		if res.Stop != StopQuiet {
			t.Errorf("seed %d: stopped because %s", seed, res.Stop)
		}
	}
	t.Logf("%d books, three errors of 3 × detectable among %d weighings: %d suspects for %d errors, which are %v",
		runs, len(truth.Streams), named, planted, roles)
	if float64(roles["missed"]) > 0.05*float64(planted) || math.Abs(float64(named-planted)) > 0.05*float64(planted) {
		t.Errorf("%d suspects for %d errors, %d missed", named, planted, roles["missed"])
	}
}

// TestTwins: around one heat whose streams all come from or go outside, nothing can
// tell which weighing is wrong, and the result says so.
func TestTwins(t *testing.T) {
	n := &Network{Streams: []Stream{
		{ID: "charge", To: "heat", Value: 60_000, U: 10},
		{ID: "castings", From: "heat", Value: 30_000, U: 10},
		{ID: "gating", From: "heat", To: "lot", Value: 28_500, U: 10},
		{ID: "weighed again", From: "lot", Value: 28_510, U: 10},
		{ID: "loss believed", From: "heat", Value: 1_000, U: 50},
	}}
	res, err := Reconcile(n, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s := res.Suspects
	if len(s) != 1 || s[0].ID != "charge" {
		t.Fatalf("suspects %+v", s)
	}
	if !slices.Equal(s[0].Twins, []string{"castings", "loss believed"}) {
		t.Errorf("twins %v", s[0].Twins)
	}
	if res.Level.Tests != 3 {
		t.Errorf("%d different tests, want 3", res.Level.Tests)
	}
	for _, i := range []int{1, 4} {
		if math.Abs(math.Abs(res.Streams[i].Z)-math.Abs(res.Streams[0].Z)) > 1e-9 {
			t.Errorf("twins' z differ: %v and %v", res.Streams[i].Z, res.Streams[0].Z)
		}
	}
	// The gating cannot weigh less than nothing: of twins, one that would have to is
	// not the one named.
	n.Streams[0].Value, n.Streams[1].Value = 300, 30_000
	n.Streams[2].Value, n.Streams[3].Value = 28_500, 28_500
	if res, err = Reconcile(n, Options{}); err != nil {
		t.Fatal(err)
	}
	if s := res.Suspects[0]; s.Expected < 0 {
		t.Errorf("%s is expected to weigh %v", s.ID, s.Expected)
	}
}

// TestSharedOffset: weighings under one saved tare that is wrong do not contradict
// each other when their common error is stated, and do when it is taken as their own.
func TestSharedOffset(t *testing.T) {
	n := &Network{}
	for k := range 12 {
		id := string(rune('a' + k))
		n.Streams = append(n.Streams,
			Stream{ID: "in " + id, To: "lot " + id, Value: 1000, U: 2},
			Stream{ID: "out " + id, From: "lot " + id, Value: 1012, U: 2, Shared: []Shared{{"the pan", 10}}})
	}
	res, err := Reconcile(n, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Suspects) != 0 || res.Adjusted.Global.P < 0.05 {
		t.Errorf("with the common error stated: %d suspects, P %.3g", len(res.Suspects), res.Adjusted.Global.P)
	}
	if x := res.Streams[1]; math.Abs(x.Adjusted-1000) > 1 {
		t.Errorf("out a is adjusted to %.1f, want near 1000", x.Adjusted)
	}
	for i := range n.Streams {
		n.Streams[i].Shared = nil
	}
	if res, err = Reconcile(n, Options{}); err != nil {
		t.Fatal(err)
	}
	if res.Adjusted.Global.P > 1e-6 {
		t.Errorf("without it: P %.3g", res.Adjusted.Global.P)
	}
}

package loss

import (
	"math"
	"testing"
)

// Siegmund's closed approximation (Siegmund 1985, Sequential Analysis; error of a few per cent) and the in-control run
// lengths 336 and 930 of one side for k 0.5 and h 4 and 5 (textbook table, from memory).
func TestAverageRunLength(t *testing.T) {
	for _, c := range []struct{ h, shift, recalled float64 }{{4, 0, 336}, {5, 0, 930}, {5, 1, 10.4}, {6, 0, 0}, {6, 1, 0}} {
		got := AverageRunLength(0.5, c.h, c.shift)
		d, b := c.shift-0.5, c.h+1.166
		siegmund := (math.Exp(-2*d*b) + 2*d*b - 1) / (2 * d * d)
		t.Logf("h %g, shift %g: %.1f, Siegmund %.1f", c.h, c.shift, got, siegmund)
		near(t, "run length against Siegmund", got, siegmund, 0.03*siegmund)
		if c.recalled > 0 {
			near(t, "run length as recalled", got, c.recalled, 0.01*c.recalled)
		}
	}
}

// A crucible that comes into use and makes the loss jump: the chart says when, which way, by how much, and names it.
func TestWatchFindsTheChange(t *testing.T) {
	seeds := 20
	if *long {
		seeds = 200
	}
	found, early, named, shift := 0, 0, 0, 0.0
	const at, jump = 80, 0.02
	for seed := range uint64(seeds) {
		heats := world{heats: 140, step: at, jump: jump}.draw(seed)
		melter := Covariate{Name: "melter"}
		for i := range heats {
			heats[i].Crucible = "A4"
			if i >= at {
				heats[i].Crucible = "A5"
			}
			melter.Labels = append(melter.Labels, []string{"Ines", "Otto", "Pavel"}[(i*7+int(seed))%3])
		}
		w, err := WatchLoss(heats, Config{Beliefs: Starting(shopFamilies)}, WatchConfig{}, []Covariate{melter})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range w.Changes {
			if c.Start < at-5 {
				early++
				continue
			}
			if c.Direction == Up && c.Start <= at+10 {
				found++
				shift += c.Shift.Mean
				if len(c.Suspects) > 0 && c.Suspects[0].Covariate == "crucible" && c.Suspects[0].Label == "A5" && c.Suspects[0].P < 0.01 {
					named++
				}
				break
			}
		}
	}
	t.Logf("%d seeds: found within 10 heats %d, crucible named first %d, false changes before %d, mean shift %.4f (true %.4f)",
		seeds, found, named, early, shift/float64(found), jump)
	if found < seeds*9/10 || named < found*9/10 {
		t.Errorf("found %d, named %d of %d", found, named, seeds)
	}
	near(t, "shift", shift/float64(found), jump, 0.2*jump)
}

// On a shop without a change, and with the same on the other side, false alarms stay near what normal losses would give.
func TestWatchSeldomCriesWolf(t *testing.T) {
	seeds := 20
	if *long {
		seeds = 200
	}
	heats, alarms, beyond := 0, 0, 0
	for seed := range uint64(seeds) {
		w, err := WatchLoss(world{heats: 250}.draw(seed), Config{Beliefs: Starting(shopFamilies)}, WatchConfig{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		heats += len(w.Heats)
		alarms += len(w.Changes)
		beyond += len(w.Individuals.Signals)
	}
	t.Logf("%d heats of skewed, heavy-tailed losses: %d changes claimed (normal losses: one in %.0f heats), %.2f %% single heats beyond 3 sigma",
		heats, alarms, AverageRunLength(0.5, 6, 0)/2, 100*float64(beyond)/float64(heats))
	if float64(alarms) > 3*float64(heats)/(AverageRunLength(0.5, 6, 0)/2) {
		t.Errorf("%d false alarms in %d heats", alarms, heats)
	}
}

// A change of who melts is found in a table of the caller's, whatever the order of the heats.
func TestWatchNamesTheMelter(t *testing.T) {
	heats := world{heats: 120, step: 60, jump: 0.03, normal: true}.draw(2)
	melter := Covariate{Name: "melter"}
	for i := range heats {
		melter.Labels = append(melter.Labels, []string{"Ines", "Otto"}[i/60])
	}
	for i := range 60 { // the heats and the table in one other order
		j := 119 - i
		heats[i], heats[j] = heats[j], heats[i]
		melter.Labels[i], melter.Labels[j] = melter.Labels[j], melter.Labels[i]
	}
	w, err := WatchLoss(heats, Config{Beliefs: Starting(shopFamilies)}, WatchConfig{}, []Covariate{melter})
	if err != nil {
		t.Fatal(err)
	}
	if len(w.Changes) != 1 || w.Changes[0].Suspects[0].Label != "Otto" || w.Changes[0].Direction != Up {
		t.Errorf("%+v", w.Changes)
	}
	invalid(t, "a table too short", second(WatchLoss(heats, Config{Beliefs: Starting(shopFamilies)}, WatchConfig{}, []Covariate{{Name: "x", Labels: melter.Labels[1:]}})))
	if w, err := WatchLoss(nil, Config{Beliefs: Starting(nil)}, WatchConfig{}, nil); err != nil || len(w.Heats) != 0 || w.Individuals != nil {
		t.Error("no heats:", w, err)
	}
}

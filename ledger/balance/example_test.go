package balance_test

import (
	"fmt"

	"example.org/remelt/ledger/balance"
)

// A scale of 10 g divisions, class III, in service.
func ExampleScale_Weigh() {
	floor := balance.Scale{Name: "floor", Division: balance.Milligrams(10_000), Class: balance.ClassIII}
	b, err := floor.Weigh(balance.Weighing{Gross: 25_300_000, Dirt: 0.02, DirtU: 0.01})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f g of metal ± %.0f g (one standard uncertainty)\n", b.Value/1e3, b.U/1e3)
	for _, c := range b.Lines {
		fmt.Printf("  %-21s %5.1f g\n", c.Name, c.Size()/1e3)
	}
	// Output:
	// 24794 g of metal ± 254 g (one standard uncertainty)
	//   reading                 2.8 g
	//   zero or tare reading    2.8 g
	//   scale's error          17.0 g
	//   dirt                  253.0 g
}

// One heat by itself: what went in and came out are weighed, what is unaccounted is
// not. Nothing is redundant, but the balances fix what is missing and how well.
func ExampleReconcile_unaccounted() {
	g := func(id, from, to string, grams, u float64) balance.Stream {
		return balance.Stream{ID: id, From: from, To: to, Value: grams, U: u}
	}
	n := &balance.Network{Streams: []balance.Stream{
		g("ingots", "", "heat 41", 30_000, 8),
		g("cups", "", "heat 41", 14_620, 6),
		g("pigs charged", "", "heat 41", 15_380, 6),
		// The skimmings are half metal, give or take 0.2: 190 g for each whole.
		g("metal in skimmings and oxide", "heat 41", "", 855, 38),
		g("spill", "heat 41", "", 240, 6),
		g("pigs", "heat 41", "", 6_300, 6),
		{ID: "poured", From: "heat 41", To: "molds", Given: balance.Unmeasured},
		g("castings", "molds", "", 27_410, 12),
		g("gating", "molds", "", 24_790, 8),
		g("kerf", "molds", "", 120, 6),
		{ID: "unaccounted", From: "molds", Given: balance.Unmeasured},
	}}
	res, err := balance.Reconcile(n, balance.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range res.Streams {
		if s.Status == balance.Observable {
			fmt.Printf("%s %.0f g ± %.0f g\n", s.ID, s.Adjusted, s.SD)
		}
	}
	fmt.Println(res.Stop)
	// Output:
	// poured 52605 g ± 41 g
	// unaccounted 285 g ± 44 g
	// nothing is left that could be tested
}

// Two heats that share a lot of cups, which were weighed when they came back from
// heat 41 and again when they were charged into heat 43. The losses are beliefs with
// their uncertainty.
func ExampleReconcile_suspect() {
	kg := func(id, from, to string, value, u float64) balance.Stream {
		return balance.Stream{ID: id, From: from, To: to, Value: value, U: u}
	}
	cups := kg("weigh-in 7", "heat 41", "lot 7", 12.60, 0.34) // weighed dirty
	cups.Label = "the cups of heat 41"
	n := &balance.Network{Streams: []balance.Stream{
		kg("charge 41", "", "heat 41", 60.00, 0.02),
		kg("castings 41", "heat 41", "", 47.90, 0.02),
		kg("loss 41", "heat 41", "", 0.90, 0.30),
		cups,
		kg("charged 43", "lot 7", "heat 43", 11.20, 0.01),
		kg("ingots 43", "", "heat 43", 40.00, 0.02),
		kg("castings 43", "heat 43", "", 50.40, 0.02),
		kg("loss 43", "heat 43", "", 0.80, 0.30),
	}}
	res, err := balance.Reconcile(n, balance.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range res.Suspects {
		fmt.Printf("%s, %.1f kg weighed, %.1f kg expected, %.1f σ\n", s.Label, s.Measured, s.Expected, s.Sigma)
		for _, r := range s.Rivals {
			fmt.Printf("or %s, %.1f kg expected\n", r.ID, r.Expected)
		}
	}
	fmt.Printf("critical value %.2f for %d tests\n", res.Level.Critical, res.Level.Tests)
	// Output:
	// the cups of heat 41, 12.6 kg weighed, 11.2 kg expected, 4.1 σ
	// critical value 2.49 for 4 tests
}

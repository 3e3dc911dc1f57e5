package charge_test

import (
	"context"
	"errors"
	"fmt"

	"example.org/remelt/ledger/charge"
)

// Two molds of tin bronze from new ingot and the gating of earlier heats. The
// foundry and its metal are invented.
func Example() {
	percent := func(v float64) *float64 { return &v }
	heat := charge.Heat{
		ID:          "41",
		Families:    []string{"tin bronze"},
		ChanceShort: 0.05,
		Molds: []charge.Mold{
			{ID: "heron", Metal: charge.Estimate{Mean: 11_400_000}, MinC: 1130, MaxC: 1190, Takes: 40},
			{ID: "plaque", Metal: charge.Estimate{Mean: 6_200_000}, MinC: 1090, MaxC: 1150, Takes: 25},
		},
		Filling:  charge.StartingFilling().Learn([]charge.Poured{{Planned: 9e6, Poured: 9.3e6}, {Planned: 14e6, Poured: 14.1e6}}),
		Loss:     charge.NormalLoss{Mean: 0.02, SD: 0.006},
		Skull:    300_000,
		Crucible: charge.Crucible{Volume: 4200, Fill: 0.9, Density: 7.8, Mass: 9_000_000},
		Lift:     45_000_000,
		Windows:  []charge.Window{{Elements: []string{"Sn"}, Min: percent(9), Max: percent(11)}, {Elements: []string{"Pb"}, Max: percent(0.25), Margin: 0.02}},
		Returns:  charge.Share{Max: percent(0.6)},
		PigMold:  5_000_000,
		Pouring:  charge.Pouring{CoolPerMinute: 12, MaxTapC: 1220},
	}
	lots := []charge.Lot{
		{ID: "ingot", Family: "tin bronze", Pieces: []charge.Piece{{ID: "i1", Mass: 9_080_000}, {ID: "i2", Mass: 9_110_000}},
			Content: map[string]float64{"Sn": 10.2, "Pb": 0.05}, Value: 21_800},
		{ID: "cups of 38", Family: "tin bronze", Return: true, Loose: 14_600_000, Handful: 500_000, Bulk: 2.2,
			Content: map[string]float64{"Sn": 9.6, "Pb": 0.31}, Value: 9_000},
		{ID: "shelf", Family: "unknown", Return: true, Loose: 6_000_000},
	}
	plan, err := charge.Make(context.Background(), heat, lots, charge.Limits{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, t := range plan.Takes {
		fmt.Printf("%-10s %-2s %5.2f kg %s\n", t.Lot, t.Piece, float64(t.Mass)/1e6, t.When)
	}
	fmt.Printf("charge %.2f kg, %.1f %% returns, cost %d, running short %.1f %%\n", float64(plan.Charge)/1e6, 100*plan.Returns, plan.Cost, 100*plan.ChanceShort)
	for _, c := range plan.Contents {
		fmt.Printf("%s %.2f %%\n", c.Window.Elements[0], c.Percent)
	}
	fmt.Printf("pig molds %d, tap at %.0f °C:", plan.PigMolds, plan.Pour.TapC)
	for _, s := range plan.Pour.Steps {
		fmt.Printf(" %s from %.0f", s.Mold, s.StartC)
	}
	fmt.Println()

	heat.Lift = 28_000_000 // one person less
	_, err = charge.Make(context.Background(), heat, lots, charge.Limits{})
	var no *charge.Infeasible
	if errors.As(err, &no) {
		for _, d := range no.Conflict {
			fmt.Println("conflict:", d)
		}
		for _, g := range no.Least {
			fmt.Printf("give way: %s by %.2f %s\n", g.What, g.By, g.Unit)
		}
	}
	// Output:
	// cups of 38    11.00 kg bed
	// ingot      i1  9.08 kg on top
	// charge 20.08 kg, 54.8 % returns, cost 17663, running short 2.7 %
	// Sn 9.87 %
	// Pb 0.19 %
	// pig molds 3, tap at 1138 °C: heron from 1138 plaque from 1130
	// conflict: metal for the molds, for a chance of running short of 5 %, at least 19.08 kg (heat 41)
	// conflict: crucible and metal to lift at most 28 kg (heat 41)
	// give way: crucible and metal to lift at most by 0.79 kg
}

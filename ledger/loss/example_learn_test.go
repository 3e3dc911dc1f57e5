package loss_test

import (
	"fmt"
	"time"

	"example.org/remelt/ledger/loss"
)

// A shop with three heats asks what the next will lose.
func ExampleLearn() {
	var heats []loss.Heat
	for i, kg := range []float64{1.9, 1.4, 1.7} {
		h := loss.Heat{ID: fmt.Sprint(41 + i), Time: time.Date(2026, 3, 2+7*i, 0, 0, 0, 0, time.UTC), Family: "silicon bronze", Crucible: "A4", Charged: 60}
		h.Shares[loss.Ingot], h.Shares[loss.CleanGating] = 0.5, 0.5
		h.Loss[loss.Oxidation] = loss.Amount{Kg: kg, SD: 0.1, Known: true}
		heats = append(heats, h)
	}
	m, err := loss.Learn(heats, loss.Config{
		Causes:  loss.Only(loss.Oxidation),
		Beliefs: loss.Starting(map[string]loss.Base{"silicon bronze": loss.CopperBase}),
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	next := loss.Charge{Family: "silicon bronze", Crucible: "A4", Kg: 50}
	next.Shares[loss.Ingot] = 1
	f, err := m.Forecast(next)
	if err != nil {
		fmt.Println(err)
		return
	}
	low, high := f.Interval(0.9)
	fmt.Printf("%.1f kg, 90 %% between %.1f and %.1f kg\n", f.Mean*next.Kg, low*next.Kg, high*next.Kg)
	// Output: 1.2 kg, 90 % between 0.6 and 2.0 kg
}

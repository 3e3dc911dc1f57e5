package alloy

import (
	"fmt"
	"testing"
)

// A thousand heats in a row, half returns, each with a new certificate.
func BenchmarkThousandHeats(b *testing.B) {
	for _, keep := range []int{1 << 30, 64} {
		b.Run(fmt.Sprint("keep ", keep), func(b *testing.B) {
			for range b.N {
				cert := map[string]Estimate{"Si": {4, 0.1}, "Mn": {1, 0.05}, "Fe": {0.1, 0.01}, "Zn": {0.1, 0.02}, "Pb": {0.02, 0.005}}
				returns, _ := Measured("start", cert, "Cu")
				for i := range 1000 {
					virgin, _ := Measured(fmt.Sprint("cert ", i), cert, "Cu")
					c, _, err := Melt{Origin: fmt.Sprint("heat ", i), Effects: StartingEffects(SiliconBronze),
						Inputs: []Input{{Mass: 30, MassSD: 0.01, Origin: fmt.Sprint("w ", i), Of: returns}, {Mass: 30, Of: virgin}}}.Pour()
					if err != nil {
						b.Fatal(err)
					}
					returns = c.Condensed(fmt.Sprint("heat ", i), keep)
				}
				if i := returns.Estimate("Si"); i.SD == 0 {
					b.Fatal(i)
				}
			}
		})
	}
}

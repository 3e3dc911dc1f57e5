package loss

import "testing"

// The owner's goal is a loss model over 10 000 heats in at most 1 s.
func BenchmarkLearn(b *testing.B) {
	for _, c := range []struct {
		name  string
		heats int
		drift bool
	}{{"3", 3, false}, {"100", 100, true}, {"300", 300, true}, {"10000", 10000, false}, {"10000_drift", 10000, true}} {
		b.Run(c.name, func(b *testing.B) {
			heats := world{heats: c.heats, drift: 0.2}.draw(1)
			cfg := Config{Beliefs: Starting(shopFamilies), Drift: c.drift}
			for b.Loop() {
				m, err := Learn(heats, cfg)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(m.est.Points), "points")
				b.ReportMetric(float64(m.est.s.na+m.est.s.nb), "unknowns")
			}
		})
	}
}

package balance

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// benchNetwork is the smallest shop with at least count weighings.
func benchNetwork(b *testing.B, far, count int) *Network {
	b.Helper()
	for heats := count / 14; ; heats++ {
		if n := shop(seeded(1), heats, far); len(n.Streams) >= count {
			return n
		}
	}
}

func bench(b *testing.B, n *Network) {
	n = noisy(n, seeded(2))
	n.Streams[len(n.Streams)/2].Value += 900
	b.ReportAllocs()
	b.ResetTimer()
	var res *Result
	for range b.N {
		var err error
		if res, err = Reconcile(n, Options{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(n.Streams)), "weighings")
	b.ReportMetric(float64(len(res.Adjusted.m.row)), "balances")
	b.ReportMetric(float64(len(res.Adjusted.m.fac.tail)), "dense")
	b.ReportMetric(float64(len(res.Suspects)), "suspects")
}

// BenchmarkReconcile10000 reconciles 10 000 weighings of heats and lots: whole, with
// classification, adjustment, standard deviations, tests and search.
func BenchmarkReconcile10000(b *testing.B) {
	b.Run("shop", func(b *testing.B) { bench(b, benchNetwork(b, 60, 10_000)) })
	b.Run("any-age", func(b *testing.B) { bench(b, benchNetwork(b, 1<<30, 10_000)) })
	b.Run("random-graph", func(b *testing.B) { bench(b, randomGraph(seeded(3), 4000, 10_000)) })
	b.Run("unmeasured", func(b *testing.B) { bench(b, inMolds(benchNetwork(b, 60, 10_000))) })
	b.Run("40-shared-effects", func(b *testing.B) { bench(b, share(benchNetwork(b, 60, 10_000), 40)) })
}

// randomGraph is the worst case: no order in time, every node may meet every other.
func randomGraph(rng *rand.Rand, nodes, streams int) *Network {
	n := &Network{}
	in := make([]float64, nodes)
	for i := range streams - nodes {
		a, b := rng.IntN(nodes), rng.IntN(nodes)
		if a == b {
			b = (a + 1) % nodes
		}
		x := 1000 + 9000*rng.Float64()
		in[a] -= x
		in[b] += x
		n.Streams = append(n.Streams, Stream{ID: fmt.Sprint(i), From: fmt.Sprint("n", a), To: fmt.Sprint("n", b), Value: x, U: 5})
	}
	for k, x := range in {
		n.Streams = append(n.Streams, Stream{ID: fmt.Sprint("out", k), From: fmt.Sprint("n", k), Value: x, U: 5})
	}
	return n
}

// inMolds puts an unmeasured stream between each heat and its castings and returns,
// as in a real heat, where what was poured is known by difference only.
func inMolds(n *Network) *Network {
	seen := map[string]bool{}
	for i := range n.Streams {
		s := &n.Streams[i]
		if s.From == "" || !strings.Contains(s.ID, "return") && !strings.Contains(s.ID, "castings") {
			continue
		}
		if heat := s.From; !seen[heat] {
			seen[heat] = true
			n.Streams = append(n.Streams, Stream{ID: heat + " poured", From: heat, To: heat + " molds", Given: Unmeasured})
			s = &n.Streams[i]
		}
		s.From += " molds"
	}
	return n
}

package ledger

import (
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// It says what a map says, also of names that do not lie evenly.
func TestNewestIsAMap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var got newest
		want := map[uint64]uint64{}
		names := rapid.OneOf(rapid.Uint64(), rapid.Uint64Range(1, 500), rapid.Uint64Range(1<<64-500, 1<<64-1))
		for range rapid.IntRange(0, 2000).Draw(t, "sets") {
			name, number := names.Draw(t, "name"), rapid.Uint64().Draw(t, "number")
			if name == 0 {
				name = 1
			}
			was, known := got.set(name, number)
			if before, there := want[name]; was != before || known != there {
				t.Fatalf("%x was %d, %v, want %d, %v", name, was, known, before, there)
			}
			want[name] = number
		}
	})
}

// It takes at most the memory it says.
func TestNewestIsSmall(t *testing.T) {
	var m newest
	r := rand.New(rand.NewPCG(1, 2))
	const n = 1 << 20
	for range n {
		m.set(r.Uint64(), 1)
	}
	slots := 0
	for i := range m.shards {
		slots += len(m.shards[i].slots)
	}
	if each := float64(slots*16) / n; each > 21 {
		t.Errorf("%.1f bytes a name", each)
	} else {
		t.Logf("%.1f bytes a name", each)
	}
}

// BenchmarkNewest remembers six million names, beside a map.
//
//	go test ./ledger -run '^$' -bench Newest -benchtime 3x
func BenchmarkNewest(b *testing.B) {
	const n = 6 << 20
	var m newest
	var in map[uint64]uint64
	for _, way := range []struct {
		name  string
		clear func()
		set   func(name uint64)
	}{
		{"newest", func() { m = newest{} }, func(name uint64) { m.set(name, 1) }},
		{"map", func() { in = map[uint64]uint64{} }, func(name uint64) { in[name] = 1 }},
	} {
		b.Run(way.name, func(b *testing.B) {
			for b.Loop() {
				way.clear()
				r := rand.New(rand.NewPCG(1, 2))
				for range n {
					way.set(r.Uint64())
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/name")
		})
	}
}

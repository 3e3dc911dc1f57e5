package lineage

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// mixed carries masses by source and by number of melts through a book in
// floating point, vessel by vessel: the exact oracle is too slow for thousands
// of lots.
type mixed struct {
	mg      float64
	sources map[int64]float64
	melts   []float64
}

func mix(rows [][3]int64) []mixed {
	lots := make([]mixed, rows[len(rows)-1][1]+1)
	for _, r := range rows {
		to, mg := &lots[r[1]], float64(r[2])
		if to.sources == nil {
			to.sources, to.melts = map[int64]float64{}, make([]float64, 400)
		}
		to.mg += mg
		if r[0] == 0 {
			to.sources[r[1]] += mg
			to.melts[1] += mg // the benchmark's books melt every lot, bought ones too
			continue
		}
		from := &lots[r[0]]
		f := mg / from.mg
		for s, x := range from.sources {
			to.sources[s] += f * x
			from.sources[s] -= f * x
		}
		for k, x := range from.melts[:len(from.melts)-1] {
			to.melts[k+1] += f * x
			from.melts[k] -= f * x
		}
		from.mg -= mg
	}
	return lots
}

// Thousands of lots, so that traces cross many pages and use them again.
func TestThousandsOfLots(t *testing.T) {
	for _, window := range []int{200, 0} {
		rows := benchBook(3000, window)
		g, lots := load(t, transfers(rows)), mix(rows)
		for id := int64(len(lots) - 1); id > int64(len(lots)-40); id-- {
			want := lots[id]
			sum := 0.0
			for _, s := range must(g.Back(lotName(id), Latest)) {
				var source int64
				must(fmt.Sscanf(s.Node, "lot/L%d", &source))
				if w := want.sources[source] / want.mg; math.Abs(s.Fraction-w) > 1e-9 {
					t.Fatalf("window %d: %s in %d is %v, want %v", window, s.Node, id, s.Fraction, w)
				}
				sum += s.Fraction
			}
			if math.Abs(sum-1) > near {
				t.Fatalf("window %d: fractions of %d add up to %v", window, id, sum)
			}
			for k, x := range must(g.Age(lotName(id), Latest)).Melts {
				if w := want.melts[k] / want.mg; math.Abs(x-w) > 1e-9 {
					t.Fatalf("window %d: %d melted %d times is %v, want %v", window, id, k, x, w)
				}
			}
		}
		for _, early := range []int64{5, 1010, 2770, 3287} { // all bought
			var held int64
			for _, h := range must(g.Forward(lotName(early), Latest)) {
				var id int64
				must(fmt.Sscanf(h.Node, "lot/L%d", &id))
				if w := lots[id].sources[early]; math.Abs(float64(h.Mg)-w) > 1.01 {
					t.Fatalf("window %d: %+v, want %v", window, h, w)
				}
				held += h.Mg
			}
			if held != 400_000_000 {
				t.Errorf("window %d: lot %d adds up to %d, want what was bought", window, early, held)
			}
		}
	}
}

// A question forward begins where the node first appears, or a little before, also when
// versions were renumbered.
func TestForwardBeginsLate(t *testing.T) {
	rows := benchBook(5000, 200)
	last := rows[len(rows)-1][1]
	g := load(t, transfers(rows))
	check := func(what string) {
		t.Helper()
		first := make([]int32, g.nodes.n)
		for i := g.log.n - 1; i >= 0; i-- {
			first[g.log.at(i).node()] = i
			for from := range g.log.moved(i) {
				if from != none {
					first[from] = i
				}
			}
		}
		for id, i := range first {
			if begin := g.log.without(int32(id)); begin > i || begin < i-2*chunkLen {
				t.Fatalf("%s: node %d of version %d is looked for from %d on", what, id, i, begin)
			}
		}
	}
	check("as written")
	must(0, g.Reverse(last+1, last-500))
	check("after the reversal of a late entry")
	must(0, g.Insert(last+2, last-1500, Transfer{From: "new", To: "gate", Mg: 7}))
	must(0, g.Append(Transfer{last + 3, "new", "last", 3, false}))
	begin := g.log.without(g.nodes.intern("new"))
	if got := must(g.Forward("new", Latest)); len(got) != 2 || begin < 1000 {
		t.Errorf("looked for from %d on: %+v", begin, got)
	}
}

// What a question sees stays as it was while the book is written on, corrected
// and grows past the blocks that it is kept in.
func TestSnapshotDoesNotChange(t *testing.T) {
	g := New()
	seq := int64(0)
	step := func(mg int64) {
		seq++
		write(t, g, Transfer{seq, "X", "bin", 3 * mg, false}, Transfer{seq, "Y", "bin", mg, false},
			Transfer{seq, "bin", fmt.Sprint("casting-", seq), mg, true})
	}
	for range chunkLen {
		step(1 << 31) // beyond 32 bits
	}
	v := must(g.view("X", Latest))
	want := v.forward()
	for range 3 {
		seq++
		if err := g.Reverse(seq, seq-500); err != nil {
			t.Fatal(err)
		}
		for range 2 * chunkLen {
			step(1 << 33)
		}
	}
	equal(t, "the old state", v.forward(), want)
}

func TestLongNames(t *testing.T) {
	g := New()
	var names []string
	for n := 1; n <= maxName; n++ {
		names = append(names, strings.Repeat("n", n-1)+"a", strings.Repeat("n", n-1)+"b")
	}
	for i, n := range names {
		write(t, g, Transfer{int64(i + 1), n, "heat", 1, false})
	}
	got := must(g.Back("heat", Latest))
	if len(got) != len(names) {
		t.Fatalf("%d sources, want %d", len(got), len(names))
	}
	for _, s := range got {
		if differ(s.Fraction, 1/float64(len(names))) {
			t.Errorf("%s: %v", s.Node, s.Fraction)
		}
	}
	for _, n := range names {
		equal(t, n, must(g.Back(n, Latest)), []Share{{n, 1}})
	}
}

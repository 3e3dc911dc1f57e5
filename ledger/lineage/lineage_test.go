package lineage

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

const gram, kg = 1000, 1_000_000 // milligrams

func write(t testing.TB, g *Graph, ts ...Transfer) {
	t.Helper()
	for _, x := range ts {
		if err := g.Append(x); err != nil {
			t.Fatal(err)
		}
	}
}

// shares turns an answer into a map, to compare with.
func shares(t testing.TB) func([]Share, error) map[string]float64 {
	return func(s []Share, err error) map[string]float64 {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]float64{}
		for _, x := range s {
			out[x.Node] = x.Fraction
		}
		return out
	}
}

func equal(t testing.TB, what string, got, want any) {
	t.Helper()
	if d := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-12)); d != "" {
		t.Errorf("%s (-want +got):\n%s", what, d)
	}
}

// twoHeats is worked by hand:
//
//	heat 1: 30 kg of ingot X + 10 kg of ingot Y = 40 kg, ¾ X
//	  poured: casting P 24 kg, gating bin 16 kg
//	heat 2: 8 kg from the bin (6 X + 2 Y) + 8 kg of ingot Y = 16 kg, 6/16 X
//	  poured: casting Q 12 kg, 4 kg into the bin, which holds 8 kg (6 X + 2 Y):
//	  now 12 kg with 6 + 1.5 = 7.5 kg of X, ⅝ X
//	heat 3: all 12 kg of the bin → casting R
//
// X went 18 kg into P, 4.5 kg into Q, 7.5 kg into R: 30 kg.
// Age of R: of the bin's 12 kg, 8 kg were melted once and 4 kg (from heat 2)
// half once (the ingot) and half twice (the bin); in heat 3 all once more:
// 10/12 twice, 2/12 three times.
func twoHeats(t testing.TB) *Graph {
	g := New()
	write(t, g,
		Transfer{1, "", "X", 30 * kg, false},
		Transfer{2, "", "Y", 20 * kg, false},
		Transfer{3, "X", "heat-1", 30 * kg, true},
		Transfer{4, "Y", "heat-1", 10 * kg, true},
		Transfer{5, "heat-1", "P", 24 * kg, false},
		Transfer{6, "heat-1", "bin", 16 * kg, false},
		Transfer{7, "bin", "heat-2", 8 * kg, true},
		Transfer{8, "Y", "heat-2", 8 * kg, true},
		Transfer{9, "heat-2", "Q", 12 * kg, false},
		Transfer{10, "heat-2", "bin", 4 * kg, false},
		Transfer{11, "bin", "heat-3", 12 * kg, true},
		Transfer{12, "heat-3", "R", 12 * kg, false},
	)
	return g
}

func TestHandWorkedBack(t *testing.T) {
	g := twoHeats(t)
	equal(t, "P", shares(t)(g.Back("P", Latest)), map[string]float64{"X": .75, "Y": .25})
	equal(t, "Q", shares(t)(g.Back("Q", Latest)), map[string]float64{"X": .375, "Y": .625})
	equal(t, "R", shares(t)(g.Back("R", Latest)), map[string]float64{"X": .625, "Y": .375})
	equal(t, "bin after entry 7", shares(t)(g.Back("bin", 7)), map[string]float64{"X": .75, "Y": .25})
	equal(t, "bin after entry 10", shares(t)(g.Back("bin", 10)), map[string]float64{"X": .625, "Y": .375})
	equal(t, "heat 1, long empty", shares(t)(g.Back("heat-1", Latest)), map[string]float64{"X": .75, "Y": .25})
	equal(t, "a source", shares(t)(g.Back("X", Latest)), map[string]float64{"X": 1})
	// All of R came through heat 3 and heat 1 or 2: 4 kg of 12 through heat 2,
	// of these 2 kg before through heat 1; once into the bin, 2 kg twice.
	equal(t, "via", shares(t)(g.Via("R", Latest)), map[string]float64{
		"R": 1, "heat-3": 1, "bin": 14. / 12, "heat-2": 4. / 12, "heat-1": 10. / 12, "X": .625, "Y": .375})
}

func TestHandWorkedForward(t *testing.T) {
	g := twoHeats(t)
	got, err := g.Forward("X", Latest)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "X", got, []Holding{
		{Node: "X", Received: 30 * kg},
		{Node: "heat-1", Received: 30 * kg},
		{Node: "P", Mg: 18 * kg, Fraction: .75, Received: 18 * kg},
		{Node: "bin", Received: 13_500 * gram}, // 12 kg, then 1.5 kg of it again
		{Node: "heat-2", Received: 6 * kg},
		{Node: "Q", Mg: 4_500 * gram, Fraction: .375, Received: 4_500 * gram},
		{Node: "heat-3", Received: 7_500 * gram},
		{Node: "R", Mg: 7_500 * gram, Fraction: .625, Received: 7_500 * gram},
	})
	got, err = g.Forward("Y", 8)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "Y after entry 8", got, []Holding{
		{Node: "Y", Mg: 2 * kg, Fraction: 1, Received: 20 * kg},
		{Node: "heat-1", Received: 10 * kg},
		{Node: "P", Mg: 6 * kg, Fraction: .25, Received: 6 * kg},
		{Node: "bin", Mg: 2 * kg, Fraction: .25, Received: 4 * kg},
		{Node: "heat-2", Mg: 10 * kg, Fraction: .625, Received: 10 * kg},
	})
}

func TestHandWorkedAge(t *testing.T) {
	g := twoHeats(t)
	for node, want := range map[string]Age{
		"X": {Mean: 0, Melts: []float64{1}},
		"P": {Mean: 1, Melts: []float64{0, 1}},
		"Q": {Mean: 1.5, Melts: []float64{0, .5, .5}},
		"R": {Mean: 26. / 12, Melts: []float64{0, 0, 10. / 12, 2. / 12}},
	} {
		got, err := g.Age(node, Latest)
		if err != nil {
			t.Fatal(err)
		}
		equal(t, node, got, want)
	}
}

// A jar of 32 litres of wine of which 4 litres are replaced by water three
// times holds wine and water as 343 : 169. Source: CMAT 2018, slot 1, question
// 23 with its solution, cracku.in; likewise 125 litres, 25 replaced three times,
// leave 64 litres of wine (learn.careers360.com, "A vessel contains 125 litres
// of wine").
func TestPublishedDilutions(t *testing.T) {
	for _, c := range []struct {
		jar, draw  int64
		times      int
		wine, rest float64
	}{{32, 4, 3, 343, 169}, {125, 25, 3, 64, 61}} {
		g := New()
		write(t, g, Transfer{1, "wine", "jar", c.jar, false})
		for i := range int64(c.times) {
			write(t, g, Transfer{2 + i, "jar", "glass", c.draw, false}, Transfer{2 + i, "water", "jar", c.draw, false})
		}
		all := c.wine + c.rest
		equal(t, fmt.Sprint(c), shares(t)(g.Back("jar", Latest)), map[string]float64{"wine": c.wine / all, "water": c.rest / all})
	}
}

// With a share r of returns of the last heat in every charge, the number of
// melts is geometric with success probability 1-r, whose mean is 1/(1-r). (Any
// text on probability; as a sum over the last n heats it is exact for n heats.)
func TestAgeOfASteadyShopIsGeometric(t *testing.T) {
	const r, heats = 0.6, 60
	g := New()
	write(t, g, Transfer{1, "ingot", "heat-0", 10 * kg, true})
	for i := int64(1); i <= heats; i++ {
		h, last := fmt.Sprint("heat-", i), fmt.Sprint("heat-", i-1)
		write(t, g, Transfer{2 * i, last, h, 6 * kg, true}, Transfer{2*i + 1, "ingot", h, 4 * kg, true})
	}
	age, err := g.Age(fmt.Sprint("heat-", heats), Latest)
	if err != nil {
		t.Fatal(err)
	}
	sum := age.Rest
	for k, x := range age.Melts {
		sum += x
		want := 0.0
		if k > 0 {
			want = (1 - r) * math.Pow(r, float64(k-1))
		}
		if math.Abs(x-want) > 1e-12 {
			t.Errorf("melted %d times: %v, want %v", k, x, want)
		}
	}
	if math.Abs(age.Mean-1/(1-r)) > 1e-9 || math.Abs(sum-1) > 1e-12 || age.Rest > ageRest {
		t.Errorf("mean %v, want %v; sum %v; rest %v", age.Mean, 1/(1-r), sum, age.Rest)
	}
}

// More came out of the molds than went in: the rest is metal of the molds' own,
// said as such; what comes in later makes it good first and is settled.
func TestMoreOutThanIn(t *testing.T) {
	g := New()
	write(t, g,
		Transfer{1, "X", "molds", 10, false},
		Transfer{2, "molds", "casting", 12, false},
		Transfer{3, "Y", "molds", 5, false},
	)
	equal(t, "casting", shares(t)(g.Back("casting", Latest)), map[string]float64{"X": 10. / 12, "molds": 2. / 12})
	equal(t, "molds", shares(t)(g.Back("molds", Latest)), map[string]float64{"Y": 1})
	got, err := g.Forward("Y", Latest)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "Y", got, []Holding{{Node: "molds", Mg: 3, Fraction: 1, Received: 5, Settled: 2}})
}

// The wrong lot was written down, the heat was poured, then it was noticed: the
// castings lead to the right lot, and nobody else is touched.
func TestReversedAndReplaced(t *testing.T) {
	g := New()
	write(t, g,
		Transfer{1, "", "wrong", 10 * kg, false},
		Transfer{1, "", "right", 10 * kg, false},
		Transfer{2, "wrong", "heat", 6 * kg, true},
		Transfer{3, "other", "heat", 6 * kg, true},
		Transfer{4, "heat", "casting", 12 * kg, false},
	)
	if err := g.Reverse(5, 2); err != nil {
		t.Fatal(err)
	}
	equal(t, "reversed", shares(t)(g.Back("casting", Latest)), map[string]float64{"other": .5, "heat": .5})
	if err := g.Insert(6, 2, Transfer{From: "right", To: "heat", Mg: 6 * kg, Melt: true}); err != nil {
		t.Fatal(err)
	}
	equal(t, "replaced", shares(t)(g.Back("casting", Latest)), map[string]float64{"other": .5, "right": .5})
	got, err := g.Forward("wrong", Latest)
	if err != nil {
		t.Fatal(err)
	}
	equal(t, "wrong", got, []Holding{{Node: "wrong", Mg: 10 * kg, Fraction: 1, Received: 10 * kg}})

	// The replacement was wrong too.
	if err := g.Reverse(7, 6); err != nil {
		t.Fatal(err)
	}
	if err := g.Insert(7, 6, Transfer{From: "wrong", To: "heat", Mg: 6 * kg, Melt: true}); err != nil {
		t.Fatal(err)
	}
	equal(t, "transfers of a struck entry", len(g.Transfers(2)), 0)
	equal(t, "transfers that stand elsewhere", g.Transfers(7), []Transfer{{7, "wrong", "heat", 6 * kg, true}})
	equal(t, "transfers from outside", g.Transfers(1), []Transfer{{1, "", "wrong", 10 * kg, false}, {1, "", "right", 10 * kg, false}})
	equal(t, "given more than came", g.Content("other"), int64(-6*kg))
	equal(t, "replaced again", shares(t)(g.Back("casting", Latest)), map[string]float64{"other": .5, "wrong": .5})
}

func TestRefusals(t *testing.T) {
	g := twoHeats(t)
	before := g.Size()
	for _, c := range []struct {
		name string
		err  error
		want error
		says string
	}{
		{"no receiver", g.Append(Transfer{12, "X", "", 1, false}), ErrTransfer, "To is"},
		{"long name", g.Append(Transfer{12, "X", strings.Repeat("x", 2000), 1, false}), ErrTransfer, "255"},
		{"to itself", g.Append(Transfer{12, "X", "X", 1, false}), ErrTransfer, `"X"`},
		{"nothing", g.Append(Transfer{12, "X", "Z", 0, false}), ErrTransfer, "Mg is 0"},
		{"negative", g.Append(Transfer{12, "X", "Z", -5, false}), ErrTransfer, "-5"},
		{"too much", g.Append(Transfer{12, "X", "Z", math.MaxInt64, false}), ErrTransfer, "together"},
		{"going back", g.Append(Transfer{11, "X", "Z", 1, false}), ErrOrder, "at least 12"},
		{"entry zero", g.Append(Transfer{0, "X", "Z", 1, false}), ErrOrder, "Seq is 0"},
		{"entry too high", g.Append(Transfer{1 << 32, "X", "Z", 1, false}), ErrOrder, "4294967295"},
		{"reversing the future", g.Reverse(13, 13), ErrOrder, "earlier"},
		{"inserting after the future", g.Insert(13, 14), ErrOrder, "earlier"},
		{"entry in two places", g.Insert(12, 3, Transfer{From: "X", To: "Z", Mg: 1}), ErrOrder, "together"},
		{"inserting nothing of it", g.Insert(13, 3, Transfer{From: "X", To: "Z", Mg: 1}, Transfer{To: "Z"}), ErrTransfer, "Mg is 0"},
	} {
		if !errors.Is(c.err, c.want) || !strings.Contains(c.err.Error(), c.says) {
			t.Errorf("%s: %v, want %v saying %q", c.name, c.err, c.want, c.says)
		}
	}
	if d := cmp.Diff(before, g.Size()); d != "" {
		t.Errorf("a refused transfer changed the graph:\n%s", d)
	}
	if err := g.Reverse(13, 5); err != nil {
		t.Fatal(err)
	}
	for name, err := range map[string]error{
		"again":       g.Reverse(14, 5),
		"a reversal":  g.Reverse(14, 13),
		"two by once": g.Reverse(13, 6),
	} {
		if !errors.Is(err, ErrReversed) {
			t.Errorf("%s: %v, want %v", name, err, ErrReversed)
		}
	}
	for name, err := range map[string]error{
		"Back":    second(g.Back("nobody", Latest)),
		"Via":     second(g.Via("nobody", Latest)),
		"Forward": second(g.Forward("nobody", Latest)),
		"Age":     second(g.Age("nobody", Latest)),
	} {
		if !errors.Is(err, ErrUnknown) {
			t.Errorf("%s: %v, want %v", name, err, ErrUnknown)
		}
	}
	if _, err := g.Back("Q", 8); !errors.Is(err, ErrNothing) {
		t.Errorf("before it was poured: %v, want %v", err, ErrNothing)
	}
}

func second[T any](_ T, err error) error { return err }

// Masses beyond 32 bits, in one transfer or in what a node holds, are exact.
// A full graph refuses whole entries, and goes on when they are smaller.
func TestFull(t *testing.T) {
	for _, fill := range []func(g *Graph){
		func(g *Graph) { g.nodes.n = maxNodes - 3 },
		func(g *Graph) { g.log.parts.n = maxParts - 1 },
	} {
		g := twoHeats(t)
		nodes, parts := g.nodes.n, g.log.parts.n
		fill(g)
		full := g.Size()
		err := g.Append(Transfer{13, "X", "new", 1, false}, Transfer{13, "X", "newer", 1, false})
		err2 := g.Insert(13, 1, Transfer{13, "X", "new", 1, false}, Transfer{13, "X", "newer", 1, false})
		if !errors.Is(err, ErrFull) || !errors.Is(err2, ErrFull) || g.Size() != full || g.seq != 12 {
			t.Errorf("%v, %v, %+v", err, err2, g.Size())
		}
		g.nodes.n, g.log.parts.n = nodes, parts
		write(t, g, Transfer{13, "X", "new", 1, false})
	}
}

func TestLargeMassesAreExact(t *testing.T) {
	g := New()
	const big = int64(1) << 52
	write(t, g,
		Transfer{1, "X", "store", big + 1, false},
		Transfer{2, "X", "store", math.MaxUint32, false},
		Transfer{3, "Y", "store", 7, false},
		Transfer{4, "store", "out", big, false},
	)
	got, err := g.Forward("X", Latest)
	if err != nil {
		t.Fatal(err)
	}
	var sum int64
	for _, h := range got {
		sum += h.Mg
	}
	if want := big + 1 + math.MaxUint32; sum != want {
		t.Errorf("X adds up to %d, want %d", sum, want)
	}
	equal(t, "content", g.nodes.content(1), int64(1+math.MaxUint32+7))
}

// Questions see whole entries up to the one they ask for while others are being
// written and corrected. Meant for the race detector.
func TestQuestionsWhileWriting(t *testing.T) {
	g := New()
	write(t, g, Transfer{1, "X", "bin", 1 << 40, false}, Transfer{1, "Y", "bin", 1 << 40, false})
	var wg sync.WaitGroup
	done := make(chan struct{})
	for range 2 {
		wg.Go(func() {
			for {
				select {
				case <-done:
					return
				default:
				}
				s, err := g.Back("bin", Latest)
				if err != nil || len(s) != 2 || math.Abs(s[0].Fraction+s[1].Fraction-1) > near {
					t.Errorf("Back: %v, %v", s, err)
					return
				}
				fw, err := g.Forward("X", Latest)
				var sum int64
				for _, h := range fw {
					sum += h.Mg
				}
				if err != nil || (sum-1<<40)%16 != 0 {
					t.Errorf("Forward adds up to %d, %v", sum, err)
					return
				}
				if _, err := g.Age("bin", 1); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for seq := int64(2); seq < 3000; seq++ {
		err := g.Append(Transfer{seq, "bin", fmt.Sprint("heat-", seq), 16, true}, Transfer{seq, "X", "bin", 16, false})
		if err != nil {
			t.Fatal(err)
		}
		if seq%100 == 0 {
			seq++
			if err := g.Reverse(seq, seq-20); err != nil {
				t.Fatal(err)
			}
		}
	}
	close(done)
	wg.Wait()
}

//go:build unix

package charge

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sort"
	"syscall"
	"testing"
	"time"

	"example.org/remelt/ledger/charge/program"
	"example.org/remelt/ledger/charge/program/glpsol"
)

// shelf draws a stock of 40 lots with 15 elements and a heat of 60–90 kg that wants
// all 15 held: the size that a plan must be there for at once. The metal is
// invented; contents scatter about the wanted ones as lots of one alloy do.
func shelf(seed uint64, lots, elems int) (Heat, []Lot) {
	r := rand.New(rand.NewPCG(seed, 13))
	names := make([]string, elems)
	want := make([]float64, elems)
	for e := range names {
		names[e] = fmt.Sprintf("E%02d", e)
		want[e] = math.Exp(r.Float64()*6-4.6) / 2 // 0.005 % to 2 %
	}
	var stock []Lot
	for i := range lots {
		l := Lot{ID: fmt.Sprintf("L%02d", i), Return: i%2 == 1, Content: map[string]float64{}}
		for e, n := range names {
			l.Content[n] = math.Round(want[e]*math.Exp(0.25*r.NormFloat64())*1e4) / 1e4
		}
		price := int64(700 + r.IntN(500)) // small units a kg
		if l.Return {
			price = price * 6 / 10
			l.Loss = f64(0.03)
		}
		if r.IntN(3) == 0 {
			l.Loose, l.Handful, l.Bulk = int64(3+r.IntN(25))*1e6, 500_000, 1.5
		}
		for range 1 + r.IntN(3) {
			m := int64(2000+r.IntN(8000)) * 1000
			for range 1 + r.IntN(3) {
				l.Pieces = append(l.Pieces, Piece{Mass: m})
			}
		}
		l.Value = price * l.Mass() / 1e6
		stock = append(stock, l)
	}
	h := Heat{ID: "bench", ChanceShort: 0.05, Filling: Filling{0.01, 30, 0.04, 30}, Loss: NormalLoss{0.02, 0.006},
		Heel: 1e6, HeelContent: map[string]float64{}, Skull: 500_000, PourOff: 2e6,
		Crucible: Crucible{Volume: 15000, Fill: 0.9, Density: 7.8, Mass: 25e6}, Lift: 150e6,
		Returns: Share{Max: f64(0.5)}, Waiting: f64(20000), PigMold: 5e6, PigMolds: 6}
	for e, n := range names {
		h.HeelContent[n] = want[e]
		w := Window{Elements: []string{n}, Max: f64(math.Round(want[e]*(1.05+0.2*r.Float64())*1e4) / 1e4)}
		if e%3 == 0 {
			w.Min = f64(math.Round(want[e]*(0.8+0.15*r.Float64())*1e4) / 1e4)
		}
		h.Windows = append(h.Windows, w)
	}
	for range 4 + r.IntN(4) {
		h.Molds = append(h.Molds, Mold{Metal: Estimate{Mean: float64(8000+r.IntN(8000)) * 1000}})
	}
	return h, stock
}

func cpu() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// recorded is the ratio of processor times, plan to glpsol, measured when it was
// last looked at; under REMELT_CI=1 twice that fails.
const recorded = 0.35

// Plans of 40 lots × 15 elements against glpsol, on the same programmes by the same
// proven gap: proven bounds hold for both answers, and the ratio of processor times
// is logged. Ours includes sizing, building, the second aim and the plan; glpsol's
// is the first aim alone, with its defaults or its cuts, whichever is faster.
func TestPlansAgainstGlpsol(t *testing.T) {
	glpsol.Need(t)
	const limit = 10 // seconds for glpsol
	n := 3
	if os.Getenv("REMELT_CI") == "1" {
		n = 9
	}
	if os.Getenv("REMELT_STRESS") != "" {
		n = 25
	}
	var ours, theirs, wall []float64
	for seed := range uint64(n) {
		h, lots := shelf(seed, 40, 15)
		t0, c0 := time.Now(), cpu()
		p, err := Make(context.Background(), h, lots, Limits{})
		d, took := cpu()-c0, time.Since(t0)
		m := newModel([]*Heat{&h}, lots)
		m.cost(LeastCost)
		var b bytes.Buffer
		if err := program.WriteMPS(&b, &m.prog); err != nil {
			t.Fatal(err)
		}
		g := glpsol.Run(t, b.Bytes(), limit, "--mipgap", "0.001")
		c := glpsol.Run(t, b.Bytes(), limit, "--mipgap", "0.001", "--cuts")
		var no *Infeasible
		if errors.As(err, &no) {
			if g.Status == "o" || g.Status == "f" {
				t.Errorf("seed %d: %v, glpsol has %v", seed, err, g.Value)
			}
			t.Logf("seed %2d: infeasible in %v; glpsol %v", seed, d.Round(time.Millisecond), g.CPU.Round(time.Millisecond))
			continue
		}
		if err != nil {
			t.Errorf("seed %d: %v", seed, err)
			continue
		}
		if !p.Proof.Optimal || p.Proof.Gap > 0.001 {
			t.Errorf("seed %d: gap %v", seed, p.Proof.Gap)
		}
		for _, a := range []glpsol.Answer{g, c} {
			if (a.Status == "o" || a.Status == "f") && a.Value < p.Proof.Bound*(1-1e-6) {
				t.Errorf("seed %d: proven bound %v, glpsol has %v", seed, p.Proof.Bound, a.Value)
			}
		}
		t.Logf("seed %2d: %d columns, %d rows: cost %.0f, gap %.2g %%, %d+%d nodes, %v; glpsol %.0f, %v; with cuts %.0f, %v", seed, len(m.prog.Cols), len(m.prog.Rows),
			p.Proof.Value, 100*p.Proof.Gap, p.Proof.Nodes, p.Proof.Then.Nodes, d.Round(time.Millisecond), g.Value, g.CPU.Round(time.Millisecond), c.Value, c.CPU.Round(time.Millisecond))
		ours, theirs, wall = append(ours, d.Seconds()), append(theirs, min(g.CPU, c.CPU).Seconds()), append(wall, took.Seconds())
	}
	if len(ours) == 0 {
		t.Fatal("no heat could be planned")
	}
	sort.Float64s(ours)
	sort.Float64s(theirs)
	sort.Float64s(wall)
	mid := len(ours) / 2
	ratio := ours[mid] / theirs[mid]
	t.Logf("median processor time %.3f s (elapsed %.3f s), glpsol %.3f s: ratio %.2f", ours[mid], wall[mid], theirs[mid], ratio)
	if os.Getenv("REMELT_CI") == "1" && ratio > 2*recorded {
		t.Errorf("ratio %.2f, recorded %.2f", ratio, recorded)
	}
}

func BenchmarkPlan40x15(b *testing.B) {
	for i := 0; b.Loop(); i++ {
		h, lots := shelf(uint64(i%25), 40, 15)
		var no *Infeasible
		if _, err := Make(context.Background(), h, lots, Limits{}); err != nil && !errors.As(err, &no) {
			b.Fatal(err)
		}
	}
}

package lineage

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

const near = 1e-12

var nodeNames = []string{"ingot-1", "ingot-2", "a", "b", "c", "d", "e"}

// drawBook draws a small book with overdrafts, receipts, late entries and
// reversals, and writes it into a graph and the oracle alike.
func drawBook(t *rapid.T) (*Graph, *book, int64) {
	g, b := New(), &book{place: map[int64]int64{}}
	unit := rapid.SampledFrom([]int64{1, 1000, 1 << 31, 1 << 40}).Draw(t, "unit")
	seq := int64(0)
	reversed := map[int64]bool{}
	transfer := func() Transfer {
		from := rapid.SampledFrom(append(nodeNames, "")).Draw(t, "from")
		to := rapid.SampledFrom(slices.DeleteFunc(slices.Clone(nodeNames[2:]), func(s string) bool { return s == from })).Draw(t, "to")
		if rapid.IntRange(0, 19).Draw(t, "back") == 0 && from != "ingot-1" {
			to = "ingot-1" // handed back to the supplier
		}
		t.Logf("entry %d: %s to %s", seq, from, to)
		return Transfer{Seq: seq, From: from, To: to, Mg: unit * rapid.Int64Range(1, 30).Draw(t, "mg"), Melt: rapid.Bool().Draw(t, "melt")}
	}
	for range rapid.IntRange(1, 40).Draw(t, "entries") {
		seq++
		kind := rapid.IntRange(0, 9).Draw(t, "kind")
		if seq == 1 {
			kind = 9
		}
		switch kind {
		case 0:
			old := rapid.Int64Range(1, seq-1).Draw(t, "old")
			err := g.Reverse(seq, old)
			if reversed[old] {
				if !errors.Is(err, ErrReversed) {
					t.Fatalf("reversing %d again: %v", old, err)
				}
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			b.reverse(old)
			reversed[old], reversed[seq] = true, true
		case 1, 2:
			after := rapid.Int64Range(1, seq-1).Draw(t, "after")
			ts := []Transfer{transfer(), transfer()}
			if err := g.Insert(seq, after, ts...); err != nil {
				t.Fatal(err)
			}
			for _, x := range ts {
				b.add(after, x)
			}
		default:
			whole := rapid.Bool().Draw(t, "at once")
			var ts []Transfer
			for range rapid.IntRange(1, 4).Draw(t, "transfers") {
				x := transfer()
				if n := len(ts); n > 0 && x.From != ts[n-1].To && rapid.Bool().Draw(t, "to the same") {
					x.To, x.Melt = ts[n-1].To, ts[n-1].Melt
				}
				ts = append(ts, x)
				b.add(seq, x)
			}
			for part := range slices.Chunk(ts, map[bool]int{true: len(ts), false: 1}[whole]) {
				if err := g.Append(part...); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	return g, b, seq
}

func differ(got, want float64) bool { return math.Abs(got-want) > near*math.Max(1, math.Abs(want)) }

func checkShares(t *rapid.T, what string, got []Share, want map[string]float64) {
	t.Helper()
	for n, x := range want {
		if x < trace/near { // may or may not have been dropped
			continue
		}
		if !slices.ContainsFunc(got, func(s Share) bool { return s.Node == n }) {
			t.Fatalf("%s: got %v, want %v", what, got, want)
		}
	}
	for _, s := range got {
		if w, ok := want[s.Node]; !ok || differ(s.Fraction, w) {
			t.Fatalf("%s: %s is %.17g, want %.17g", what, s.Node, s.Fraction, w)
		}
	}
}

// Back, Via and Age equal exact bookkeeping of every milligram, at any entry.
func TestBackEqualsExactBookkeeping(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, b, seq := drawBook(t)
		at := rapid.Int64Range(1, seq+1).Draw(t, "at")
		then, now := b.oracle(at, ""), b.oracle(Latest, "")
		for _, n := range nodeNames {
			got, err := g.Back(n, at)
			v := then.vessels[n]
			if now.vessels[n] == nil {
				if err != nil && !errors.Is(err, ErrUnknown) && !errors.Is(err, ErrNothing) {
					t.Fatal(err)
				}
				continue // never seen, or only in entries that were struck
			}
			if now.vessels[n].inflows > 0 && (v == nil || v.inflows == 0) {
				if !errors.Is(err, ErrNothing) {
					t.Fatalf("%s at %d received nothing yet, got %v, %v", n, at, got, err)
				}
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			wantSources, wantVia, wantMelts := map[string]float64{n: 1}, map[string]float64{}, map[int]float64{0: 1}
			if v != nil && v.last.sources != nil {
				wantSources, wantVia, wantMelts = v.last.sources, v.last.via, v.last.melts
			}
			checkShares(t, fmt.Sprintf("Back(%s, %d)", n, at), got, wantSources)
			sum := 0.0
			for _, s := range got {
				sum += s.Fraction
			}
			if differ(sum, 1) {
				t.Fatalf("fractions of %s add up to %.17g", n, sum)
			}
			via, err := g.Via(n, at)
			if err != nil {
				t.Fatal(err)
			}
			checkShares(t, fmt.Sprintf("Via(%s, %d)", n, at), via, wantVia)
			age, err := g.Age(n, at)
			if err != nil {
				t.Fatal(err)
			}
			mean := 0.0
			for k, x := range wantMelts {
				mean += float64(k) * x
				if k >= len(age.Melts) && x > near || k < len(age.Melts) && differ(age.Melts[k], x) {
					t.Fatalf("Age(%s, %d) = %v, want %v", n, at, age, wantMelts)
				}
			}
			if differ(age.Mean, mean) {
				t.Fatalf("Age(%s, %d).Mean = %v, want %v", n, at, age.Mean, mean)
			}
		}
	})
}

// Forward finds exactly the nodes with tagged metal, and its milligrams add up
// to the metal that was ever in the node.
func TestForwardEqualsExactBookkeeping(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, b, seq := drawBook(t)
		at := rapid.SampledFrom([]int64{Latest, seq / 2}).Draw(t, "at")
		for _, n := range nodeNames {
			got, err := g.Forward(n, at)
			if errors.Is(err, ErrUnknown) {
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			o := b.oracle(at, n)
			var sum int64
			seen := map[string]bool{}
			for _, h := range got {
				sum += h.Mg + h.Settled
				seen[h.Node] = true
				v := o.vessels[h.Node]
				if v == nil {
					t.Fatalf("Forward(%s): unknown %+v", n, h)
				}
				within(t, n, h, "Mg", h.Mg, v.tagged)
				within(t, n, h, "Settled", h.Settled, v.settled)
				within(t, n, h, "Received", h.Received, v.received)
				want := 0.0
				if v.mg.Sign() > 0 {
					want, _ = new(big.Rat).Quo(v.tagged, v.mg).Float64()
				}
				if differ(h.Fraction, want) {
					t.Fatalf("Forward(%s): %+v, want fraction %v", n, h, want)
				}
			}
			// A total that is whole, as that of any source, is met exactly; metal
			// that came round again can leave a fraction, which is rounded.
			total, _ := o.total.Float64()
			tolerance := near * total
			if !o.total.IsInt() {
				tolerance += 0.5
			} else if total < 1<<50 {
				tolerance = 0
			}
			if math.Abs(float64(sum)-total) > tolerance {
				t.Fatalf("Forward(%s, %d) adds up to %d, want %v: %+v", n, at, sum, total, got)
			}
			for name, v := range o.vessels {
				if (v.received.Sign() > 0 || v.tagged.Sign() > 0) && !seen[name] {
					t.Fatalf("Forward(%s) misses %s with %v mg", n, name, v.tagged)
				}
			}
		}
	})
}

// within: less than 1 mg off, or 1e-12 of masses above a thousand tonnes.
func within(t *rapid.T, n string, h Holding, what string, got int64, want *big.Rat) {
	t.Helper()
	w, _ := want.Float64()
	if math.Abs(float64(got)-w) > 1+near*w {
		t.Fatalf("Forward(%s): %s of %+v, want %v", n, what, h, w)
	}
}

// What Forward says a node holds of a source is what Back says of the node. A
// source is a node that never received metal.
func TestForwardMirrorsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g, b, _ := drawBook(t)
		for n, v := range b.oracle(Latest, "").vessels {
			if v.inflows > 0 {
				continue
			}
			fw, err := g.Forward(n, Latest)
			for _, h := range fw {
				if h.Fraction == 0 {
					continue
				}
				back, err2 := g.Back(h.Node, Latest)
				if err != nil || err2 != nil {
					t.Fatal(err, err2)
				}
				k := slices.IndexFunc(back, func(s Share) bool { return s.Node == n })
				if k < 0 || differ(back[k].Fraction, h.Fraction) {
					t.Fatalf("Forward(%s) says %+v, Back says %v", n, h, back)
				}
			}
		}
	})
}

// Another unit of mass, or another order of charging the same heat, changes no
// fraction.
func TestUnitsAndOrderDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "charges")
		type charge struct {
			lot string
			mg  int64
		}
		var charges []charge
		for i := range n {
			charges = append(charges, charge{fmt.Sprint("lot-", i%4), rapid.Int64Range(1, 1e6).Draw(t, "mg")})
		}
		factor := rapid.Int64Range(1, 453_592).Draw(t, "factor")
		build := func(charges []charge, f int64) []Share {
			g := New()
			seq := int64(0)
			put := func(from, to string, mg int64) {
				seq++
				if err := g.Append(Transfer{seq, from, to, mg * f, false}); err != nil {
					t.Fatal(err)
				}
			}
			for i := range 4 {
				put(fmt.Sprint("supplier-", i), fmt.Sprint("lot-", i), 1e9)
				put(fmt.Sprint("supplier-", (i+1)%4), fmt.Sprint("lot-", i), 1e8)
			}
			for _, c := range charges {
				put(c.lot, "heat", c.mg)
			}
			put("heat", "casting", 1)
			s, err := g.Back("casting", Latest)
			if err != nil {
				t.Fatal(err)
			}
			return s
		}
		want := build(charges, 1)
		other := slices.Clone(charges)
		rand.New(rand.NewPCG(1, uint64(n))).Shuffle(n, func(i, j int) { other[i], other[j] = other[j], other[i] })
		got := build(other, factor)
		for i, s := range want {
			if got[i].Node != s.Node || differ(got[i].Fraction, s.Fraction) {
				t.Fatalf("got %v, want %v", got, want)
			}
		}
	})
}

func TestApportionAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 200).Draw(t, "weights")
		total := rapid.Int64Range(0, 1<<50).Draw(t, "total")
		if rapid.Bool().Draw(t, "small") {
			total %= 500
		}
		sum := new(big.Rat)
		for _, x := range w {
			sum.Add(sum, new(big.Rat).SetFloat64(x))
		}
		var got int64
		for i, p := range Apportion(total, w) {
			got += p
			if sum.Sign() == 0 {
				continue
			}
			share := new(big.Rat).SetFloat64(w[i])
			share.Mul(share, new(big.Rat).SetInt64(total)).Quo(share, sum)
			f, _ := share.Float64()
			if p < 0 || math.Abs(float64(p)-f) > 1+1e-3 {
				t.Fatalf("part %d is %d, its share %v", i, p, f)
			}
		}
		if sum.Sign() > 0 && got != total {
			t.Fatalf("parts add up to %d, want %d", got, total)
		}
	})
}

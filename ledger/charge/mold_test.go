package charge

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

func example(t *testing.T, name string, into any) {
	t.Helper()
	b, err := os.ReadFile("../../testdata/examples/" + name + ".json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b, into); err != nil {
		t.Fatal(err)
	}
}

// Wax to metal as printed on romanoff.com's help and casting pages.
func TestPatternPublished(t *testing.T) {
	var a struct {
		Inputs struct {
			Wax    float64 `json:"wax_g"`
			Button float64 `json:"button_fraction"`
			SG     float64
		}
		Expected struct {
			Metal float64 `json:"metal_g"`
		}
		Tolerance struct{ Abs float64 }
	}
	example(t, "h01-wax-14k", &a)
	got := FromPattern(Estimate{Mean: a.Inputs.Wax}, Estimate{Mean: a.Inputs.SG * (1 + a.Inputs.Button)})
	if math.Abs(got.Mean-a.Expected.Metal) > a.Tolerance.Abs {
		t.Errorf("%v g, published %v", got.Mean, a.Expected.Metal)
	}
	var b struct {
		Inputs struct {
			Gross float64 `json:"gross_g"`
			Base  float64 `json:"base_g"`
			SG    float64
		}
		Expected struct {
			Metal float64 `json:"metal_g"`
		}
		Tolerance struct{ Abs float64 }
	}
	example(t, "h02-wax-silver", &b)
	got = FromPattern(Estimate{Mean: b.Inputs.Gross - b.Inputs.Base}, Estimate{Mean: b.Inputs.SG})
	if math.Abs(got.Mean-b.Expected.Metal) > b.Tolerance.Abs {
		t.Errorf("%v g, published %v", got.Mean, b.Expected.Metal)
	}
	if v := FromVolume(Estimate{Mean: 5.5}, Estimate{Mean: b.Inputs.SG}); math.Abs(v.Mean-1000*b.Expected.Metal) > 1000*b.Tolerance.Abs {
		t.Errorf("by volume %v mg", v.Mean)
	}
}

// The doubt of a product against its simulation.
func TestPatternDoubt(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	p, q := Estimate{500, 10}, Estimate{10, 0.3}
	var sum, square float64
	const n = 200000
	for range n {
		v := (p.Mean + p.SD*r.NormFloat64()) * (q.Mean + q.SD*r.NormFloat64())
		sum += v
		square += v * v
	}
	mean := sum / n
	sd := math.Sqrt(square/n - mean*mean)
	if e := FromPattern(p, q); math.Abs(e.Mean-mean) > 3 || math.Abs(e.SD/sd-1) > 0.02 {
		t.Errorf("%v, simulated %v ± %v", e, mean, sd)
	}
}

// With a prior that weighs next to nothing, Learn is mean and standard deviation.
func TestLearnFlat(t *testing.T) {
	molds := []Poured{{1000, 1030}, {2000, 2100}, {500, 490}, {4000, 4240}, {0, 7}}
	f := Filling{Weight: 1e-9, Spread: 1e-9, DF: 1e-9}.Learn(molds)
	r := []float64{0.03, 0.05, -0.02, 0.06}
	mean := (0.03 + 0.05 - 0.02 + 0.06) / 4
	ss := 0.0
	for _, v := range r {
		ss += (v - mean) * (v - mean)
	}
	if math.Abs(f.Bias-mean) > 1e-9 || math.Abs(f.Spread*f.Spread*f.DF-ss) > 1e-9 || math.Abs(f.DF-4) > 1e-6 {
		t.Errorf("%+v; mean %v, sum of squares %v", f, mean, ss)
	}
}

// Learning in one go, in parts, and in another order comes to the same.
func TestLearnInParts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 12).Draw(t, "n")
		molds := make([]Poured, n)
		for i := range molds {
			molds[i] = Poured{float64(rapid.IntRange(1, 90000).Draw(t, "planned")), float64(rapid.IntRange(0, 99000).Draw(t, "poured"))}
		}
		k := rapid.IntRange(0, n).Draw(t, "k")
		a := StartingFilling().Learn(molds)
		b := StartingFilling().Learn(molds[:k]).Learn(molds[k:])
		slices.Reverse(molds)
		c := StartingFilling().Learn(molds)
		for _, o := range []Filling{b, c} {
			if math.Abs(a.Bias-o.Bias) > 1e-9*(1+math.Abs(a.Bias)) || math.Abs(a.Spread-o.Spread) > 1e-9*a.Spread || a.Weight != o.Weight || a.DF != o.DF {
				t.Fatalf("%+v and %+v", a, o)
			}
		}
	})
}

// With one mold and no loss, what is required is Student's t in closed form, and
// with everything known the normal's.
func TestRequireClosedForm(t *testing.T) {
	for _, p := range []float64{0.3, 0.1, 0.05, 0.01, 0.001} {
		for _, f := range []Filling{{0.02, 5, 0.06, 7}, {0, 2, 0.05, 4}, {-0.03, 80, 0.04, 80}} {
			s := newSizing([]Mold{{Metal: Estimate{Mean: 1e7}}}, f, nil)
			want := 1e7 * (1 + f.Bias + f.Spread*math.Sqrt(1+1/f.Weight)*distuv.StudentsT{Sigma: 1, Nu: f.DF}.Quantile(1-p))
			got := s.require(p, 1e7)
			chance := distuv.StudentsT{Mu: 1e7 * (1 + f.Bias), Sigma: 1e7 * f.Spread * math.Sqrt(1+1/f.Weight), Nu: f.DF}.Survival(got)
			if math.Abs(chance-p) > 0.002*p {
				t.Errorf("p %v, %+v: required %v (chance %v), closed form %v", p, f, got, chance, want)
			}
		}
		s := newSizing([]Mold{{Metal: Estimate{3e7, 1e6}}, {Metal: Estimate{4e7, 2e6}}}, Filling{}, NormalLoss{0.02, 0.01})
		want := 7e7 + math.Sqrt(5e12+8e5*8e5)*distuv.UnitNormal.Quantile(1-p)
		if got := s.require(p, 8e7); math.Abs(got/want-1) > 1e-5 {
			t.Errorf("p %v: required %v, closed form %v", p, got, want)
		}
	}
}

// In 10 000 heats of shops drawn from the belief, each learning from its own
// molds before it sizes a charge, the share that runs short is within a point of
// the chance that was set.
func TestShareRunningShort(t *testing.T) {
	const heats, perShop = 10000, 20
	for _, p := range []float64{0.02, 0.05, 0.10, 0.25} {
		r := rand.New(rand.NewPCG(uint64(p*1000), 7))
		short := 0
		prior := StartingFilling()
		for h := 0; h < heats; {
			// A shop: its spread, its bias, its history, what it believes of its loss.
			s := prior.Spread * math.Sqrt(prior.DF/(2*distuv.Gamma{Alpha: prior.DF / 2, Beta: 1}.Quantile(r.Float64())))
			b := prior.Bias + s/math.Sqrt(prior.Weight)*r.NormFloat64()
			draw := func() Poured {
				planned := 2e6 * math.Exp(1.5*r.Float64())
				return Poured{planned, planned * math.Max(0, 1+b+s*r.NormFloat64())}
			}
			history := make([]Poured, r.IntN(40))
			for i := range history {
				history[i] = draw()
			}
			size := sizer(prior.Learn(history), NormalLoss{0.025, 0.008})
			for range perShop {
				molds := make([]Mold, 1+r.IntN(8))
				took := 0.0
				for i := range molds {
					m := draw()
					molds[i].Metal.Mean = m.Planned
					took += m.Poured
				}
				z := size(molds)
				charge := z.leastCharge(p, 0)
				if took > charge*(1-0.025-0.008*r.NormFloat64()) {
					short++
				}
				h++
			}
		}
		share := float64(short) / heats
		t.Logf("set %v, ran short %v", p, share)
		if math.Abs(share-p) > 0.01 {
			t.Errorf("set %v, ran short %v of %d heats", p, share, heats)
		}
	}
}

// table is a loss known by its quantiles only, straight between them, like a
// forecast made of past errors: neither normal nor smooth.
type table []float64

func (q table) Quantile(p float64) float64 {
	at := p * float64(len(q)-1)
	i := min(int(at), len(q)-2)
	return q[i] + (at-float64(i))*(q[i+1]-q[i])
}

// Where a fourth of all heats loses everything no charge is enough for less than that: it
// is said, not looked for for ever.
func TestNoChargeIsEnough(t *testing.T) {
	q := make(table, 20)
	for i := range q {
		if q[i] = 0.05; i >= 15 {
			q[i] = 1
		}
	}
	s := newSizing([]Mold{{Metal: Estimate{Mean: 2e7}}}, Filling{Weight: 15, Spread: 0.03, DF: 18}, q)
	if got := s.leastCharge(0.02, 0); got != noCharge {
		t.Errorf("%g mg are called enough", got)
	}
}

// The chance for a lopsided, ragged loss against its simulation.
func TestShareRunningShortRagged(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 7))
	for range 6 {
		q := make(table, 12+r.IntN(30))
		for i := range q {
			q[i] = 0.01 + 0.03*math.Pow(r.Float64(), 3)
		}
		slices.Sort(q)
		f := Filling{Bias: 0.01, Weight: 15, Spread: 0.03, DF: 18}
		molds := []Mold{{Metal: Estimate{Mean: 2e7}}, {Metal: Estimate{Mean: 3e7}}}
		s := newSizing(molds, f, q)
		for _, p := range []float64{0.02, 0.05, 0.2} {
			charge := s.leastCharge(p, 0)
			const n = 40000
			short := 0
			for range n {
				chi := 0.0
				for range 18 {
					z := r.NormFloat64()
					chi += z * z
				}
				sd := f.Spread * math.Sqrt(f.DF/chi)
				b := f.Bias + sd/math.Sqrt(f.Weight)*r.NormFloat64()
				need := 0.0
				for _, m := range molds {
					need += m.Metal.Mean * (1 + b + sd*r.NormFloat64())
				}
				if need > charge*(1-q.Quantile(r.Float64())) {
					short++
				}
			}
			if got := float64(short) / n; math.Abs(got-p) > 0.005 {
				t.Errorf("set %v, simulated %v", p, got)
			}
		}
	}
}

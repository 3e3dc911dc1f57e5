package loss

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// Source: NIST/SEMATECH e-Handbook 6.3.2.4, read second hand.
func TestEWMAHandbook(t *testing.T) {
	in, want := load[struct {
		Data              []float64
		Lam, Target, S, L float64
	}, struct {
		EWMA     []float64
		UCL, LCL float64
		Out      []int `json:"out_of_control"`
	}](t, "e01-nist-ewma")
	c, err := NewEWMA(in.Data, in.Lam, in.Target, in.S, in.L, true)
	if err != nil {
		t.Fatal(err)
	}
	for i, w := range want.EWMA {
		near(t, "EWMA", c.Values[i], w, 0.0051)
	}
	if len(c.Values) != len(want.EWMA) {
		t.Error(len(c.Values), "values")
	}
	near(t, "UCL", c.Upper[0], want.UCL, 0.001)
	near(t, "LCL", c.Lower[0], want.LCL, 0.001)
	if len(c.Signals) != len(want.Out) {
		t.Error("signals", c.Signals)
	}
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.2; these figures are from memory, not read in print.
func TestIndividualsHandbook(t *testing.T) {
	in, want := load[struct {
		Data   []float64
		D2, D4 float64
	}, struct {
		XBar, MRBar, UCL, LCL float64
		Out                   []int `json:"out_of_control"`
	}](t, "e02-nist-individuals")
	c, err := NewIndividuals(in.Data, in.D2, in.D4)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", c.Mean, want.XBar, 1e-4)
	near(t, "mean range", c.MeanRange, want.MRBar, 1e-4)
	near(t, "UCL", c.Upper, want.UCL, 6e-4)
	near(t, "LCL", c.Lower, want.LCL, 6e-4)
	if len(c.Signals) != len(want.Out) {
		t.Error("signals", c.Signals)
	}
	// The exact factors agree with the tabled ones to the digits of the table.
	near(t, "d2", d2, in.D2, 5e-4)
	near(t, "D4", d4, in.D4, 6e-4)
}

// Source: NIST/SEMATECH e-Handbook 6.3.2.3; these figures are from memory, not read in print.
func TestCUSUMHandbook(t *testing.T) {
	in, want := load[struct {
		Data         []float64
		Target, K, H float64
	}, struct {
		First     int `json:"first_signal_index_1based"`
		Direction string
	}](t, "e03-nist-cusum")
	c, err := NewCUSUM(in.Data, in.Target, in.K, in.H)
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Signals) == 0 || c.Signals[0].At+1 != want.First || c.Signals[0].Direction != Up || want.Direction != "upper" {
		t.Errorf("signals %v, want the first at %d, %s", c.Signals, want.First, want.Direction)
	}
}

// Charts do not depend on the unit or the origin, and a mirrored series signals on the other side.
func TestChartsKeepTheirSenseUnderUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-5, 5), 2, 60).Draw(t, "x")
		// Powers of two keep the arithmetic exact, so that no limit is crossed by rounding.
		unit := math.Ldexp(1, rapid.IntRange(-8, 8).Draw(t, "unit"))
		mirror := float64(rapid.SampledFrom([]int{-1, 1}).Draw(t, "mirror"))
		y := make([]float64, len(x))
		for i := range x {
			y[i] = mirror * unit * x[i]
		}
		same := func(what string, a, b []Signal) {
			if len(a) != len(b) {
				t.Fatalf("%s: %v against %v", what, a, b)
			}
			for i := range a {
				if a[i].At != b[i].At || a[i].Start != b[i].Start || float64(a[i].Direction)*mirror != float64(b[i].Direction) {
					t.Fatalf("%s: %v against %v", what, a, b)
				}
			}
		}
		c1, _ := NewCUSUM(x, 0, 0.5, 4)
		c2, _ := NewCUSUM(y, 0, 0.5*unit, 4*unit)
		if mirror > 0 { // with both sides signalling at once the order of the two is fixed, not mirrored
			same("CUSUM", c1.Signals, c2.Signals)
		}
		for i := range c1.High {
			high, low := c2.High[i], c2.Low[i]
			if mirror < 0 {
				high, low = low, high
			}
			if c1.High[i]*unit != high || c1.Low[i]*unit != low {
				t.Fatalf("sums at %d", i)
			}
		}
		e1, _ := NewEWMA(x, 0.25, 0, 1, 3, false)
		e2, _ := NewEWMA(y, 0.25, 0, unit, 3, false)
		same("EWMA", e1.Signals, e2.Signals)
		i1, _ := NewIndividuals(x, 0, 0)
		i2, _ := NewIndividuals(y, 0, 0)
		if len(i1.Signals) != len(i2.Signals) {
			t.Fatal("individuals", i1.Signals, i2.Signals)
		}
	})
}

// The moving-range sigma of independent normal values is their standard deviation, and a chart of them seldom signals:
// 0.27 % beyond 3 sigma is the normal law's.
func TestIndividualsOnNormalValues(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	x := make([]float64, 100_000)
	for i := range x {
		x[i] = 7 + 2*r.NormFloat64()
	}
	c, err := NewIndividuals(x, 0, 0)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "sigma", c.Sigma, 2, 0.02)
	near(t, "share outside", float64(len(c.Signals))/float64(len(x)), 0.0027, 0.0005)
}

func TestChartsRefuse(t *testing.T) {
	nan := []float64{1, math.NaN(), 2}
	for name, err := range map[string]error{
		"individuals of one value": second(NewIndividuals([]float64{1}, 0, 0)),
		"individuals with NaN":     second(NewIndividuals(nan, 0, 0)),
		"EWMA with NaN":            second(NewEWMA(nan, 0.2, 0, 1, 3, false)),
		"EWMA with lambda 0":       second(NewEWMA(nan[:1], 0, 0, 1, 3, false)),
		"CUSUM with NaN":           second(NewCUSUM(nan, 0, 0.5, 5)),
		"CUSUM with h 0":           second(NewCUSUM(nan[:1], 0, 0.5, 0)),
	} {
		invalid(t, name, err)
	}
}

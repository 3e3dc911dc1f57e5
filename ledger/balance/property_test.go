package balance

import (
	"errors"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// clone copies a network so that a property may change it.
func clone(n *Network) *Network {
	out := &Network{Streams: slices.Clone(n.Streams), Constraints: slices.Clone(n.Constraints)}
	for i := range out.Streams {
		out.Streams[i].Shared = slices.Clone(out.Streams[i].Shared)
	}
	return out
}

func must(t *rapid.T, n *Network, o Options) *Result {
	res, err := Reconcile(n, o)
	if err != nil {
		t.Fatalf("%v\n%+v", err, n)
	}
	return res
}

// TestConservation: adjusted masses close every balance whose streams are all known,
// as weighed or with suspects set aside.
func TestConservation(t *testing.T) {
	closed := 0
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, rapid.Bool().Draw(t, "shared"))
		res := must(t, n, Options{})
		a, b := incidence(n)
		rows, cols := a.Dims()
		for _, x := range [][]float64{res.Adjusted.Values, res.Without.Values} {
			for r := range rows {
				off := -b[r]
				for c := range cols {
					if v := a.At(r, c); v != 0 {
						off += v * x[c]
					}
				}
				if math.IsNaN(off) {
					continue // an unobservable stream
				}
				closed++
				if math.Abs(off) > 1e-6 {
					t.Fatalf("row %d misses by %g\n%+v", r, off, n)
				}
			}
		}
	})
	if closed < 100 {
		t.Errorf("only %d balances could be checked", closed)
	}
}

// TestUnitsDoNotMatter: pounds give what kilograms give.
func TestUnitsDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, true)
		c := rapid.SampledFrom([]float64{0.45359237, 1e6, 1e-3, 28.349523125}).Draw(t, "unit")
		other := clone(n)
		for i := range other.Streams {
			s := &other.Streams[i]
			s.Value, s.U = s.Value*c, s.U*c
			for k := range s.Shared {
				s.Shared[k].Size *= c
			}
		}
		for i := range other.Constraints {
			other.Constraints[i].Equals *= c
		}
		same(t, n, must(t, n, Options{MaxSuspects: -1}), must(t, other, Options{MaxSuspects: -1}), c, c, 1)
	})
}

// TestScalingUncertainties: all uncertainties c times as large leave the adjusted
// values, make their standard deviations c times as large and z c times as small.
func TestScalingUncertainties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, true)
		c := rapid.Float64Range(0.1, 10).Draw(t, "factor")
		other := clone(n)
		for i := range other.Streams {
			s := &other.Streams[i]
			s.U *= c
			for k := range s.Shared {
				s.Shared[k].Size *= c
			}
		}
		same(t, n, must(t, n, Options{MaxSuspects: -1}), must(t, other, Options{MaxSuspects: -1}), 1, c, 1/c)
	})
}

// TestOrderDoesNotMatter: streams and constraints in any order, nodes by any name.
func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, true)
		other := clone(n)
		rng := seeded(rapid.Uint64().Draw(t, "order"))
		perm := rng.Perm(len(n.Streams))
		for i, p := range perm {
			s := n.Streams[p]
			for _, end := range []*string{&s.From, &s.To} {
				if *end != "" {
					*end = "node " + string('Z'-((*end)[0]-'A'))
				}
			}
			other.Streams[i] = s
		}
		rng.Shuffle(len(other.Constraints), func(i, j int) {
			other.Constraints[i], other.Constraints[j] = other.Constraints[j], other.Constraints[i]
		})
		res, mixed := must(t, n, Options{MaxSuspects: -1}), must(t, other, Options{MaxSuspects: -1})
		back := *mixed
		back.Streams = make([]StreamResult, len(perm))
		for i, p := range perm {
			back.Streams[p] = mixed.Streams[i]
		}
		same(t, n, res, &back, 1, 1, 1)
	})
}

// same compares two results where values, standard deviations and z of the second are
// the first's times a factor.
func same(t *rapid.T, n *Network, a, b *Result, value, sd, z float64) {
	for i, s := range a.Streams {
		o := b.Streams[i]
		if s.ID != o.ID || s.Status != o.Status {
			t.Fatalf("%s %v became %s %v\n%+v", s.ID, s.Status, o.ID, o.Status, n)
		}
		if s.Status == Unobservable {
			continue
		}
		if !near(o.Adjusted, s.Adjusted*value, 1e4*value, 1e-8) {
			t.Fatalf("%s: value %v became %v\n%+v", s.ID, s.Adjusted, o.Adjusted, n)
		}
		if !near(o.SD*o.SD, s.SD*s.SD*sd*sd, (1e4+s.U*s.U+s.SD*s.SD)*sd*sd, 1e-8) {
			t.Fatalf("%s: sd %v became %v\n%+v", s.ID, s.SD, o.SD, n)
		}
		if !near(o.Z, s.Z*z, (1+math.Abs(s.Z))*z, 1e-5) {
			t.Fatalf("%s: z %v became %v\n%+v", s.ID, s.Z, o.Z, n)
		}
	}
	ja, jb := a.Adjusted.Global.Statistic, b.Adjusted.Global.Statistic
	if !near(jb, ja*z*z, (1+ja)*z*z, 1e-6) {
		t.Fatalf("global statistic %v became %v", ja, jb)
	}
}

// TestOrthogonal: adjustments over their variances are orthogonal to every way in
// which masses can change while all balances stay closed.
func TestOrthogonal(t *testing.T) {
	ways := 0
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, false)
		for i := range n.Streams {
			n.Streams[i].Given = Measured
		}
		res := must(t, n, Options{})
		a, _ := incidence(n)
		rng := seeded(rapid.Uint64().Draw(t, "direction"))
		d := mat.NewVecDense(len(n.Streams), nil)
		for i := range n.Streams {
			d.SetVec(i, rng.NormFloat64())
		}
		var off, fix mat.VecDense
		off.MulVec(a, d)
		fix.MulVec(pinv(a), &off)
		d.SubVec(d, &fix) // now a d = 0
		if mat.Norm(d, 2) > 0.1 {
			ways++
		}
		var dot, size float64
		for i, s := range n.Streams {
			v := (res.Adjusted.Values[i] - s.Value) * d.AtVec(i) / (s.U * s.U)
			dot += v
			size += math.Abs(v)
		}
		if math.Abs(dot) > 1e-7*(1+size) {
			t.Fatalf("product %g of terms that sum to %g\n%+v", dot, size, n)
		}
	})
	if ways < 20 {
		t.Errorf("only %d networks had a way to change", ways)
	}
}

// TestAdjustingTwice: adjusted values need no adjustment.
func TestAdjustingTwice(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, false)
		res := must(t, n, Options{MaxSuspects: -1})
		again := clone(n)
		for i := range again.Streams {
			if again.Streams[i].Given == Measured {
				again.Streams[i].Value = res.Adjusted.Values[i]
			}
		}
		second := must(t, again, Options{MaxSuspects: -1})
		if second.Adjusted.Global.Statistic > 1e-9 {
			t.Fatalf("statistic %g\n%+v", second.Adjusted.Global.Statistic, n)
		}
		for i, x := range res.Adjusted.Values {
			if !math.IsNaN(x) && !near(second.Adjusted.Values[i], x, 1e4, 1e-9) {
				t.Fatalf("%s: %v became %v", n.Streams[i].ID, x, second.Adjusted.Values[i])
			}
		}
	})
}

// TestRefusals: each kind of bad input is refused with the field named.
func TestRefusals(t *testing.T) {
	good := func() *Network {
		return &Network{Streams: []Stream{
			{ID: "in", To: "heat", Value: 10, U: 1},
			{ID: "out", From: "heat", Value: 9, U: 1},
		}}
	}
	for field, spoil := range map[string]func(n *Network){
		"streams[1].id":           func(n *Network) { n.Streams[1].ID = "" },
		"streams[in].id":          func(n *Network) { n.Streams[1].ID = "in" },
		"streams[out].to":         func(n *Network) { n.Streams[1].To = "heat" },
		"streams[in].value":       func(n *Network) { n.Streams[0].Value = math.NaN() },
		"streams[in].u":           func(n *Network) { n.Streams[0].U = 0 },
		"streams[out].u":          func(n *Network) { n.Streams[1].U = math.Inf(1) },
		"streams[out].given":      func(n *Network) { n.Streams[1].Given = 9 },
		"streams[out].shared":     func(n *Network) { n.Streams[1].Shared = []Shared{{"", 1}} },
		"constraints[0 c].terms":  func(n *Network) { n.Constraints = []Constraint{{ID: "c"}} },
		"constraints[0 c].stream": func(n *Network) { n.Constraints = []Constraint{{ID: "c", Terms: []Term{{"x", 1}}}} },
		"constraints[0 c].coef":   func(n *Network) { n.Constraints = []Constraint{{ID: "c", Terms: []Term{{"in", math.NaN()}}}} },
		"constraints[0 c].equals": func(n *Network) {
			n.Constraints = []Constraint{{ID: "c", Equals: math.Inf(1), Terms: []Term{{"in", 1}}}}
		},
	} {
		n := good()
		spoil(n)
		_, err := Reconcile(n, Options{})
		var in *InputError
		if !errors.As(err, &in) || in.Field != field || !errors.Is(err, ErrInvalid) {
			t.Errorf("want an error about %s, got %v", field, err)
		}
	}
	for _, o := range []Options{{Alpha: 1}, {Alpha: -0.1}, {Power: 1}, {Power: math.NaN()}} {
		if _, err := Reconcile(good(), o); !errors.Is(err, ErrInvalid) {
			t.Errorf("options %+v: %v", o, err)
		}
	}
	n := good()
	n.Streams[0].Given, n.Streams[1].Given = Exact, Exact
	_, err := Reconcile(n, Options{})
	var con *ContradictionError
	if !errors.As(err, &con) || !slices.Equal(con.Rows, []string{"heat"}) || math.Abs(con.Off-1) > 1e-12 {
		t.Errorf("want heat to miss by 1, got %v", err)
	}
	// Uncertainties too far apart: the digits of the sure weighings drown.
	far := &Network{Streams: []Stream{
		{ID: "a", To: "x", Value: 10, U: 1e-6}, {ID: "b", From: "x", To: "y", Value: 9, U: 1e6},
		{ID: "c", From: "y", Value: 10, U: 1e-6}}}
	if _, err := Reconcile(far, Options{}); !errors.Is(err, ErrConditioning) {
		t.Errorf("want ErrConditioning, got %v", err)
	}
	if res, err := Reconcile(&Network{}, Options{}); err != nil || res.Stop != StopNothing || res.Adjusted.Global.P != 1 {
		t.Errorf("an empty network: %+v, %v", res, err)
	}
}

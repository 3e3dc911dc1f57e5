package balance

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"
)

// The oracle solves small networks another way: dense, with pseudo-inverses from
// singular value decompositions, from the textbook formulas. It shares no code with
// the sparse path but the types.

// pinv returns the pseudo-inverse.
func pinv(a *mat.Dense) *mat.Dense {
	r, c := a.Dims()
	out := mat.NewDense(c, r, nil)
	var svd mat.SVD
	if !svd.Factorize(a, mat.SVDThin) {
		panic("svd")
	}
	s := svd.Values(nil)
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	for k, x := range s {
		if x > 1e-10*s[0] && s[0] > 0 {
			var t mat.Dense
			t.Outer(1/x, v.ColView(k), u.ColView(k))
			out.Add(out, &t)
		}
	}
	return out
}

type oracle struct {
	status []Status
	x, sd  []float64
	z      []float64
	cov    *mat.Dense // of all streams; rows of unobservable ones mean nothing
	stat   float64
}

// incidence returns the dense rows and right hand side of a network.
func incidence(n *Network) (*mat.Dense, []float64) {
	node := map[string]int{}
	for _, s := range n.Streams {
		for _, e := range []string{s.From, s.To} {
			if _, ok := node[e]; e != "" && !ok {
				node[e] = len(node)
			}
		}
	}
	a := mat.NewDense(len(node)+len(n.Constraints), len(n.Streams), nil)
	b := make([]float64, len(node)+len(n.Constraints))
	at := map[string]int{}
	for i, s := range n.Streams {
		at[s.ID] = i
		if s.From != "" {
			a.Set(node[s.From], i, a.At(node[s.From], i)-1)
		}
		if s.To != "" {
			a.Set(node[s.To], i, a.At(node[s.To], i)+1)
		}
	}
	for k, c := range n.Constraints {
		for _, t := range c.Terms {
			a.Set(len(node)+k, at[t.Stream], a.At(len(node)+k, at[t.Stream])+t.Coef)
		}
		b[len(node)+k] = c.Equals
	}
	return a, b
}

func solveDense(n *Network) *oracle {
	a, rhs := incidence(n)
	rows, count := a.Dims()
	o := &oracle{status: make([]Status, count), x: make([]float64, count),
		sd: make([]float64, count), z: make([]float64, count)}
	am := mat.NewDense(rows, count, nil) // measured columns, others zero
	au := mat.NewDense(rows, count, nil) // unmeasured columns, others zero
	v := mat.NewDense(count, count, nil)
	effects := map[string][]float64{}
	for i, s := range n.Streams {
		for r := range rows {
			switch s.Given {
			case Measured:
				am.Set(r, i, a.At(r, i))
			case Unmeasured:
				au.Set(r, i, a.At(r, i))
			case Exact:
				rhs[r] -= a.At(r, i) * s.Value
			}
		}
		if s.Given == Measured {
			v.Set(i, i, s.U*s.U)
			o.x[i] = s.Value
			for _, e := range s.Shared {
				if effects[e.Effect] == nil {
					effects[e.Effect] = make([]float64, count)
				}
				effects[e.Effect][i] += e.Size
			}
		}
	}
	for _, c := range effects {
		var t mat.Dense
		t.Outer(1, mat.NewVecDense(count, c), mat.NewVecDense(count, c))
		v.Add(v, &t)
	}
	b := mat.NewVecDense(rows, rhs)
	aup := pinv(au)
	var p, r mat.Dense // p projects on what unmeasured streams cannot absorb
	p.Mul(au, aup)
	p.Scale(-1, &p)
	for k := range rows {
		p.Set(k, k, p.At(k, k)+1)
	}
	r.Mul(&p, am)
	var pb mat.VecDense
	r.Apply(func(_, _ int, x float64) float64 { // rounding is not information
		if math.Abs(x) < 1e-9 {
			return 0
		}
		return x
	}, &r)
	pb.MulVec(&p, b)
	var rv, s, vrt, gain mat.Dense
	rv.Mul(&r, v)
	s.Mul(&rv, r.T())
	sp := pinv(&s)
	vrt.Mul(v, r.T())
	gain.Mul(&vrt, sp)
	y := mat.NewVecDense(count, o.x)
	var mis, lam, step mat.VecDense
	mis.MulVec(&r, y)
	mis.SubVec(&mis, &pb)
	lam.MulVec(sp, &mis)
	o.stat = mat.Dot(&mis, &lam)
	step.MulVec(&gain, &mis)
	y.SubVec(y, &step)
	var cov, t mat.Dense
	t.Mul(&gain, &rv)
	cov.Sub(v, &t)
	// Unmeasured: x = au⁺ (b - am x).
	var use, xu mat.VecDense
	use.MulVec(am, y)
	use.SubVec(b, &use)
	xu.MulVec(aup, &use)
	lift := mat.NewDense(count, count, nil)
	lift.Mul(aup, am)
	lift.Scale(-1, lift)
	for i, s := range n.Streams {
		if s.Given == Measured {
			lift.Set(i, i, lift.At(i, i)+1)
		}
	}
	var full mat.Dense
	full.Mul(lift, &cov)
	o.cov = mat.NewDense(count, count, nil)
	o.cov.Mul(&full, lift.T())
	var hat mat.Dense
	hat.Mul(aup, au) // projector on what the rows fix
	for i, st := range n.Streams {
		switch st.Given {
		case Exact:
			o.status[i], o.x[i] = Known, st.Value
		case Unmeasured:
			o.status[i], o.x[i] = Observable, xu.AtVec(i)
			if math.Abs(hat.At(i, i)-1) > 1e-7 {
				o.status[i] = Unobservable
			}
		case Measured:
			o.status[i] = NonRedundant
			col := r.ColView(i)
			if mat.Norm(col, 2) > 1e-7 {
				o.status[i] = Redundant
				var w mat.VecDense
				w.MulVec(sp, col)
				o.z[i] = mat.Dot(col, &lam) / math.Sqrt(mat.Dot(col, &w))
			}
		}
		o.sd[i] = math.Sqrt(math.Max(0, o.cov.At(i, i)))
	}
	return o
}

// randomNetwork draws a small network of every kind of stream whose true values
// close, measured with noise and sometimes with a large error.
func randomNetwork(t *rapid.T, shared bool) *Network {
	rng := seeded(rapid.Uint64().Draw(t, "seed"))
	nodes := rapid.IntRange(1, 7).Draw(t, "nodes")
	count := rapid.IntRange(2, 16).Draw(t, "streams")
	unmeasured := rapid.IntRange(0, 5).Draw(t, "unmeasured tenths")
	name := func(k int) string {
		if k == 0 {
			return ""
		}
		return string(rune('A' + k - 1))
	}
	n := &Network{}
	for i := range count {
		from, to := rng.IntN(nodes+1), rng.IntN(nodes+1)
		if from == to {
			to = (to + 1) % (nodes + 1)
		}
		s := Stream{ID: string(rune('a' + i)), From: name(from), To: name(to), U: math.Exp(4 * rng.Float64())}
		switch k := rng.IntN(10); {
		case k < unmeasured:
			s.Given = Unmeasured
		case k == 9:
			s.Given = Exact
		case shared && k > 5:
			s.Shared = []Shared{{"tare " + string(rune('0'+rng.IntN(2))), 20 * rng.NormFloat64()}}
			if rng.IntN(3) == 0 {
				s.Shared = append(s.Shared, Shared{"scale", 10 * rng.NormFloat64()})
			}
		}
		n.Streams = append(n.Streams, s)
	}
	for range rng.IntN(3) {
		c := Constraint{ID: "row"}
		for range 1 + rng.IntN(3) {
			coef := []float64{1, -1, 2, -0.5, 0.3}[rng.IntN(5)]
			c.Terms = append(c.Terms, Term{n.Streams[rng.IntN(count)].ID, coef})
		}
		n.Constraints = append(n.Constraints, c)
	}
	fill(n, rng)
	return n
}

// fill gives the streams values that close, then noise.
func fill(n *Network, rng *rand.Rand) {
	a, _ := incidence(n)
	for k := range n.Constraints { // a row whose terms cancel is refused elsewhere
		sum := 0.0
		for _, t := range n.Constraints[k].Terms {
			sum += math.Abs(t.Coef)
		}
		if sum == 0 {
			n.Constraints[k].Terms[0].Coef = 1
		}
	}
	count := len(n.Streams)
	x := mat.NewVecDense(count, nil)
	for i := range count {
		x.SetVec(i, 1000*(1+9*rng.Float64()))
	}
	var off, fix mat.VecDense
	off.MulVec(a, x)
	fix.MulVec(pinv(a), &off)
	x.SubVec(x, &fix)
	for i := range n.Streams {
		s := &n.Streams[i]
		if s.Value = x.AtVec(i); math.Abs(s.Value) < 1e-6 {
			s.Value = 0 // what is left of a stream that has nowhere to go
		}
		if s.Given == Measured {
			s.Value += s.U * rng.NormFloat64()
			if rng.IntN(8) == 0 {
				s.Value += 1000 * rng.NormFloat64()
			}
		}
	}
}

func near(a, b, scale, tol float64) bool { return math.Abs(a-b) <= tol*scale }

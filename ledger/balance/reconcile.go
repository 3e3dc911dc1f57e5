package balance

import (
	"encoding/binary"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Options of a reconciliation; the zero value takes the stated defaults.
type Options struct {
	Alpha       float64 // chance of any false alarm in a book without wrong weighings; 0.05
	Power       float64 // chance with which Detectable errors are found; 0.8
	MaxSuspects int     // how many weighings the search may name; 10, negative for none

	// Possible says whether a stream could have carried what the others expect of
	// it. The search names a weighing that needs the impossible only when nothing
	// possible stands out: several wrong weighings at once throw the largest
	// statistic on streams between them. nil: no lot weighs less than nothing.
	Possible func(id string, expected float64) bool
}

// Result is what a network says about its weighings.
type Result struct {
	Streams  []StreamResult // in the order of the network
	Balances []Balance
	Level    Level
	Groups   [][]string  // ids of testable weighings; those of one group are twins
	Adjusted *Adjustment // all weighings believed
	Suspects []Suspect   // in the order found
	Stop     Stop        // why the search ended
	Without  *Adjustment // suspects set aside; the same as Adjusted when there are none
}

// Level is the level of the tests of single weighings.
type Level struct {
	Alpha    float64 // for the whole network
	Tests    int     // statistics that differ; twins count once
	Each     float64 // level of each test, 1-(1-α)^(1/Tests)
	Critical float64 // |z| above this is an alarm; +Inf without tests
	Power    float64 // of Detectable
}

// StreamResult is one stream with all weighings believed. From Redundancy on, fields
// are set for redundant streams only.
type StreamResult struct {
	ID, Label    string
	Status       Status
	Measured, U  float64 // as given; U with its shared effects
	Adjusted, SD float64
	Redundancy   float64 // share of the variance that the balances took away, 0 to 1
	Z            float64 // test statistic; positive means weighed too heavy
	Error        float64 // the error this weighing has if it alone is wrong
	Expected     float64 // what all others say it should be, Measured - Error
	Detectable   float64 // smallest error that is found with the stated power
	Group        int     // position in Result.Groups, -1 when nothing can be tested
}

// Balance is what remains of the balances of one node, or of nodes that unmeasured
// streams join, or a constraint: in minus out as weighed.
type Balance struct {
	Rows       []string // nodes and constraints added up
	Misclosure float64
	U          float64 // standard uncertainty of Misclosure if nothing is wrong; 0 when all streams are exact
}

// Reconcile adjusts and tests a network. Its errors match ErrInvalid (InputError,
// ContradictionError) or ErrConditioning.
func Reconcile(n *Network, o Options) (*Result, error) {
	if o.Alpha == 0 {
		o.Alpha = 0.05
	}
	if o.Power == 0 {
		o.Power = 0.8
	}
	if o.MaxSuspects == 0 {
		o.MaxSuspects = 10
	}
	if o.Possible == nil {
		o.Possible = func(_ string, expected float64) bool { return expected >= 0 }
	}
	if !(o.Alpha > 0 && o.Alpha < 1) {
		return nil, &InputError{Field: "alpha", Value: o.Alpha, Want: "between 0 and 1"}
	}
	if !(o.Power > 0 && o.Power < 1) {
		return nil, &InputError{Field: "power", Value: o.Power, Want: "between 0 and 1"}
	}
	m, err := prepare(n)
	if err != nil {
		return nil, err
	}
	b, err := m.bordered(nil, nil)
	if err != nil {
		return nil, err
	}
	res := &Result{}
	if res.Adjusted, err = m.adjust(b); err != nil {
		return nil, err
	}
	res.Adjusted.complete()
	res.Balances = m.balances()
	tests := res.Adjusted.tests()
	twins := m.twins(tests)
	res.Level = level(o, twins)
	res.streams(m, tests, twins)
	if err := res.search(m, o, tests, twins); err != nil {
		return nil, err
	}
	return res, nil
}

// level sets the critical value for as many tests as there are different statistics.
func level(o Options, twins *twins) Level {
	l := Level{Alpha: o.Alpha, Power: o.Power, Tests: len(twins.groups), Critical: math.Inf(1)}
	if l.Tests > 0 {
		l.Each = -math.Expm1(math.Log1p(-o.Alpha) / float64(l.Tests))
		l.Critical = -distuv.UnitNormal.Quantile(l.Each / 2)
	}
	return l
}

func chiSquareTail(x float64, dof int) float64 {
	if dof <= 0 {
		return 1
	}
	return distuv.ChiSquared{K: float64(dof)}.Survival(math.Max(x, 0))
}

// test is the test of one weighing for an error of its own.
type test struct {
	z, err float64
	q      float64 // 1/q is the variance of err
}

// leastInformed is the share of its own variance at which what others say about a
// weighing counts as nothing: below it, q is made of rounding.
const leastInformed = 1e-10

// tests computes the tests of all weighings; where nothing can be tested q is 0.
func (a *Adjustment) tests() []test {
	m := a.m
	out := make([]test, len(m.col))
	t := make([]float64, len(a.b.w))
	for i, c := range m.col {
		if m.status[i] != Redundant {
			continue
		}
		q := m.q0[i]
		if len(a.b.w) > 0 {
			a.b.acrossInto(t, c)
			q -= a.b.quad(t)
		}
		// After a twin was set aside q is zero but for rounding, relative to q0.
		if !(q*m.total(i) > leastInformed) || q < 1e-9*m.q0[i] {
			continue
		}
		d := c.dot(a.lambda)
		out[i] = test{z: d / math.Sqrt(q), err: d / q, q: q}
	}
	return out
}

// total returns the variance of a weighing with its shared effects.
func (m *model) total(i int) float64 {
	v := m.d[i]
	for _, l := range m.shared[i] {
		v += l.size * l.size
	}
	return v
}

// streams fills the result of each stream.
func (res *Result) streams(m *model, tests []test, twins *twins) {
	find := -distuv.UnitNormal.Quantile(1-res.Level.Power) + res.Level.Critical
	res.Streams = make([]StreamResult, len(m.net.Streams))
	for i, s := range m.net.Streams {
		r := StreamResult{ID: s.ID, Label: s.Label, Status: m.status[i],
			Adjusted: res.Adjusted.Values[i], SD: res.Adjusted.SD[i]}
		if s.Given == Measured {
			r.Measured, r.U = s.Value, math.Sqrt(m.total(i))
		}
		if s.Given == Exact {
			r.Measured = s.Value
		}
		if r.Status == Redundant {
			r.Redundancy = 1 - (r.SD/r.U)*(r.SD/r.U)
			r.Expected, r.Detectable = r.Adjusted, math.Inf(1)
			if t := tests[i]; t.q > 0 {
				r.Z, r.Error = t.z, t.err
				r.Expected = s.Value - t.err
				r.Detectable = find / math.Sqrt(t.q)
			}
		}
		r.Group = twins.of[i]
		res.Streams[i] = r
	}
	for _, g := range twins.groups {
		ids := make([]string, len(g))
		for k, i := range g {
			ids[k] = m.net.Streams[i].ID
		}
		res.Groups = append(res.Groups, ids)
	}
}

// balances lists what is left of the rows without unmeasured streams.
func (m *model) balances() []Balance {
	taken := make([]bool, len(m.sys.row))
	for _, p := range m.pivots {
		taken[p.row] = true
	}
	var out []Balance
	size := make([]float64, len(m.effect))
	for r, row := range m.sys.row {
		if taken[r] || len(row) == 0 {
			continue
		}
		b := Balance{Rows: m.sys.together(r), Misclosure: -m.sys.rhs[r]}
		clear(size)
		var v float64
		for _, e := range row {
			b.Misclosure += e.v * m.net.Streams[e.at].Value
			v += e.v * e.v * m.d[e.at]
			for _, l := range m.shared[e.at] {
				size[l.effect] += e.v * l.size
			}
		}
		for _, s := range size {
			v += s * s
		}
		b.U = math.Sqrt(v)
		out = append(out, b)
	}
	return out
}

// twins groups the testable weighings whose columns are multiples of each other.
type twins struct {
	groups [][]int // streams of each group, by position
	of     []int   // group of a stream, -1 when it cannot be tested
}

func (m *model) twins(tests []test) *twins {
	t := &twins{of: make([]int, len(m.col))}
	number := make(map[string]int)
	var key []byte
	for i, c := range m.col {
		t.of[i] = -1
		if tests[i].q == 0 {
			continue
		}
		key = key[:0]
		for _, e := range c {
			key = binary.LittleEndian.AppendUint32(key, uint32(e.at))
			// Nine digits of the ratio: more would be made of rounding.
			key = binary.LittleEndian.AppendUint64(key, uint64(int64(math.Round(e.v/c[0].v*1e9))))
		}
		k, ok := number[string(key)]
		if !ok {
			k = len(t.groups)
			number[string(key)] = k
			t.groups = append(t.groups, nil)
		}
		t.groups[k] = append(t.groups[k], i)
		t.of[i] = k
	}
	return t
}

package balance

import (
	"math"
	"slices"
)

// Stop says why the search for wrong weighings ended.
type Stop string

// Reasons to stop.
const (
	StopQuiet   Stop = "no further weighing is above the critical value"
	StopLimit   Stop = "as many weighings are named as were asked for"
	StopNothing Stop = "nothing is left that could be tested"
)

// Suspect is a weighing that the others contradict: "the cups of heat 41, 12.6 kg
// weighed, 11.2 kg expected, 4.1 σ".
type Suspect struct {
	ID, Label            string
	Measured, U          float64
	Expected, ExpectedSD float64  // what the others say, other suspects set aside too
	Error                float64  // Measured - Expected
	Sigma                float64  // |Error| over its standard deviation
	Twins                []string // would explain the data exactly as well
	Rivals               []Rival  // would explain them nearly as well
}

// Rival is a weighing that, set aside instead of a suspect, would leave the data no
// worse by more than chi-square at 95 % with one degree of freedom.
type Rival struct {
	ID       string
	Error    float64
	Expected float64
	Sigma    float64
}

const rivalDrop = 3.841 // 95 % point of chi-square with 1 degree of freedom

// search names suspects by serial compensation, see the package comment; tests are those
// of all weighings believed.
func (res *Result) search(m *model, o Options, tests []test, twins *twins) error {
	res.Without = res.Adjusted
	var found []int
	rivals := make(map[int][]Rival)
	for {
		best, testable := pick(m, tests, twins, o.Possible, res.Level.Critical)
		if !testable {
			res.Stop = StopNothing
			break
		}
		if math.Abs(tests[best].z) <= res.Level.Critical {
			res.Stop = StopQuiet
			break
		}
		if len(found) >= o.MaxSuspects {
			res.Stop = StopLimit
			break
		}
		rivals[best] = findRivals(m, tests, twins, best)
		found = append(found, best)
		if err := res.setAside(m, found); err != nil {
			return err
		}
		tests = res.Without.tests()
	}
	// A suspect that no longer stands out once the others are set aside was drawn in
	// by them.
	for len(found) > 0 {
		weakest := 0
		for k := range found {
			if res.Without.sigma(k) < res.Without.sigma(weakest) {
				weakest = k
			}
		}
		if res.Without.sigma(weakest) > res.Level.Critical {
			break
		}
		found = slices.Delete(found, weakest, weakest+1)
		if err := res.setAside(m, found); err != nil {
			return err
		}
	}
	if res.Without != res.Adjusted {
		res.Without.complete()
	}
	for k, i := range found {
		s := m.net.Streams[i]
		a := res.Without
		c := a.suspectColumn(k)
		res.Suspects = append(res.Suspects, Suspect{ID: s.ID, Label: s.Label,
			Measured: s.Value, U: math.Sqrt(m.total(i)),
			Expected: s.Value - a.joint[c], Error: a.joint[c], Sigma: a.sigma(k),
			ExpectedSD: a.SD[i],
			Twins:      others(res.Groups[twins.of[i]], s.ID), Rivals: rivals[i]})
	}
	return nil
}

// others returns a list without one id.
func others(ids []string, id string) []string {
	return slices.DeleteFunc(slices.Clone(ids), func(s string) bool { return s == id })
}

// setAside solves again with a list of weighings given unknown errors.
func (res *Result) setAside(m *model, found []int) error {
	b, err := m.bordered(slices.Clone(found), res.Without.b)
	if err != nil {
		return err
	}
	res.Without, err = m.adjust(b)
	return err
}

// sigma returns |error| over its standard deviation for the k-th suspect.
func (a *Adjustment) sigma(k int) float64 {
	c := a.suspectColumn(k)
	return math.Abs(a.joint[c]) / math.Sqrt(a.b.m[c][c])
}

// pick returns the weighing with the largest |z| among those above the critical
// value whose expected mass is possible, or the largest of all when there is none
// such. Twins have the same |z|; of them the first possible one is taken.
func pick(m *model, tests []test, twins *twins, possible func(string, float64) bool, critical float64) (best int, testable bool) {
	best, most := -1, -1
	larger := func(i, than int) bool { return than < 0 || math.Abs(tests[i].z) > math.Abs(tests[than].z)*(1+1e-9) }
	for i, t := range tests {
		if t.q <= 0 {
			continue
		}
		if larger(i, most) {
			most = i
		}
		if math.Abs(t.z) > critical && larger(i, best) && possible(m.net.Streams[i].ID, m.net.Streams[i].Value-t.err) {
			best = i
		}
	}
	switch {
	case most < 0:
		return 0, false
	case best < 0:
		return most, true
	}
	for _, i := range twins.groups[twins.of[best]] {
		if tests[i].q > 0 && possible(m.net.Streams[i].ID, m.net.Streams[i].Value-tests[i].err) {
			return i, true
		}
	}
	return best, true
}

// findRivals lists, strongest first, the weighings outside best's group of twins
// that would explain the data nearly as well.
func findRivals(m *model, tests []test, twins *twins, best int) []Rival {
	var out []Rival
	top := tests[best].z * tests[best].z
	for i, t := range tests {
		if t.q > 0 && twins.of[i] != twins.of[best] && t.z*t.z >= top-rivalDrop {
			out = append(out, Rival{ID: m.net.Streams[i].ID, Error: t.err,
				Expected: m.net.Streams[i].Value - t.err, Sigma: math.Abs(t.z)})
		}
	}
	slices.SortStableFunc(out, func(a, b Rival) int {
		switch {
		case a.Sigma > b.Sigma:
			return -1
		case a.Sigma < b.Sigma:
			return 1
		}
		return 0
	})
	return out
}

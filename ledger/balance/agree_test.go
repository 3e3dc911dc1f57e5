package balance

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestOracle holds the sparse path against the dense one: status, values, standard
// deviations, covariances, test statistics, global statistic.
func TestOracle(t *testing.T) {
	seen := map[Status]int{}
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, rapid.Bool().Draw(t, "shared"))
		res, err := Reconcile(n, Options{MaxSuspects: -1})
		if err != nil {
			t.Fatalf("reconcile: %v\n%+v", err, n)
		}
		o := solveDense(n)
		var ids []string
		var pos []int
		for i, r := range res.Streams {
			seen[r.Status]++
			if r.Status != o.status[i] {
				t.Fatalf("%s: status %v, dense says %v\n%+v", r.ID, r.Status, o.status[i], n)
			}
			if r.Status == Unobservable {
				continue
			}
			ids, pos = append(ids, r.ID), append(pos, i)
			if !near(r.Adjusted, o.x[i], 1e4, 1e-7) {
				t.Fatalf("%s: adjusted %v, dense %v\n%+v", r.ID, r.Adjusted, o.x[i], n)
			}
			if !near(r.SD*r.SD, o.sd[i]*o.sd[i], 1+o.sd[i]*o.sd[i], 1e-5) {
				t.Fatalf("%s: sd %v, dense %v\n%+v", r.ID, r.SD, o.sd[i], n)
			}
			if r.Status == Redundant && !near(r.Z, o.z[i], 1+math.Abs(o.z[i]), 1e-5) {
				t.Fatalf("%s: z %v, dense %v\n%+v", r.ID, r.Z, o.z[i], n)
			}
		}
		if !near(res.Adjusted.Global.Statistic, o.stat, 1+o.stat, 1e-6) {
			t.Fatalf("statistic %v, dense %v", res.Adjusted.Global.Statistic, o.stat)
		}
		cov, err := res.Adjusted.Covariance(ids...)
		if err != nil {
			t.Fatal(err)
		}
		for i := range ids {
			for j := range ids {
				got, want := cov.At(i, j), o.cov.At(pos[i], pos[j])
				if !near(got, want, 1+o.sd[pos[i]]*o.sd[pos[j]], 1e-4) {
					t.Fatalf("cov(%s, %s) = %v, dense %v\n%+v", ids[i], ids[j], got, want, n)
				}
			}
		}
	})
	for _, s := range []Status{Redundant, NonRedundant, Observable, Unobservable, Known} {
		if seen[s] < 20 {
			t.Errorf("only %d streams were %v: the generator does not reach it", seen[s], s)
		}
	}
}

// TestCompensationIsElimination: setting suspects aside must give what a network
// gives in which they were never weighed.
func TestCompensationIsElimination(t *testing.T) {
	named := 0
	rapid.Check(t, func(t *rapid.T) {
		n := randomNetwork(t, false)
		res, err := Reconcile(n, Options{MaxSuspects: 3})
		if err != nil {
			t.Fatal(err)
		}
		if len(res.Suspects) == 0 {
			return
		}
		named++
		less := &Network{Streams: append([]Stream(nil), n.Streams...), Constraints: n.Constraints}
		at := map[string]int{}
		for i, s := range n.Streams {
			at[s.ID] = i
		}
		for _, s := range res.Suspects {
			less.Streams[at[s.ID]].Given = Unmeasured
		}
		again, err := Reconcile(less, Options{MaxSuspects: -1})
		if err != nil {
			t.Fatal(err)
		}
		for i, x := range again.Adjusted.Values {
			if math.IsNaN(x) {
				continue
			}
			if !near(res.Without.Values[i], x, 1e4, 1e-7) || !near(res.Without.SD[i], again.Adjusted.SD[i], 1+again.Adjusted.SD[i], 1e-4) {
				t.Fatalf("%s: %v ± %v, never weighed gives %v ± %v\n%+v", n.Streams[i].ID,
					res.Without.Values[i], res.Without.SD[i], x, again.Adjusted.SD[i], n)
			}
		}
		var ids []string
		for _, r := range again.Streams {
			if r.Status != Unobservable {
				ids = append(ids, r.ID)
			}
		}
		got, err := res.Without.Covariance(ids...)
		if err != nil {
			t.Fatal(err)
		}
		want, err := again.Adjusted.Covariance(ids...)
		if err != nil {
			t.Fatal(err)
		}
		for i := range ids {
			for j := range ids {
				if scale := 1 + math.Sqrt(want.At(i, i)*want.At(j, j)); !near(got.At(i, j), want.At(i, j), scale, 1e-4) {
					t.Fatalf("cov(%s, %s) = %v, never weighed gives %v\n%+v", ids[i], ids[j], got.At(i, j), want.At(i, j), n)
				}
			}
		}
		for _, s := range res.Suspects {
			if x := again.Adjusted.Values[at[s.ID]]; !near(s.Expected, x, 1e4, 1e-7) {
				t.Fatalf("%s expected %v, never weighed gives %v", s.ID, s.Expected, x)
			}
			if sd := again.Adjusted.SD[at[s.ID]]; !near(s.ExpectedSD, sd, 1+sd, 1e-4) {
				t.Fatalf("%s expected ± %v, never weighed gives %v", s.ID, s.ExpectedSD, sd)
			}
		}
		if again.Adjusted.Global.Dof != res.Without.Global.Dof ||
			!near(again.Adjusted.Global.Statistic, res.Without.Global.Statistic, 1+res.Without.Global.Statistic, 1e-5) {
			t.Fatalf("global %+v, never weighed gives %+v", res.Without.Global, again.Adjusted.Global)
		}
	})
	if named < 10 {
		t.Errorf("only %d networks had suspects", named)
	}
}

// TestOracleLarger does the same on networks large enough for both parts of the
// factorisation, the sparse and the dense one.
func TestOracleLarger(t *testing.T) {
	for name, n := range map[string]*Network{
		"shop":         noisy(shop(seeded(21), 25, 30), seeded(1)),
		"random graph": noisy(randomGraph(seeded(22), 90, 250), seeded(2)),
		"unmeasured":   hide(noisy(randomGraph(seeded(23), 90, 250), seeded(3)), 5),
		"shared":       share(noisy(shop(seeded(24), 20, 30), seeded(4)), 6),
	} {
		t.Run(name, func(t *testing.T) {
			res, err := Reconcile(n, Options{MaxSuspects: -1})
			if err != nil {
				t.Fatal(err)
			}
			if f := res.Adjusted.m.fac; len(f.steps) < 20 || len(f.tail) < 5 {
				t.Fatalf("%d rows eliminated sparsely, %d in the dense part: not both are tried", len(f.steps), len(f.tail))
			}
			o := solveDense(n)
			for i, r := range res.Streams {
				if r.Status != o.status[i] {
					t.Fatalf("%s: status %v, dense says %v", r.ID, r.Status, o.status[i])
				}
				if r.Status == Unobservable {
					continue
				}
				check(t, r.ID+" adjusted", r.Adjusted, o.x[i], 1e-6)
				check(t, r.ID+" sd", r.SD, o.sd[i], 1e-6)
				check(t, r.ID+" z", r.Z, o.z[i], 1e-6)
			}
			check(t, "statistic", res.Adjusted.Global.Statistic, o.stat, 1e-6*o.stat)
		})
	}
}

// hide makes every k-th stream unmeasured.
func hide(n *Network, k int) *Network {
	for i := range n.Streams {
		if i%k == 0 {
			n.Streams[i].Given = Unmeasured
		}
	}
	return n
}

// share puts the streams in turn under some common effects of 3 units.
func share(n *Network, effects int) *Network {
	for i := range n.Streams {
		s := &n.Streams[i]
		s.Shared = append(s.Shared, Shared{string(rune('A' + i%effects)), 3})
	}
	return n
}

package loss

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Covariate is something recorded of every heat that may have changed when the loss did: a crucible, a melter, a
// supplier's lot, a share of the charge. Exactly one of Labels and Numbers is given, one entry a heat; "" and NaN are
// not recorded.
type Covariate struct {
	Name    string
	Labels  []string
	Numbers []float64
}

// Suspect is a covariate that was not the same before and after a change. That it changed at the same time is no proof
// that it was the cause.
type Suspect struct {
	Covariate string
	Label     string  // the value that came or went, for one with labels
	Before    float64 // share of the heats with the label, or the median of the numbers
	After     float64
	P         float64 // chance of so great a difference if nothing had changed, times the number of comparisons (at most 1)
}

func (s Suspect) String() string {
	if s.Label != "" {
		return fmt.Sprintf("%s %s: %.0f %% of the heats before, %.0f %% after", s.Covariate, s.Label, 100*s.Before, 100*s.After)
	}
	return fmt.Sprintf("%s: median %.4g before, %.4g after", s.Covariate, s.Before, s.After)
}

// Compare looks for covariates (in time order) that differ between the heats [from, at) and [at, to), the most striking first: labels
// by Fisher's exact test of each label against the rest, numbers by the rank-sum test.
func Compare(covariates []Covariate, from, at, to int) ([]Suspect, error) {
	var out []Suspect
	tests := 0
	for _, c := range covariates {
		n := len(c.Labels) + len(c.Numbers)
		if (c.Labels == nil) == (c.Numbers == nil) || from < 0 || at < from || to < at || to > n {
			return nil, &FieldError{Field: "covariate " + c.Name, Value: fmt.Sprintf("%d labels, %d numbers for heats %d to %d to %d", len(c.Labels), len(c.Numbers), from, at, to), Want: "labels or numbers for all of the heats"}
		}
		var found []Suspect
		if c.Labels != nil {
			found = compareLabels(c, from, at, to)
		} else {
			found = compareNumbers(c, from, at, to)
		}
		tests += len(found)
		out = append(out, found...)
	}
	for i := range out {
		out[i].P = math.Min(1, out[i].P*float64(tests))
	}
	slices.SortStableFunc(out, func(a, b Suspect) int { return cmp.Compare(a.P, b.P) })
	return out, nil
}

func compareLabels(c Covariate, from, at, to int) []Suspect {
	before, after := map[string]int{}, map[string]int{}
	n, m := 0, 0
	var labels []string
	for i, l := range c.Labels[from:to] {
		if l == "" {
			continue
		}
		if before[l]+after[l] == 0 {
			labels = append(labels, l)
		}
		if from+i < at {
			before[l]++
			n++
		} else {
			after[l]++
			m++
		}
	}
	slices.Sort(labels)
	var out []Suspect
	if n == 0 || m == 0 || len(labels) < 2 {
		return nil
	}
	if len(labels) == 2 {
		// Of two labels either says the same: name the one that came.
		if before[labels[0]]*m < after[labels[0]]*n {
			labels = labels[:1]
		} else {
			labels = labels[1:]
		}
	}
	for _, l := range labels {
		out = append(out, Suspect{Covariate: c.Name, Label: l, Before: float64(before[l]) / float64(n), After: float64(after[l]) / float64(m),
			P: fisher(before[l], n-before[l], after[l], m-after[l])})
	}
	return out
}

func compareNumbers(c Covariate, from, at, to int) []Suspect {
	recorded := func(x []float64) []float64 {
		return slices.DeleteFunc(slices.Clone(x), math.IsNaN)
	}
	before, after := recorded(c.Numbers[from:at]), recorded(c.Numbers[at:to])
	if len(before) == 0 || len(after) == 0 {
		return nil
	}
	return []Suspect{{Covariate: c.Name, Before: median(before), After: median(after), P: rankSum(before, after)}}
}

func median(x []float64) float64 {
	x = slices.Sorted(slices.Values(x))
	n := len(x)
	return (x[(n-1)/2] + x[n/2]) / 2
}

// fisher is the two-sided P of Fisher's exact test of the table a b / c d: the chance, the margins given, of a table no
// more likely than this one.
func fisher(a, b, c, d int) float64 {
	log := func(n int) float64 { v, _ := math.Lgamma(float64(n + 1)); return v }
	rows, column, total := a+b, a+c, a+b+c+d
	chance := func(x int) float64 {
		return math.Exp(log(rows) - log(x) - log(rows-x) + log(total-rows) - log(column-x) - log(total-rows-column+x) - log(total) + log(column) + log(total-column))
	}
	seen, sum := chance(a), 0.0
	for x := max(0, column-(total-rows)); x <= min(rows, column); x++ {
		if p := chance(x); p <= seen*(1+1e-9) {
			sum += p
		}
	}
	return math.Min(1, sum)
}

// rankSum is the two-sided P of the rank-sum test (Wilcoxon 1945, Mann & Whitney 1947) by the normal approximation with
// corrections for ties and continuity.
func rankSum(x, y []float64) float64 {
	all := slices.Sorted(slices.Values(append(slices.Clone(x), y...)))
	n, m := float64(len(x)), float64(len(y))
	total := n + m
	rank := func(v float64) float64 {
		low, _ := slices.BinarySearch(all, v)
		high := low
		for high < len(all) && all[high] == v {
			high++
		}
		return float64(low+high+1) / 2
	}
	sum := 0.0
	for _, v := range x {
		sum += rank(v)
	}
	ties := 0.0
	for i := 0; i < len(all); {
		j := i
		for j < len(all) && all[j] == all[i] {
			j++
		}
		t := float64(j - i)
		ties += t*t*t - t
		i = j
	}
	variance := n * m / 12 * (total + 1 - ties/(total*(total-1)))
	if !(variance > 0) {
		return 1
	}
	z := (math.Abs(sum-n*(total+1)/2) - 0.5) / math.Sqrt(variance)
	return math.Min(1, 2*distuv.UnitNormal.Survival(math.Max(0, z)))
}

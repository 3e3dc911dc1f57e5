package loss

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Fisher (1935), The Design of Experiments, chapter 2: eight cups of tea, three of four told right, one-sided 17/70, two-sided
// 34/70; all four right 1/70 and 2/70. (Exact by counting: the 70 ways to choose 4 of 8.)
func TestFisherTea(t *testing.T) {
	near(t, "three right", fisher(3, 1, 1, 3), 34.0/70, 1e-12)
	near(t, "all right", fisher(4, 0, 0, 4), 2.0/70, 1e-12)
	near(t, "two right", fisher(2, 2, 2, 2), 1, 1e-12)
}

// The rank-sum test against its definition: the share of all ways to deal the values that are at least as far from the
// middle. The normal approximation with continuity is within 0.02 of it for samples like these.
func TestRankSumAgainstEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, m := rapid.IntRange(5, 7).Draw(t, "n"), rapid.IntRange(5, 7).Draw(t, "m")
		values := rapid.SliceOfNDistinct(rapid.Float64Range(0, 1), n+m, n+m, rapid.ID).Draw(t, "values")
		x, y := values[:n], values[n:]
		statistic := func(pick int) float64 {
			u := 0.0
			for i := range values {
				for j := range values {
					if pick>>i&1 == 1 && pick>>j&1 == 0 && values[i] > values[j] {
						u++
					}
				}
			}
			return math.Abs(u - float64(n*m)/2)
		}
		seen := statistic(1<<n - 1)
		deals, extreme := 0, 0
		for pick := range 1 << (n + m) {
			if popcount(pick) != n {
				continue
			}
			deals++
			if statistic(pick) >= seen {
				extreme++
			}
		}
		closeTo(t, "P", rankSum(x, y), float64(extreme)/float64(deals), 0.02)
	})
}

func popcount(x int) (n int) {
	for ; x != 0; x &= x - 1 {
		n++
	}
	return n
}

func TestCompareNamesWhatChanged(t *testing.T) {
	steady := Covariate{Name: "melter", Labels: []string{"Ines", "Otto", "Ines", "Otto", "", "Ines", "Otto", "Ines", "Otto", "Ines", "Otto", "Ines"}}
	pot := Covariate{Name: "crucible", Labels: []string{"A4", "A4", "A4", "A4", "A4", "A4", "A5", "A5", "A5", "A5", "A5", "A5"}}
	share := Covariate{Name: "dirty share", Numbers: []float64{0, 0.1, 0, 0.1, math.NaN(), 0, 0.3, 0.4, 0.3, 0.5, 0.3, 0.4}}
	got, err := Compare([]Covariate{steady, pot, share}, 0, 6, 12)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 3 || got[0].Label != "A5" || got[0].Before != 0 || got[0].After != 1 || got[1].Covariate != "dirty share" || got[2].P < 0.5 {
		t.Errorf("%+v", got)
	}
	if s := got[0].String(); s != "crucible A5: 0 % of the heats before, 100 % after" {
		t.Error(s)
	}
	near(t, "P with three comparisons", got[0].P, 3*2.0/924, 1e-12) // of the 924 ways to choose 6 of 12
	invalid(t, "both kinds", second(Compare([]Covariate{{Name: "x", Labels: steady.Labels, Numbers: share.Numbers}}, 0, 6, 12)))
	invalid(t, "too short", second(Compare([]Covariate{steady}, 0, 6, 13)))
}

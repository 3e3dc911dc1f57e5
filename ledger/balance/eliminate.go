package balance

import (
	"math"
	"math/rand/v2"
	"slices"
)

// pivot is a row that expresses one column by the others.
type pivot struct {
	row, col int32
}

// eliminate removes the wanted columns from all rows but one each, by sparse
// Gaussian elimination, and returns those rows in the order they were taken. In
// the rows of a graph this merges the nodes at both ends of a stream, without
// rounding. Of the rows that hold a column the shortest is taken, among those
// whose coefficient is at least a tenth of the largest.
func (sys *rows) eliminate(wanted func(col int32) bool, columns int) []pivot {
	holders := make([][]int32, columns) // may hold rows that have lost the column since
	for r, v := range sys.row {
		for _, e := range v {
			if wanted(e.at) {
				holders[e.at] = append(holders[e.at], int32(r))
			}
		}
	}
	var taken []pivot
	done := make([]bool, len(sys.row))
	seen := make([]int32, len(sys.row)) // column, from 1, a row was last looked at for
	type holder struct {
		row int32
		v   float64
	}
	var have []holder
	for c := range int32(columns) {
		have = have[:0]
		largest := 0.0
		for _, r := range holders[c] {
			if done[r] || seen[r] == c+1 {
				continue
			}
			seen[r] = c + 1
			if v := sys.row[r].find(c); v != 0 {
				have = append(have, holder{r, v})
				largest = math.Max(largest, math.Abs(v))
			}
		}
		if len(have) == 0 {
			continue
		}
		best := -1
		for k, h := range have {
			if math.Abs(h.v) >= 0.1*largest && (best < 0 || len(sys.row[h.row]) < len(sys.row[have[best].row])) {
				best = k
			}
		}
		p := have[best]
		for k, h := range have {
			if k == best {
				continue
			}
			sys.add(h.row, -h.v/p.v, p.row)
			for _, e := range sys.row[p.row] {
				if e.at > c && wanted(e.at) {
					holders[e.at] = append(holders[e.at], h.row)
				}
			}
		}
		done[p.row] = true
		taken = append(taken, pivot{p.row, c})
	}
	return taken
}

// add adds f times one row to another.
func (sys *rows) add(to int32, f float64, from int32) {
	sys.row[to] = sys.row[to].plus(f, sys.row[from])
	sys.rhs[to] += f * sys.rhs[from]
	sys.size[to] += math.Abs(f) * sys.size[from]
	both := append(slices.Clone(sys.origin[to]), sys.origin[from]...)
	slices.Sort(both)
	sys.origin[to] = slices.Compact(both)
}

// contradiction returns an error when a row without any stream left is not zero.
func (sys *rows) contradiction(r int) error {
	if len(sys.row[r]) > 0 || math.Abs(sys.rhs[r]) <= 1e-9*sys.size[r]+1e-12*sys.most {
		return nil
	}
	return &ContradictionError{Rows: sys.together(r), Off: -sys.rhs[r]}
}

// together returns the names of what a row adds up.
func (sys *rows) together(r int) []string {
	names := make([]string, len(sys.origin[r]))
	for k, o := range sys.origin[r] {
		names[k] = sys.names[o]
	}
	return names
}

// independent returns which rows to keep so that none is a combination of others.
func (sys *rows) independent(columns int) ([]int, error) {
	work := &rows{names: sys.names, row: slices.Clone(sys.row), rhs: slices.Clone(sys.rhs),
		size: slices.Clone(sys.size), origin: slices.Clone(sys.origin), most: sys.most}
	keep := make([]bool, len(work.row))
	for _, p := range work.eliminate(func(int32) bool { return true }, columns) {
		keep[p.row] = true
	}
	var kept []int
	for r := range keep {
		if keep[r] {
			kept = append(kept, r)
		} else if err := work.contradiction(r); err != nil {
			return nil, err
		}
	}
	return kept, nil
}

// undetermined returns the unmeasured columns that the rows do not fix. A column
// is fixed when it is zero in every solution of the homogeneous system, so two
// solutions with random values for the free columns tell, save for a chance of
// less than one in 10⁹. The seed is fixed: the answer never changes between runs.
func (sys *rows) undetermined(pivots []pivot, unmeasured []bool) []bool {
	free := slices.Clone(unmeasured)
	for _, p := range pivots {
		free[p.col] = false
	}
	loose := slices.Clone(free)
	rng := rand.New(rand.NewPCG(1, 2))
	x := make([]float64, len(unmeasured))
	for range 2 {
		for c := range x {
			x[c] = 0
			if free[c] {
				x[c] = float64(1 + rng.IntN(1<<20))
			}
		}
		for k := len(pivots) - 1; k >= 0; k-- {
			p := pivots[k]
			var s, size, own float64
			for _, e := range sys.row[p.row] {
				switch {
				case e.at == p.col:
					own = e.v
				case unmeasured[e.at]:
					s -= e.v * x[e.at]
					size += math.Abs(e.v * x[e.at])
				}
			}
			if math.Abs(s) > 1e-9*size {
				x[p.col] = s / own
				loose[p.col] = true
			}
		}
	}
	return loose
}

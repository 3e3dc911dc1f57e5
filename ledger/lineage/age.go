package lineage

// ageRest is the share of the oldest metal that Age does not tell apart.
const ageRest = 1e-12

// Age is how often the metal of a node was melted in this shop since it entered
// the book, weighted by mass.
type Age struct {
	Mean  float64   // number of melts
	Melts []float64 // Melts[k] is the fraction melted exactly k times
	// Rest is the fraction melted len(Melts) times or more, at most 1e-12;
	// Mean counts it with len(Melts). Melts and Rest add up to one.
	Rest float64
}

// melted holds the weight that has gone through one more melt.
type melted struct {
	w     *pages[float64] // at the version it was taken from
	own   float64         // taken from sources
	total float64         // both
}

func (m *melted) take(src int32, x float64) {
	m.total += x
	if src >= 0 {
		*m.w.at(src) += x
	} else {
		m.own += x
	}
}

// Age returns how often the metal that a node held just after entry at was
// melted. The metal in a casting poured from bought ingot was melted once. With
// a returns share r in every heat of a steady shop, Melts is the geometric
// distribution (1-r)·r^(k-1), k ≥ 1, and Mean is 1/(1-r). Errors as for Back.
//
// The ancestry is swept once per number of melts.
func (g *Graph) Age(node string, at int64) (Age, error) {
	v, err := g.view(node, at)
	if err != nil {
		return Age{}, err
	}
	top, err := v.mixture(at)
	if err != nil {
		return Age{}, err
	}
	if top == none {
		return Age{Melts: []float64{1}}, nil
	}
	var a Age
	w := newPages[float64](int(top) + 1)
	*w.at(top) = 1
	next := melted{w: newPages[float64](int(top) + 1)}
	var here float64 // melted len(a.Melts) times
	count := func(_ int32, x float64) { here += x }
	for a.Rest = 1; a.Rest > ageRest; {
		here, next.own, next.total = next.own, 0, 0
		v.sweep(w, count, nil, &next)
		a.Melts, a.Rest = append(a.Melts, here), next.total
		w, next.w = next.w, w
	}
	for k, x := range append(a.Melts, a.Rest) {
		a.Mean += float64(k) * x
	}
	return a, nil
}

package charge

import (
	"cmp"
	"slices"
)

// improved puts the molds, heaviest first and hottest first, one after the other
// into the first heat that takes them, and then, as long as it is cheaper, empties
// a heat into the others, moves a mold or exchanges two. The better of the two
// orders is kept.
func (a *arranger) improved(molds []int) []Group {
	var best []Group
	for _, byHeat := range []bool{false, true} {
		order := slices.Clone(molds)
		slices.SortStableFunc(order, func(x, y int) int {
			p, q := &a.g.Molds[x], &a.g.Molds[y]
			weight, warm := -cmp.Compare(p.Metal.Mean, q.Metal.Mean), -cmp.Compare(p.MinC, q.MinC)
			if byHeat {
				return cmp.Or(warm, weight)
			}
			return cmp.Or(weight, warm)
		})
		heats := a.insert(nil, order)
		for {
			if next := a.cheaper(heats); next != nil {
				heats = next
				continue
			}
			break
		}
		if best == nil || total(heats) < total(best) {
			best = heats
		}
	}
	return best
}

func total(heats []Group) (cost int64) {
	for _, h := range heats {
		cost += h.Cost
	}
	return cost
}

// insert adds molds to heats, each to the first that takes it or to a new one.
func (a *arranger) insert(heats []Group, molds []int) []Group {
	heats = slices.Clone(heats)
	for _, i := range molds {
		placed := false
		for k := range heats {
			if h := a.heat(append(slices.Clone(heats[k].Molds), i)); h != nil {
				heats[k], placed = *h, true
				break
			}
		}
		if !placed {
			heats = append(heats, *a.heat([]int{i}))
		}
	}
	return heats
}

// cheaper returns the first cheaper neighbour of heats, nil when there is none.
func (a *arranger) cheaper(heats []Group) []Group {
	now := total(heats)
	for k := range heats {
		rest := append(slices.Clone(heats[:k]), heats[k+1:]...)
		if next := a.insert(rest, heats[k].Molds); total(next) < now {
			return next
		}
	}
	without := func(molds []int, i int) []int {
		return slices.DeleteFunc(slices.Clone(molds), func(m int) bool { return m == i })
	}
	change := func(k, l int, forK, forL []int) []Group {
		var x, y *Group
		if len(forK) > 0 {
			if x = a.heat(forK); x == nil {
				return nil
			}
		}
		if y = a.heat(forL); y == nil {
			return nil
		}
		next := slices.Clone(heats)
		next[l] = *y
		if x == nil {
			next = slices.Delete(next, k, k+1)
		} else {
			next[k] = *x
		}
		if total(next) < now {
			return next
		}
		return nil
	}
	for k := range heats {
		for l := range heats {
			if k == l {
				continue
			}
			for _, i := range heats[k].Molds {
				less := without(heats[k].Molds, i)
				if next := change(k, l, less, append(slices.Clone(heats[l].Molds), i)); next != nil {
					return next
				}
				if l < k {
					continue
				}
				for _, j := range heats[l].Molds {
					if next := change(k, l, append(slices.Clone(less), j), append(without(heats[l].Molds, j), i)); next != nil {
						return next
					}
				}
			}
		}
	}
	return nil
}

package cost

import (
	"cmp"
	"maps"
	"slices"
)

// LotCost is what a lot has cost: its own, or its share by mass of its pool.
func (f *Flow) LotCost(id string) int64 { return f.lotValue(id).Cost }

// LotStock is a lot with its value. A customer's lot has one when metal of the shop's went
// into it.
type LotStock struct {
	Position
	Shared bool // its value is its share of all that is alike
}

// Lot is what a lot holds and has cost; nothing of one that never held metal.
func (f *Flow) Lot(id string) LotStock {
	l := f.lots[id]
	if l == nil {
		return LotStock{}
	}
	return LotStock{Position{Pool: l.pool, Owner: l.owner, Mass: l.mass, Value: f.lotValue(id)}, f.key(id).lot == ""}
}

func (f *Flow) lotValue(id string) Value {
	l := f.lots[id]
	if l == nil {
		return Value{}
	}
	k := f.key(id)
	p := f.pools[k]
	if p == nil {
		return Value{}
	}
	if p.mass == l.mass {
		return p.value
	}
	ids := f.alike()[k]
	return f.shares(p, ids)[slices.Index(ids, id)]
}

// alike are the lots of each pool, the first that came first.
func (f *Flow) alike() map[key][]string {
	out := map[key][]string{}
	for _, id := range f.byAge() {
		out[f.key(id)] = append(out[f.key(id)], id)
	}
	return out
}

func (f *Flow) byAge() []string {
	return slices.SortedFunc(maps.Keys(f.lots), func(a, b string) int { return cmp.Compare(f.lots[a].born, f.lots[b].born) })
}

// shares are what the lots of a pool have cost: together what the pool has, to the last
// unit.
func (f *Flow) shares(p *Pool, ids []string) []Value {
	masses := make([]int64, len(ids))
	for i, id := range ids {
		masses[i] = f.lots[id].mass
	}
	out := make([]Value, len(ids))
	costs, free := Share(p.value.Cost, masses), Share(p.value.Free, masses)
	for i := range ids {
		out[i] = Value{costs[i], free[i]}
	}
	return out
}

// Position is the stock of a pool.
type Position struct {
	Pool  string
	Owner string // the customer whose own metal it is; "" for the shop's
	Mass  int64
	Value
}

// Stock is what is on the shelves by pool, lots that have a cost of their own under
// the pool they are alike with. Metal of customers is left out.
func (f *Flow) Stock() []Position {
	return slices.DeleteFunc(f.positions(), func(p Position) bool { return p.Owner != "" })
}

// Customers is what is on the shelves of customers' own metal, by customer and pool.
func (f *Flow) Customers() []Position {
	return slices.DeleteFunc(f.positions(), func(p Position) bool { return p.Owner == "" })
}

func (f *Flow) positions() (out []Position) {
	sums := map[key]*Position{}
	at := func(k key) *Position {
		if l := f.lots[k.lot]; l != nil {
			k = key{owner: l.owner, pool: l.pool}
		}
		if sums[k] == nil {
			sums[k] = &Position{Pool: k.pool, Owner: k.owner}
		}
		return sums[k]
	}
	for id, l := range f.lots {
		at(key{lot: id}).Mass += l.mass
	}
	for k, p := range f.pools {
		s := at(k)
		s.Value = s.plus(p.value)
	}
	for _, s := range sums {
		if s.Mass != 0 || s.Value != (Value{}) {
			out = append(out, *s)
		}
	}
	slices.SortFunc(out, func(a, b Position) int { return cmp.Or(cmp.Compare(a.Owner, b.Owner), cmp.Compare(a.Pool, b.Pool)) })
	return out
}

// Supplies is the cost of supplies on the shelf.
func (f *Flow) Supplies() (out []Position) {
	for _, key := range slices.Sorted(maps.Keys(f.supplies)) {
		if p := f.supplies[key]; p.mass != 0 || p.value.Cost != 0 {
			out = append(out, Position{Pool: key, Mass: p.mass, Value: p.value})
		}
	}
	return out
}

package cost

import (
	"cmp"
	"maps"
	"slices"
	"time"
)

// Flow is where all the money is after some events.
type Flow struct {
	pools    map[string]*Pool // by pool, or by lot where each has its own
	lots     map[string]*lot
	heats    map[string]*heat
	castings map[string]*casting
	supplies map[string]*Pool
	owned    map[string]bool // lots that belong to a customer

	In       int64            // bought and spent on conversion
	Bought   int64            // of In, metal
	Gone     map[string]int64 // cost of lots that left, by how
	Expensed map[string]int64 // differences and the like, by what; below zero a gain
	Unpriced map[string]int64 // mass that came in without a price, by pool

	policies []Policy
	now      Policy
	month    time.Time
	ahead    []Event // the events, to know a month's purchases at its beginning
	seen     int
	waiting  map[string][]*Event // by lot: what was taken before, by its date, there was enough
}

type lot struct {
	pool string
	mass int64
	kind Kind
	born int64 // for order
}

type heat struct {
	pool           string
	metal, charged int64
	conversion     map[string]int64
	credit         map[string]int64 // what other places took over, by what
	lost           int64
	castings       map[string]int64 // mass by casting
	in, out        int64            // mass, to know what is still in process
	settled        bool
	normal         int64
	plan           Plan
	policy         Policy
}

type casting struct {
	heat   string
	credit int64  // taken over by a lot it was broken up into
	gone   string // how it left; "" while here
}

// Follow folds events under policies. Before the first policy's date the first one
// holds; without any, each lot has its own cost and nothing is recovered but cost.
func Follow(events []Event, policies []Policy) *Flow {
	f := &Flow{pools: map[string]*Pool{}, lots: map[string]*lot{}, heats: map[string]*heat{}, castings: map[string]*casting{},
		supplies: map[string]*Pool{}, owned: map[string]bool{}, Gone: map[string]int64{}, Expensed: map[string]int64{}, Unpriced: map[string]int64{}, waiting: map[string][]*Event{}}
	f.policies = slices.Clone(policies)
	slices.SortStableFunc(f.policies, func(a, b Policy) int { return a.From.Compare(b.From) })
	f.now = Policy{Method: ByLot}
	if len(f.policies) > 0 {
		f.now = f.policies[0]
	}
	f.ahead = slices.Clone(events)
	slices.SortStableFunc(f.ahead, func(a, b Event) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq)) })
	for i := range f.ahead {
		f.seen = i
		f.turn(f.ahead[i].At)
		f.step(&f.ahead[i], false)
	}
	for _, id := range slices.Sorted(maps.Keys(f.waiting)) {
		for _, e := range f.waiting[id] { // never enough, by the dates there are
			f.step(e, true)
		}
	}
	return f
}

// turn brings in the policy and the month of a time.
func (f *Flow) turn(at time.Time) {
	for _, p := range f.policies {
		if p.From.After(f.now.From) && !p.From.After(at) {
			f.change(p)
		}
	}
	if f.now.Method != MonthAverage {
		return
	}
	zone := f.now.Zone
	if zone == nil {
		zone = time.UTC
	}
	t := at.In(zone)
	month := time.Date(t.Year(), t.Month(), 1, 0, 0, 0, 0, zone)
	if month.Equal(f.month) {
		return
	}
	f.month = month
	type sum struct{ mass, cost int64 }
	bought := map[string]sum{}
	for _, e := range f.ahead[f.seen:] {
		if !e.At.Before(month.AddDate(0, 1, 0)) {
			break
		}
		if e.From.Kind == Outside && e.To.Kind == Lot && e.To.Pool != "" {
			s := bought[e.To.Pool]
			bought[e.To.Pool] = sum{s.mass + e.Mass, s.cost + e.Cost}
		}
	}
	for key := range bought {
		f.pool(key)
	}
	for key, p := range f.pools {
		p.Month(bought[key].mass, bought[key].cost)
	}
}

// change goes over to another policy: what is here keeps its cost, in pools of the
// new method.
func (f *Flow) change(p Policy) {
	old := f.now
	if old.Method == p.Method {
		f.now = p
		return
	}
	costs := map[string]int64{}
	ids := make([]string, 0, len(f.lots))
	for id := range f.lots {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, func(a, b string) int { return cmp.Compare(f.lots[a].born, f.lots[b].born) })
	for _, id := range ids {
		costs[id] = f.LotCost(id)
	}
	// Shares of a pool are rounded: what they leave goes with the first of its lots.
	left := map[string]int64{}
	for key, pool := range f.pools {
		left[key] = pool.cost
	}
	for _, id := range ids {
		left[f.key(id)] -= costs[id]
	}
	for _, id := range ids {
		if k := f.key(id); left[k] != 0 && f.lots[id].mass > 0 {
			costs[id] += left[k]
			left[k] = 0
		}
	}
	for _, rest := range left { // of a pool without lots
		f.Expensed["rounding"] += rest
	}
	f.pools, f.now, f.month = map[string]*Pool{}, p, time.Time{}
	for _, id := range ids {
		if l := f.lots[id]; l.mass > 0 || costs[id] != 0 {
			f.pool(f.key(id)).Put(l.mass, costs[id])
		}
	}
}

// key is the pool a lot is in.
func (f *Flow) key(id string) string {
	if l := f.lots[id]; f.now.Method != ByLot && l.kind == Lot && l.pool != "" {
		return l.pool
	}
	return "lot " + id
}

func (f *Flow) pool(key string) *Pool {
	p := f.pools[key]
	if p == nil {
		p = NewPool(f.now.Method)
		f.pools[key] = p
	}
	return p
}

func (f *Flow) lot(at Place) *lot {
	l := f.lots[at.ID]
	if l == nil {
		l = &lot{pool: at.Pool, kind: at.Kind, born: int64(len(f.lots))}
		f.lots[at.ID] = l
	}
	if at.Pool != l.pool { // found to be another alloy: it takes its cost along
		cost := f.take(at.ID, l, l.mass)
		mass := l.mass
		l.pool = at.Pool
		f.pool(f.key(at.ID)).Put(mass, cost)
	}
	return l
}

// put and take move cost into and out of a lot.
func (f *Flow) put(at Place, mass, cost int64) {
	l := f.lot(at)
	l.mass += mass
	f.pool(f.key(at.ID)).Put(mass, cost)
	for w := f.waiting[at.ID]; len(w) > 0 && w[0].Mass <= l.mass; w = f.waiting[at.ID] {
		f.waiting[at.ID] = w[1:]
		f.step(w[0], true)
	}
}

func (f *Flow) take(id string, l *lot, mass int64) int64 {
	return f.pool(f.key(id)).Take(max(min(mass, l.mass), 0))
}

func (f *Flow) takeOut(at Place, mass int64) int64 {
	l := f.lot(at)
	cost := f.take(at.ID, l, mass)
	l.mass -= mass
	return cost
}

// mustWait reports whether an event takes from a lot what by the dates is not there
// yet: people date things wrong, and book a delivery after they have melted it.
func (f *Flow) mustWait(e *Event) bool {
	switch e.From.Kind {
	case Lot, Skimmings, Heel:
		return e.Mass > max(f.lot(e.From).mass, 0) || len(f.waiting[e.From.ID]) > 0 && e.Mass > 0
	}
	return false
}

func (f *Flow) heat(id string) *heat {
	h := f.heats[id]
	if h == nil {
		h = &heat{conversion: map[string]int64{}, credit: map[string]int64{}, castings: map[string]int64{}, policy: f.now}
		f.heats[id] = h
	}
	return h
}

func (f *Flow) casting(id string) *casting {
	c := f.castings[id]
	if c == nil {
		c = &casting{}
		f.castings[id] = c
	}
	return c
}

// value is what metal that leaves a heat for stock takes over.
func (f *Flow) value(h *heat, to Place, mass int64) int64 {
	if to.Kind == Skimmings {
		return f.now.Skimmings[h.pool].Of(mass)
	}
	if r, ok := f.now.Recovered[h.pool]; ok {
		return r.Of(mass)
	}
	return Part(h.metal, mass, h.charged)
}

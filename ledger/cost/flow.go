package cost

import (
	"cmp"
	"maps"
	"slices"
	"time"
)

// Flow is where all the money is after some events.
type Flow struct {
	pools    map[key]*Pool
	lots     map[string]*lot
	heats    map[string]*heat
	plans    map[string]Plan // of heats
	castings map[string]*casting
	supplies map[string]*Pool

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

// key names a pool: of the shop's metal that is alike, of a customer's, or of one lot.
type key struct{ lot, owner, pool string }

type lot struct {
	pool, owner string
	mass        int64
	kind        Kind
	born        int64 // for order
}

type heat struct {
	pool, owner string
	metal       Value
	charged     int64
	theirs      int64 // of charged, customers' own metal
	conversion  map[string]int64
	credit      map[string]int64 // what other places took over, by what
	lost        int64
	castings    map[string]int64 // mass by casting
	in, out     int64            // mass, to know what is still in process
	settled     bool
	normal      int64
	plan        Plan
	policy      Policy
}

type casting struct {
	heat   string
	credit int64  // taken over by a lot it was broken up into
	gone   string // how it left; "" while here
}

// Follow folds events under policies. Before the first policy's date the first one
// holds; without any, each lot has its own cost and nothing is recovered but cost.
func Follow(events []Event, policies []Policy) *Flow {
	f := &Flow{pools: map[key]*Pool{}, lots: map[string]*lot{}, heats: map[string]*heat{}, plans: map[string]Plan{}, castings: map[string]*casting{},
		supplies: map[string]*Pool{}, Gone: map[string]int64{}, Expensed: map[string]int64{}, Unpriced: map[string]int64{}, waiting: map[string][]*Event{}}
	f.policies = slices.Clone(policies)
	slices.SortStableFunc(f.policies, func(a, b Policy) int { return a.From.Compare(b.From) })
	f.now = Policy{Method: ByLot}
	if len(f.policies) > 0 {
		f.now = f.policies[0]
	}
	f.ahead = slices.Clone(events)
	slices.SortStableFunc(f.ahead, func(a, b Event) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Seq, b.Seq)) })
	for i := range f.ahead {
		if e := &f.ahead[i]; e.Plan != nil {
			f.plans[e.To.ID] = *e.Plan
		}
	}
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
		if e.From.Kind == Outside && e.To.Kind == Lot && e.To.Owner == "" {
			s := bought[e.To.Pool]
			bought[e.To.Pool] = sum{s.mass + e.Mass, s.cost + e.Cost}
		}
	}
	for pool := range bought {
		f.pool(key{pool: pool})
	}
	for k, p := range f.pools {
		if k.lot == "" && k.owner == "" {
			p.Month(bought[k.pool].mass, bought[k.pool].cost)
		}
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
	values, alike := map[string]Value{}, f.alike()
	for k, pool := range f.pools {
		ids := alike[k]
		if len(ids) == 0 {
			f.Expensed["rounding"] += pool.value.Cost
			continue
		}
		for i, v := range f.shares(pool, ids) {
			values[ids[i]] = v
		}
	}
	f.pools, f.now, f.month = map[key]*Pool{}, p, time.Time{}
	for _, id := range f.byAge() {
		if l := f.lots[id]; l.mass > 0 || values[id] != (Value{}) {
			f.pool(f.key(id)).Put(l.mass, values[id])
		}
	}
}

// key is the pool a lot is in. Customers' metal is in one of its own whatever the method.
func (f *Flow) key(id string) key {
	switch l := f.lots[id]; {
	case l.kind != Lot:
		return key{lot: id}
	case l.owner != "":
		return key{owner: l.owner, pool: l.pool}
	case f.now.Method == ByLot:
		return key{lot: id}
	default:
		return key{pool: l.pool}
	}
}

func (f *Flow) pool(k key) *Pool {
	p := f.pools[k]
	if p == nil {
		method := f.now.Method
		if k.owner != "" {
			method = MovingAverage
		}
		p = NewPool(method)
		f.pools[k] = p
	}
	return p
}

func (f *Flow) lot(at Place) *lot {
	l := f.lots[at.ID]
	if l == nil {
		l = &lot{pool: at.Pool, owner: at.Owner, kind: at.Kind, born: int64(len(f.lots))}
		f.lots[at.ID] = l
	}
	if at.Pool != l.pool || at.Owner != l.owner { // found to be another alloy, or another's: it takes its cost along
		mass := l.mass
		v := handOver(f.take(at.ID, l, mass), mass, l.owner, at.Owner)
		l.pool, l.owner = at.Pool, at.Owner
		f.pool(f.key(at.ID)).Put(mass, v)
	}
	return l
}

// handOver is the value of metal that goes from one owner to another: a customer's
// own is not without a price until it becomes the shop's.
func handOver(v Value, mass int64, from, to string) Value {
	switch {
	case from != "" && to == "":
		v.Free = mass
	case to != "":
		v.Free = 0
	}
	return v
}

// put and take move cost into and out of a lot.
func (f *Flow) put(at Place, mass int64, v Value) {
	l := f.lot(at)
	l.mass += mass
	f.pool(f.key(at.ID)).Put(mass, v)
	for w := f.waiting[at.ID]; len(w) > 0 && w[0].Mass <= l.mass; w = f.waiting[at.ID] {
		f.waiting[at.ID] = w[1:]
		f.step(w[0], true)
	}
}

func (f *Flow) take(id string, l *lot, mass int64) Value {
	return f.pool(f.key(id)).Take(max(min(mass, l.mass), 0))
}

func (f *Flow) takeOut(at Place, mass int64) Value {
	l := f.lot(at)
	v := f.take(at.ID, l, mass)
	l.mass -= mass
	return v
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
		h = &heat{conversion: map[string]int64{}, credit: map[string]int64{}, castings: map[string]int64{}, plan: f.plans[id], policy: f.now}
		if h.plan.Under != nil {
			h.policy = *h.plan.Under
		}
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

// value is what metal that leaves a heat takes over, under the policy of the heat.
func (h *heat) value(to Place, mass int64) Value {
	if to.Kind == Skimmings {
		return Value{Cost: h.policy.Skimmings[h.pool].Of(mass)}
	}
	return handOver(h.returns(mass), mass, h.owner, to.Owner)
}

// returns is what returns and pigs take over: what the shop says they are worth, or
// the cost of the metal charged. A customer's own metal costs nothing either way.
func (h *heat) returns(mass int64) Value {
	if r, ok := h.policy.Recovered[h.pool]; ok && h.owner == "" {
		return Value{Cost: r.Of(mass)}
	}
	return h.metal.part(mass, h.charged)
}

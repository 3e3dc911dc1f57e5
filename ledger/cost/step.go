package cost

// step takes one event in, or lets it wait until its lot has enough. Every branch
// takes from one place what it puts in another, so nothing is made or lost.
func (f *Flow) step(e *Event, now bool) {
	switch {
	case !now && f.mustWait(e):
		f.waiting[e.From.ID] = append(f.waiting[e.From.ID], e)
	case e.Plan != nil: // read before the first step
	case e.Settle:
		h := f.heat(e.To.ID)
		h.settled, h.normal = true, e.Normal
		if e.Normal == ByPolicy {
			h.normal = Part(h.policy.Normal[h.pool], h.charged, Million)
		}
	case e.Mass == 0 && e.Cost != 0:
		f.In += e.Cost
		f.heat(e.To.ID).conversion[e.What] += e.Cost
	case e.From.Kind == Melt:
		f.fromMelt(e)
	case e.From.Kind == Lost:
		f.fromLost(e)
	case e.From.Kind == Casting:
		f.fromCasting(e)
	default:
		f.fromStock(e)
	}
}

// fromStock moves what is bought, found or on a shelf.
func (f *Flow) fromStock(e *Event) {
	v := f.valueOf(e)
	switch e.To.Kind {
	case Lot, Skimmings, Heel:
		f.put(e.To, e.Mass, handOver(v, e.Mass, e.From.Owner, e.To.Owner))
	case Supply:
		f.supply(e.To.Pool).Put(e.Mass, v)
	case Melt:
		f.intoMelt(e, v)
	case Lost:
		h := f.heat(e.To.ID)
		h.credit["returns"] -= v.Cost
		h.lost += e.Mass
	case Casting: // welded on
		f.Expensed["welded on"] += v.Cost
	case Gone:
		f.Gone[e.To.ID] += v.Cost
	case Used:
		f.Expensed["supplies used"] += v.Cost
	default:
		f.Expensed["found and missing"] += v.Cost
	}
}

// intoMelt charges a heat, adds to it, or puts back what did not come out of it.
func (f *Flow) intoMelt(e *Event, v Value) {
	h := f.heat(e.To.ID)
	switch {
	case e.From.Kind == Supply: // the metal in it is an event of its own
		h.conversion["additions"] += v.Cost
	case e.From.Kind == Additive:
		h.in += e.Mass
	case e.Charge:
		h.in += e.Mass
		h.metal = h.metal.plus(v)
		h.charged += e.Mass
		if e.From.Owner != "" {
			h.theirs += e.Mass
		}
		if h.pool == "" {
			h.pool, h.owner = e.To.Pool, e.To.Owner
		}
	default: // goes back: a dirty weight was more than its metal
		h.out -= e.Mass
		h.credit["returns"] -= v.Cost
	}
}

// valueOf is what an event's metal takes along from where it was.
func (f *Flow) valueOf(e *Event) Value {
	switch e.From.Kind {
	case Outside:
		return f.bought(e)
	case Found:
		v := f.worth(e)
		f.Expensed["found and missing"] -= v.Cost
		return v
	case Lot, Skimmings, Heel:
		return f.takeOut(e.From, e.Mass)
	case Supply:
		return f.supply(e.From.Pool).Take(e.Mass)
	}
	return Value{}
}

// bought is the value of what comes in. A customer's own metal costs the shop nothing,
// whatever it is said to be worth.
func (f *Flow) bought(e *Event) Value {
	if e.To.Owner != "" {
		return Value{}
	}
	v := Value{Cost: e.Cost}
	f.In += e.Cost
	if e.To.Kind != Supply {
		f.Bought += e.Cost
		if !e.Priced {
			v.Free = e.Mass
			f.Unpriced[e.To.Pool] += e.Mass
		}
	}
	return v
}

// worth is what metal that turns up would cost.
func (f *Flow) worth(e *Event) Value {
	switch e.To.Kind {
	case Lot:
		f.lot(e.To)
		if e.To.Owner == "" {
			return f.pool(f.key(e.To.ID)).Worth(e.Mass)
		}
	case Supply:
		return f.supply(e.To.Pool).Worth(e.Mass)
	case Melt:
		h := f.heat(e.To.ID)
		return h.metal.part(e.Mass, h.charged)
	}
	return Value{}
}

func (f *Flow) supply(key string) *Pool {
	p := f.supplies[key]
	if p == nil {
		p = NewPool(MovingAverage)
		f.supplies[key] = p
	}
	return p
}

// toStock lays metal of a heat on a shelf; the heat is relieved of what it takes over.
func (f *Flow) toStock(h *heat, to Place, mass int64) {
	v := h.value(to, mass)
	h.credit[creditName(to.Kind)] += v.Cost
	f.put(to, mass, v)
}

// fromMelt moves metal out of a heat.
func (f *Flow) fromMelt(e *Event) {
	h := f.heat(e.From.ID)
	if e.To.Kind == Melt { // from the crucible to the molds of the same heat
		return
	}
	h.out += e.Mass
	switch e.To.Kind {
	case Lot, Skimmings, Heel:
		f.toStock(h, e.To, e.Mass)
	case Casting:
		f.cast(e.From.ID, e.To.ID, e.Mass)
	case Lost:
		h.lost += e.Mass
	default: // given away, or found to be of an unknown heat's returns
		v := h.value(e.To, e.Mass)
		h.credit["given away"] += v.Cost
		if e.To.Kind == Gone {
			f.Gone[e.To.ID] += v.Cost
		} else {
			f.Expensed["found and missing"] += v.Cost
		}
	}
}

// cast gives a casting mass of its heat; the first heat it is of keeps it.
func (f *Flow) cast(heat, id string, mass int64) {
	c := f.casting(id)
	if c.heat == "" && heat != "" {
		c.heat = heat
		if nowhere := f.heats[""]; nowhere != nil { // by its dates it was broken up before it was cast
			mass += nowhere.castings[id]
			delete(nowhere.castings, id)
		}
	}
	f.heat(c.heat).castings[id] += mass
}

func creditName(k Kind) string {
	switch k {
	case Skimmings:
		return "skimmings"
	case Heel:
		return "heel"
	}
	return "returns"
}

// fromLost takes back what was counted as lost.
func (f *Flow) fromLost(e *Event) {
	h := f.heat(e.From.ID)
	if e.To.Kind == Lost {
		return
	}
	h.lost -= e.Mass
	switch e.To.Kind {
	case Lot, Skimmings, Heel:
		f.toStock(h, e.To, e.Mass)
	case Casting:
		f.cast(e.From.ID, e.To.ID, e.Mass)
	case Melt:
		h.out -= e.Mass
	}
}

// fromCasting moves a casting, or what is taken off it.
func (f *Flow) fromCasting(e *Event) {
	c := f.casting(e.From.ID)
	h := f.heat(c.heat)
	switch e.To.Kind {
	case Melt: // gating cut off it, to be weighed
		f.cast(c.heat, e.From.ID, -e.Mass)
		h.out -= e.Mass
	case Lot, Skimmings, Heel: // broken up
		v := h.value(e.To, e.Mass)
		f.cast(c.heat, e.From.ID, 0) // so that its heat names it whatever it weighed
		c.credit += v.Cost
		c.gone = "broken up"
		f.put(e.To, e.Mass, v)
	case Gone:
		c.gone = e.To.ID
	}
}

package cost

// step takes one event in, or lets it wait until its lot has enough. Every branch
// takes from one place what it puts in another, so nothing is made or lost.
func (f *Flow) step(e *Event, now bool) {
	switch {
	case !now && f.mustWait(e):
		f.waiting[e.From.ID] = append(f.waiting[e.From.ID], e)
	case e.Plan != nil:
		f.heat(e.To.ID).plan = *e.Plan
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
	cost := f.costOf(e)
	switch e.To.Kind {
	case Lot, Skimmings, Heel:
		f.put(e.To, e.Mass, cost)
	case Supply:
		f.supply(e.To.Pool).Put(e.Mass, cost)
	case Melt:
		h := f.heat(e.To.ID)
		h.in += e.Mass
		switch {
		case e.From.Kind == Supply:
			h.in -= e.Mass // the metal in it is an event of its own
			h.conversion["additions"] += cost
		case e.From.Kind == Additive:
		case e.Charge:
			h.metal += cost
			h.charged += e.Mass
			if h.pool == "" {
				h.pool = e.To.Pool
			}
		default: // goes back: a dirty weight was more than its metal
			h.in -= e.Mass
			h.out -= e.Mass
			h.credit["returns"] -= cost
		}
	case Lost:
		h := f.heat(e.To.ID)
		h.credit["returns"] -= cost
		h.lost += e.Mass
	case Casting: // welded on
		f.Expensed["welded on"] += cost
	case Gone:
		f.Gone[e.To.ID] += cost
	case Used:
		f.Expensed["supplies used"] += cost
	default:
		f.Expensed["found and missing"] += cost
	}
}

// costOf is what an event's metal takes along from where it was.
func (f *Flow) costOf(e *Event) int64 {
	switch e.From.Kind {
	case Outside:
		f.In += e.Cost
		if e.To.Kind != Supply {
			f.Bought += e.Cost
			if !e.Priced && e.To.Pool != "" {
				f.Unpriced[e.To.Pool] += e.Mass
			}
		}
		return e.Cost
	case Found:
		cost := f.worth(e)
		f.Expensed["found and missing"] -= cost
		return cost
	case Lot, Skimmings, Heel:
		return f.takeOut(e.From, e.Mass)
	case Supply:
		return f.supply(e.From.Pool).Take(e.Mass)
	}
	return 0
}

// worth is what metal that turns up would cost.
func (f *Flow) worth(e *Event) int64 {
	switch e.To.Kind {
	case Lot:
		f.lot(e.To)
		return f.pool(f.key(e.To.ID)).Worth(e.Mass)
	case Supply:
		return f.supply(e.To.Pool).Worth(e.Mass)
	case Melt:
		h := f.heat(e.To.ID)
		return Part(h.metal, e.Mass, h.charged)
	}
	return 0
}

func (f *Flow) supply(key string) *Pool {
	p := f.supplies[key]
	if p == nil {
		p = NewPool(MovingAverage)
		f.supplies[key] = p
	}
	return p
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
		cost := f.value(h, e.To, e.Mass)
		h.credit[creditName(e.To.Kind)] += cost
		f.put(e.To, e.Mass, cost)
	case Casting:
		f.cast(e.From.ID, e.To.ID, e.Mass)
	case Lost:
		h.lost += e.Mass
	default: // given away, or found to be of an unknown heat's returns
		cost := f.value(h, e.To, e.Mass)
		h.credit["given away"] += cost
		if e.To.Kind == Gone {
			f.Gone[e.To.ID] += cost
		} else {
			f.Expensed["found and missing"] += cost
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
		cost := f.value(h, e.To, e.Mass)
		h.credit[creditName(e.To.Kind)] += cost
		f.put(e.To, e.Mass, cost)
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
		cost := f.value(h, e.To, e.Mass)
		f.cast(c.heat, e.From.ID, 0) // so that its heat names it whatever it weighed
		c.credit += cost
		c.gone = "broken up"
		f.put(e.To, e.Mass, cost)
	case Gone:
		c.gone = e.To.ID
	}
}

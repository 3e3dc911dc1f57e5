package ledger

// unput puts a record back to what it was before old wrote it, as far as mayUnput lets it.
func (d *draft) unput(old *Entry, c *change) error {
	r, cur := c.wrote, c.cur
	if r.Kind == RecOrder {
		return d.unputOrder(old, c)
	}
	if r.Kind == RecMarket && (!c.had || !c.same) {
		return d.unputMarket(old, c)
	}
	if !c.same {
		return d.unputChanged(old, c)
	}
	if c.had && r.Kind == RecMold {
		return d.unputMold(c.before, cur)
	}
	if c.had {
		d.keep(c.before, nil) // as it stood
		return nil
	}
	switch r.Kind { // made by the entry: nothing is ever deleted, so mark it
	case RecLot:
		var l Lot
		if err := r.Into(&l); err != nil {
			return err
		}
		l.Void, l.From, l.Pieces = true, nil, 0
		return d.putLot(&l)
	case RecHeat:
		var h Heat
		if err := r.Into(&h); err != nil {
			return err
		}
		h.State = Dropped
		return d.putHeat(&h)
	case RecMold:
		var mold Mold
		if err := r.Into(&mold); err != nil {
			return err
		}
		mold.State = MoldUnused
		return d.put(RecMold, mold.ID, r.Parent, mold)
	case RecCasting:
		var k Casting
		if err := r.Into(&k); err != nil {
			return err
		}
		k.Gone = GoneByMistake
		return d.putCasting(&k)
	case RecReading:
		var x Reading
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecAddition:
		var x Addition
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecOffer:
		var x Offer
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Withdrawn = true
		return d.putOffer(&x)
	case RecFuel:
		var x Fuel
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecLabour:
		var x Labour
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecBoughtIn:
		var x BoughtIn
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecQuote:
		var x Quote
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecCosting:
		var x Costing
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecClosed:
		var x Closed
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecCount:
		var x Stocktake
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	case RecRates:
		var x Rates
		if err := r.Into(&x); err != nil {
			return err
		}
		x.Void = true
		return d.put(r.Kind, r.ID, r.Parent, x)
	}
	return nil
}

// unputChanged takes out of a record that was changed since what the reversed entry did.
func (d *draft) unputChanged(old *Entry, c *change) error {
	switch c.wrote.Kind {
	case RecLot:
		if moved, err := c.movedLot(old); err != nil {
			return err
		} else if moved {
			return d.unputLot(c.wrote, c.before, c.had, c.cur)
		}
		l, _, err := d.lotBefore(old, c)
		if err != nil {
			return err
		}
		return d.putLot(&l)
	case RecPot:
		p, same, err := c.potBefore()
		if err != nil {
			return err
		}
		if !same { // a heat was opened in it: it counts one less
			heats := p.Heats
			if err := c.cur.Into(&p); err != nil {
				return err
			}
			p.Heats = heats
		}
		p.Heats = max(0, p.Heats)
		return d.put(RecPot, p.ID, c.cur.Parent, p)
	case RecHeat: // of which molds were taken over: it wants their metal again
		var b, w, now Heat
		if err := c.both(&b, &w); err != nil {
			return err
		}
		if err := c.cur.Into(&now); err != nil || now.Charge != w.Charge {
			return err
		}
		now.Charge = b.Charge
		return d.putHeat(&now)
	case RecMold:
		var now Mold
		if err := c.cur.Into(&now); err != nil {
			return err
		}
		poured, err := c.poured()
		switch {
		case err != nil:
			return err
		case poured != 0:
			now.Poured = max(0, now.Poured-poured)
		case old.Kind == KindPlanHeat && !c.had && now.State == MoldPlanned:
			now.State = MoldUnused
		default:
			return nil
		}
		return d.put(RecMold, now.ID, c.cur.Parent, now)
	}
	return nil
}

// unputMarket takes out of a year of prices those that the reversed entry gave and nobody
// replaced since.
func (d *draft) unputMarket(old *Entry, c *change) error {
	var b, w, now MarketYear
	if err := c.both(&b, &w); err != nil {
		return err
	}
	if err := c.cur.Into(&now); err != nil {
		return err
	}
	if now.Unit != w.Unit || now.Exchange != w.Exchange || c.had && (b.Unit != w.Unit || b.Exchange != w.Exchange) {
		return c.used(old)
	}
	undone := false
	for day, price := range w.Days {
		if b.Days[day] == price || now.Days[day] != price {
			continue
		}
		undone = true
		if was, there := b.Days[day]; there {
			now.Days[day] = was
		} else {
			delete(now.Days, day)
		}
	}
	if !undone {
		return nil
	}
	return d.put(RecMarket, now.ID, c.cur.Parent, now)
}

// unputMold puts a mold back to what it was; one that a casting came from stays poured.
func (d *draft) unputMold(before, cur Record) error {
	var was, now Mold
	if err := before.Into(&was); err != nil {
		return err
	}
	if err := cur.Into(&now); err != nil {
		return err
	}
	if was.State == MoldPlanned || was.State == MoldUnused {
		k, err := d.castingOf(&was)
		if err != nil {
			return err
		}
		if k != "" && now.State == MoldPoured && now.Poured == was.Poured {
			return nil // it stands as who marked it left it
		}
		if k != "" {
			was.State = MoldPoured
			return d.put(RecMold, was.ID, before.Parent, was)
		}
	}
	d.keep(before, nil)
	return nil
}

// unputLot takes out of a lot that was changed since only what the reversed
// entry had put in: origin and pieces.
func (d *draft) unputLot(wrote, before Record, had bool, cur Record) error {
	var w, b, l Lot
	if err := wrote.Into(&w); err != nil {
		return err
	}
	if had {
		if err := before.Into(&b); err != nil {
			return err
		}
	}
	if err := cur.Into(&l); err != nil {
		return err
	}
	for _, s := range b.From {
		w.From = addSources(w.From, Source{s.Account, -s.Mass})
	}
	for _, s := range w.From {
		l.From = addSources(l.From, Source{s.Account, -s.Mass})
	}
	kept := l.From[:0]
	for _, s := range l.From {
		if s.Mass > 0 {
			kept = append(kept, s)
		}
	}
	l.From = kept
	l.Pieces = max(0, l.Pieces-(w.Pieces-b.Pieces))
	return d.putLot(&l)
}

// before finds a record as it was before an entry.
func (d *draft) before(kind RecordKind, id string, seq int64) (Record, bool, error) {
	for {
		hist, err := d.History(string(kind)+"/"+id, seq, 16)
		if err != nil || len(hist) == 0 {
			return Record{}, false, err
		}
		for _, s := range hist {
			e, err := s.Open()
			if err != nil {
				return Record{}, false, err
			}
			for _, r := range e.Records {
				if r.Kind == kind && r.ID == id {
					return r, true, nil
				}
			}
			seq = s.Seq
		}
	}
}

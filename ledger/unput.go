package ledger

// unput puts a record back to what it was before old wrote r.
func (d *draft) unput(old *Entry, r Record) error {
	cur, found, err := d.Record(r.Kind, r.ID)
	if err != nil {
		return err
	}
	before, had, err := d.before(r.Kind, r.ID, old.Seq)
	if err != nil {
		return err
	}
	if found && r.Kind == RecOrder {
		return d.unputOrder(old, before, had, cur)
	}
	if found && cur.Seq != old.Seq {
		if r.Kind == RecLot {
			return d.unputLot(r, before, had, cur)
		}
		return nil
	}
	if had && r.Kind == RecMold {
		return d.unputMold(before, cur)
	}
	if had {
		d.keep(before, nil) // as it stood
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

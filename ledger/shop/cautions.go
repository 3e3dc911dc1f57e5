package shop

import (
	"context"
	"strings"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

// HeatCautions are the cautions that follow from what a heat is made of: its
// alloy and those of the lots that went in, dirty lots, additions, how full the
// crucible is or is planned to be, its skimmings, its molds. That a caution is
// not among them does not mean that nothing can go wrong. A drafted entry, if not
// nil, is taken as recorded.
func (s *Shop) HeatCautions(ctx context.Context, heat string, drafted *ledger.Entry) ([]alloy.Caution, error) {
	table, err := s.Table(ctx)
	if err != nil {
		return nil, err
	}
	f := alloy.Facts{Melt: true}
	err = s.view(ctx, func(r ledger.Reader) error {
		f = alloy.Facts{Melt: true}
		entries, err := historyOf(r, ledger.OfHeat(heat), AsOf{})
		if err != nil {
			return err
		}
		if drafted != nil {
			entries = append(entries, drafted)
		}
		seen := map[string]bool{}
		add := func(id string) {
			if a, err := table.Find(id); err == nil && !seen[a.ID] {
				seen[a.ID] = true
				f.Alloys = append(f.Alloys, a)
			}
		}
		var h ledger.Heat
		charged := ledger.Mass(0)
		for _, e := range entries {
			for _, rec := range e.Records {
				if rec.Kind == ledger.RecHeat && rec.ID == heat {
					if err := rec.Into(&h); err != nil {
						return err
					}
				}
				if rec.Kind == ledger.RecAddition {
					if err := addition(r, rec, &f); err != nil {
						return err
					}
				}
			}
			for _, p := range e.Postings {
				if e.Kind == ledger.KindCharge && p.Account == ledger.Acct(ledger.InHeat, heat) {
					charged += p.Mass
				}
			}
			for _, flag := range e.Flags {
				f.Dirty = f.Dirty || flag.Code == ledger.FlagUnclean
			}
			f.Skimmings = f.Skimmings || e.Kind == ledger.KindSkim
			if err := chargedAlloys(r, e, add); err != nil {
				return err
			}
		}
		add(h.Alloy)
		f.Investment = h.State == ledger.Late
		f.Wet = f.Dirty
		return fillOf(r, h, max(charged, h.Charge), &f)
	})
	if err != nil {
		return nil, err
	}
	return alloy.Cautions(f), nil
}

// addition notes a degasser that may give off chlorine. Which items do is said by
// their name, purpose or caution; inert gas and nitrogen tablets do not.
func addition(r ledger.Reader, rec ledger.Record, f *alloy.Facts) error {
	var a ledger.Addition
	if err := rec.Into(&a); err != nil {
		return err
	}
	srec, found, err := r.Record(ledger.RecSupply, a.Supply)
	if err != nil || !found {
		return err
	}
	var s ledger.Supply
	if err := srec.Into(&s); err != nil {
		return err
	}
	said := strings.ToLower(a.Purpose + " " + s.Purpose + " " + s.Name + " " + s.Caution)
	inert := strings.Contains(said, "nitrogen") || strings.Contains(said, "argon") || strings.Contains(said, "inert")
	if strings.Contains(said, "chlor") || strings.Contains(said, "degas") && !inert {
		f.Degasser = true
	}
	return nil
}

// chargedAlloys adds the alloys of the lots that an entry charged.
func chargedAlloys(r ledger.Reader, e *ledger.Entry, add func(string)) error {
	if e.Kind != ledger.KindCharge {
		return nil
	}
	for _, p := range e.Postings {
		if p.Account.Kind() != ledger.OfLot {
			continue
		}
		rec, found, err := r.Record(ledger.RecLot, p.Account.Ref())
		if err != nil {
			return err
		}
		var l ledger.Lot
		if found {
			if err := rec.Into(&l); err != nil {
				return err
			}
			add(l.Alloy)
		}
	}
	return nil
}

// fillOf sets how full the crucible is by its capacity.
func fillOf(r ledger.Reader, h ledger.Heat, charge ledger.Mass, f *alloy.Facts) error {
	if h.Crucible == "" {
		return nil
	}
	rec, found, err := r.Record(ledger.RecPot, h.Crucible)
	if err != nil || !found {
		return err
	}
	var p ledger.Pot
	if err := rec.Into(&p); err != nil {
		return err
	}
	if p.Capacity > 0 {
		f.Fill = charge.Kg() / p.Capacity.Kg()
	}
	return nil
}

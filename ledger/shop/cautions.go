package shop

import (
	"context"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/lineage"
)

// HeatCautions are the cautions that follow from what a heat is made of: its
// alloy and those of the lots that went in, dirty lots, additions, how full the
// crucible is or is planned to be, its skimmings, its molds. What was reversed did not
// happen. That a caution is not among them does not mean that nothing can go wrong. A
// drafted entry, if not nil, is taken as recorded.
func (s *Shop) HeatCautions(ctx context.Context, heat string, drafted *ledger.Entry) ([]alloy.Caution, error) {
	all, err := s.CautionsOf(ctx, []string{heat}, drafted)
	return all[heat], err
}

// LotCautions are the cautions that follow from what a lot is: its alloy, and what it is
// known to hold. That a caution is not among them does not mean that nothing can go wrong.
func (s *Shop) LotCautions(ctx context.Context, id string) ([]alloy.Caution, error) {
	var l ledger.Lot
	f := alloy.Facts{Melt: true}
	var table alloy.Table
	err := s.view(ctx, func(r ledger.Reader) (err error) {
		if table, err = tableIn(r); err != nil {
			return err
		}
		rec, found, err := r.Record(ledger.RecLot, id)
		if err != nil || !found {
			return err
		}
		return rec.Into(&l)
	})
	if err != nil {
		return nil, err
	}
	if a, err := table.Find(l.Alloy); err == nil {
		f.Alloys = []alloy.Alloy{a}
	}
	f.Parts, _, err = s.parts(ctx, []heldPart{{name: "lot " + id, heldQuestion: heldQuestion{string(ledger.Acct(ledger.OfLot, id)), lineage.Latest}}}, table)
	return alloy.Cautions(f), err
}

// CautionsOf are the HeatCautions of several heats at one moment, by heat.
func (s *Shop) CautionsOf(ctx context.Context, heats []string, drafted *ledger.Entry) (map[string][]alloy.Caution, error) {
	all := make([]meltFacts, len(heats))
	var table alloy.Table
	err := s.view(ctx, func(r ledger.Reader) (err error) {
		if table, err = tableIn(r); err != nil {
			return err
		}
		for i, heat := range heats {
			if all[i], err = s.melts.facts(r, heat, drafted, table); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	out := make(map[string][]alloy.Caution, len(heats))
	for i, heat := range heats {
		f, held := &all[i], map[heldQuestion]heldContent(nil)
		if f.Parts, held, err = s.parts(ctx, f.parts, table); err != nil {
			return nil, err
		}
		if len(held) > 0 {
			s.melts.remember(f, held)
		}
		out[heat] = alloy.Cautions(f.Facts)
	}
	return out, nil
}

package shop

import (
	"context"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
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

// CautionsOf are the HeatCautions of several heats at one moment, by heat.
func (s *Shop) CautionsOf(ctx context.Context, heats []string, drafted *ledger.Entry) (out map[string][]alloy.Caution, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		table, err := tableIn(r)
		if err != nil {
			return err
		}
		out = make(map[string][]alloy.Caution, len(heats))
		for _, heat := range heats {
			f, err := s.melts.facts(r, heat, drafted, table)
			if err != nil {
				return err
			}
			out[heat] = alloy.Cautions(f)
		}
		return nil
	})
	return out, err
}

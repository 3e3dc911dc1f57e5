package shop

import (
	"context"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
)

// HeatCautions are the cautions that follow from what a heat is made of: its
// alloy and those of the lots that went in, dirty lots, additions, how full the
// crucible is or is planned to be, its skimmings, its molds. That a caution is
// not among them does not mean that nothing can go wrong. A drafted entry, if not
// nil, is taken as recorded.
func (s *Shop) HeatCautions(ctx context.Context, heat string, drafted *ledger.Entry) (out []alloy.Caution, err error) {
	err = s.view(ctx, func(r ledger.Reader) error {
		table, err := tableIn(r)
		if err != nil {
			return err
		}
		f, err := s.melts.facts(r, heat, drafted, table)
		out = alloy.Cautions(f)
		return err
	})
	return out, err
}

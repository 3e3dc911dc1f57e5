package storetest

import (
	"context"
	"errors"

	"example.org/remelt/ledger"
)

// Rehearsing is a store that runs the function of each Update twice beforehand, as a
// store may, on a Tx that reads no lists, and then also on one to which only the shop's
// settings are known. What comes of that is thrown away; a function that keeps any of
// it ends otherwise than it would have.
type Rehearsing struct{ ledger.Store }

// Update implements ledger.Store.
func (s Rehearsing) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	for _, blank := range []bool{false, true} {
		if err := s.Store.Update(ctx, shop, func(tx ledger.Tx) error {
			_ = fn(rehearsal{tx, blank})
			return errRehearsal
		}); !errors.Is(err, errRehearsal) {
			return err
		}
	}
	return s.Store.Update(ctx, shop, fn)
}

var errRehearsal = errors.New("this was a rehearsal")

type rehearsal struct {
	ledger.Tx
	blank bool
}

func (rehearsal) Log(int64, int) ([]ledger.Sealed, error) { return nil, errRehearsal }

func (rehearsal) History(string, int64, int) ([]ledger.Sealed, error) { return nil, errRehearsal }

func (rehearsal) Holdings(ledger.AccountKind, ledger.RecordKind, string, int) ([]ledger.Holding, error) {
	return nil, errRehearsal
}

func (rehearsal) Records(ledger.RecordKind, string, string, int) ([]ledger.Record, error) {
	return nil, errRehearsal
}

func (r rehearsal) Record(kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	if r.blank && kind != ledger.RecShop {
		return ledger.Record{}, false, nil
	}
	return r.Tx.Record(kind, id)
}

func (r rehearsal) Balance(a ledger.Account) (ledger.Mass, error) {
	if r.blank {
		return 0, nil
	}
	return r.Tx.Balance(a)
}

package ledgertest

import (
	"fmt"
	"reflect"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.org/remelt/ledger"
)

// contents are the types that records of a kind are written from.
var contents = map[ledger.RecordKind]any{
	ledger.RecShop: ledger.Shop{}, ledger.RecPlace: ledger.Place{}, ledger.RecScale: ledger.Scale{}, ledger.RecTare: ledger.Tare{},
	ledger.RecParty: ledger.Party{}, ledger.RecAlloy: ledger.Alloy{}, ledger.RecPot: ledger.Pot{}, ledger.RecSupply: ledger.Supply{},
	ledger.RecLot: ledger.Lot{}, ledger.RecHeat: ledger.Heat{}, ledger.RecMold: ledger.Mold{}, ledger.RecCasting: ledger.Casting{},
	ledger.RecReading: ledger.Reading{}, ledger.RecAddition: ledger.Addition{}, ledger.RecCount: ledger.Stocktake{},
	ledger.RecReversal: ledger.Reversal{}, ledger.RecPerson: ledger.Person{}, ledger.RecToken: ledger.Token{},
	ledger.RecCosting: ledger.Costing{}, ledger.RecClosed: ledger.Closed{}, ledger.RecFuel: ledger.Fuel{},
	ledger.RecOrder: ledger.Order{}, ledger.RecOffer: ledger.Offer{}, ledger.RecMarket: ledger.MarketYear{},
	ledger.RecCommission: ledger.Commission{}, ledger.RecRates: ledger.Rates{}, ledger.RecQuote: ledger.Quote{},
	ledger.RecLabour: ledger.Labour{}, ledger.RecBoughtIn: ledger.BoughtIn{},
}

// Stale says where an entry just written tells its records otherwise than whoever
// reads their bodies later will see them.
func Stale(e *ledger.Entry) error {
	for _, rec := range e.Records {
		kind, known := contents[rec.Kind]
		if !known {
			return fmt.Errorf("ledgertest does not know what a record of kind %s is written from", rec.Kind)
		}
		told, read := reflect.New(reflect.TypeOf(kind)), reflect.New(reflect.TypeOf(kind))
		if _, err := e.Find(rec.Kind, rec.ID, told.Interface()); err != nil {
			return err
		}
		if err := rec.Into(read.Interface()); err != nil {
			return err
		}
		if d := cmp.Diff(read.Elem().Interface(), told.Elem().Interface(), cmpopts.EquateEmpty()); d != "" {
			return fmt.Errorf("entry %d tells %s/%s otherwise than it is recorded (-recorded +told):\n%s", e.Seq, rec.Kind, rec.ID, d)
		}
	}
	return nil
}

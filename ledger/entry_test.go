package ledger_test

import (
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// TestEntriesTellWhatTheyRecord: what a use case made is told without reading it back,
// as every reader will see it (ledgertest.Do holds that for each entry of these tests);
// and telling it otherwise would be noticed.
func TestEntriesTellWhatTheyRecord(t *testing.T) {
	b := ledgertest.Open(t)
	e := b.Do(b.Receive(ctx, ledger.Meta{}, ledger.Receive{Supplier: "northmetal", Alloy: "C87300", Weighing: ledgertest.Net(30_000)}))
	var lot ledger.Lot
	if found, err := e.Find(ledger.RecLot, e.Records[0].ID, &lot); !found || err != nil || len(lot.From) != 1 {
		t.Fatalf("%+v, %v, %v", lot, found, err)
	}
	if found, err := e.Find(ledger.RecLot, "another", &lot); found || err != nil {
		t.Errorf("a lot of another id: %v, %v", found, err)
	}
	lot.From[0].Mass++ // which nobody may do
	if ledgertest.Stale(e) == nil {
		t.Error("an entry that tells another mass than it recorded was not noticed")
	}
	read, err := b.Entry(ctx, e.Seq)
	if err != nil {
		t.Fatal(err)
	}
	if err := ledgertest.Stale(read); err != nil {
		t.Errorf("an entry that was read: %v", err)
	}
}

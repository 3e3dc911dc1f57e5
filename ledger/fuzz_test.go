package ledger_test

import (
	"bytes"
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

// FuzzDecode: no bytes make Decode panic, and what it accepts is canonical:
// encoding it again gives the same bytes.
func FuzzDecode(f *testing.F) {
	b := ledgertest.RunHeat41(f)
	es, err := b.Entries(ctx, 0, 100)
	if err != nil {
		f.Fatal(err)
	}
	for _, e := range es {
		f.Add(ledger.Encode(e))
	}
	f.Add([]byte{1, 0xff, 0xff, 0xff, 0xff, 0x0f})
	f.Fuzz(func(t *testing.T, raw []byte) {
		e, err := ledger.Decode(raw)
		if err != nil {
			return
		}
		if again := ledger.Encode(e); !bytes.Equal(again, raw) {
			t.Errorf("accepted bytes that are not canonical:\n%x\n%x", raw, again)
		}
		metal := ledger.Entry{Postings: make([]ledger.Posting, 2)} // used before
		if err := (ledger.Sealed{Bytes: raw}).OpenPostings(&metal); err != nil {
			t.Fatal(err)
		}
		if metal.Seq != e.Seq || metal.Kind != e.Kind || metal.Reverses != e.Reverses || !slices.Equal(metal.Postings, e.Postings) {
			t.Errorf("of its metal alone %+v, not %+v", metal, e)
		}
	})
}

package storetest

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"testing"

	"example.org/remelt/ledger"
)

// contents is everything a reader can tell about a book, in a form that can be
// compared.
type contents struct {
	Head     ledger.Head
	Log      []ledger.Sealed
	Kept     []string
	Holdings []ledger.Holding
}

// dump reads everything a book has.
func dump(t testing.TB, st ledger.Store, shop string) (c contents) {
	t.Helper()
	if err := st.View(context.Background(), shop, func(r ledger.Reader) (err error) {
		c, err = read(r)
		return err
	}); err != nil {
		t.Errorf("reading the book of %s: %v", shop, err)
	}
	return c
}

func read(r ledger.Reader) (c contents, err error) {
	if c.Head, err = r.Head(); err != nil {
		return c, err
	}
	if c.Log, err = r.Log(0, all); err != nil {
		return c, err
	}
	if err = r.Kept(func(k ledger.Kept) error {
		c.Kept = append(c.Kept, keptLine(k))
		return nil
	}); err != nil {
		return c, err
	}
	slices.Sort(c.Kept)
	for _, kind := range accountKinds {
		h, err := r.Holdings(kind, ledger.RecordKind(kind), "", all)
		if err != nil {
			return c, err
		}
		if !slices.IsSortedFunc(h, func(a, b ledger.Holding) int { return cmp.Compare(a.Account.Ref(), b.Account.Ref()) }) {
			return c, fmt.Errorf("holdings of %s are not sorted", kind)
		}
		c.Holdings = append(c.Holdings, h...)
	}
	return c, nil
}

// accountKinds are those the tests use.
var accountKinds = []ledger.AccountKind{ledger.Supplier, ledger.OfLot, ledger.InHeat, ledger.InMolds, ledger.OfCasting, ledger.Oxide, ledger.InSupply, ledger.Supplied}

func keptLine(k ledger.Kept) string {
	switch {
	case k.Balance != nil:
		return fmt.Sprintf("balance %s = %d", k.Balance.Account, k.Balance.Mass)
	case k.Record != nil:
		return fmt.Sprintf("record %s/%s of %q by %d: %s", k.Record.Kind, k.Record.ID, k.Record.Parent, k.Record.Seq, k.Record.Body)
	case k.Request != nil:
		return fmt.Sprintf("request %s made %d", k.Request.ID, k.Request.Seq)
	case k.Touch != nil:
		return fmt.Sprintf("touch %s by %d", k.Touch.Subject, k.Touch.Seq)
	case k.Count != nil:
		return fmt.Sprintf("count %s = %d", k.Count.Kind, k.Count.N)
	}
	return "nothing"
}

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// Whoever manages one shop of a server may fetch a backup: it has nothing of the
// other shops, and all that the own one needs to be served again.
func TestABackupIsOfOneShop(t *testing.T) {
	ctx := t.Context()
	store, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "book.db"), sqlite.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() })
	add := func(shop string) {
		t.Helper()
		if err := openBook(ctx, store, shop); err != nil {
			t.Fatal(err)
		}
		if err := store.KeepSecret(ctx, shop, ledger.Secret{Kind: ledger.SecretPassword, ID: "jo", For: "jo", Hash: []byte("password of " + shop)}); err != nil {
			t.Fatal(err)
		}
	}
	add("harrow")
	for _, shops := range []string{"one shop", "two shops"} {
		if shops == "two shops" {
			add("southside")
		}
		var sent bytes.Buffer
		v, err := backupOf(store)(ctx, "harrow", &sent, func(int64, int64) {})
		if err != nil || v.Fault != nil || v.Entries != 1 {
			t.Fatalf("%s: %+v, %v", shops, v, err)
		}
		if bytes.Contains(sent.Bytes(), []byte("southside")) {
			t.Errorf("%s: the other shop is in the backup", shops)
		}
		path := filepath.Join(t.TempDir(), "copy.db")
		if err := os.WriteFile(path, sent.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		copied, err := sqlite.Open(ctx, path, sqlite.Options{Readers: 1})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = copied.Close() })
		if in, err := copied.Shops(ctx); err != nil || !slices.Equal(in, []string{"harrow"}) {
			t.Errorf("%s: the backup has %v, %v", shops, in, err)
		}
		kept, found, err := copied.Secret(ctx, "harrow", ledger.SecretPassword, "jo")
		if err != nil || !found || string(kept.Hash) != "password of harrow" {
			t.Errorf("%s: jo could not sign in to the backup: %v, %v", shops, found, err)
		}
	}
}

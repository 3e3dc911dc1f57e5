package storetest

import (
	"context"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
)

// secrets are kept beside the log, each shop's apart: replaced, taken once,
// forgotten when they have expired, and in nothing that the book is made of.
func (s *suite) secrets(t *testing.T) {
	ctx := context.Background()
	st := s.open(t)
	at := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	x := ledger.Secret{Kind: ledger.SecretPassword, ID: "jo", For: "jo", Hash: []byte("first"), Made: at}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	get := func(shop string, kind ledger.SecretKind, id string) (ledger.Secret, bool) {
		t.Helper()
		got, found, err := st.Secret(ctx, shop, kind, id)
		must(err)
		return got, found
	}
	must(st.KeepSecret(ctx, "one", x))
	x.Hash = []byte("second")
	must(st.KeepSecret(ctx, "one", x))
	if got, found := get("one", x.Kind, "jo"); !found || !cmp.Equal(got, x) {
		t.Errorf("kept %+v, got %+v", x, got)
	}
	if _, found := get("two", x.Kind, "jo"); found {
		t.Error("another shop has it too")
	}
	if _, found := get("one", ledger.SecretToken, "jo"); found {
		t.Error("found under another kind")
	}

	code := ledger.Secret{Kind: ledger.SecretPairing, ID: "c0de", For: "7", Made: at, Expires: at.Add(10 * time.Minute)}
	must(st.KeepSecret(ctx, "one", code))
	must(st.KeepSecret(ctx, "two", code))
	if all, err := st.AllSecrets(ctx, "one"); err != nil || len(all) != 2 || all[0].Kind != ledger.SecretPairing || !all[0].Expires.Equal(code.Expires) {
		t.Errorf("all of one: %v %v", all, err)
	}
	var taken atomic.Int32
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			got, found, err := st.TakeSecret(ctx, "one", code.Kind, code.ID)
			if err != nil {
				t.Error(err)
			}
			if found && got.For == "7" {
				taken.Add(1)
			}
		})
	}
	wg.Wait()
	if taken.Load() != 1 {
		t.Errorf("taken %d times, want once", taken.Load())
	}
	later := ledger.Secret{Kind: ledger.SecretSession, ID: "s", For: "jo", Made: at.Add(time.Hour), Expires: at.Add(2 * time.Hour)}
	must(st.KeepSecret(ctx, "two", later))
	if _, found := get("two", code.Kind, code.ID); found {
		t.Error("an expired secret is still there")
	}
	if shops, err := st.Shops(ctx); err != nil || len(shops) != 0 {
		t.Errorf("a secret makes a shop: %v %v", shops, err)
	}

	Put(t, st, "one", Move("supplier/S1", "lot/L1", 4))
	to := s.open(t)
	defer to.Close()
	must(st.KeepSecret(ctx, "one", later))
	if _, err := ledger.Copy(ctx, st, to, "one", nil); err != nil {
		t.Fatal(err)
	}
	all, err := to.AllSecrets(ctx, "one")
	if must(err); !cmp.Equal(all, []ledger.Secret{x}) {
		t.Errorf("the copy has %v, want what people and programs sign in with", all)
	}
	if s.reopen != nil {
		st = s.reopen(t, st)
		all, err := st.AllSecrets(ctx, "one")
		if must(err); !slices.ContainsFunc(all, func(y ledger.Secret) bool { return cmp.Equal(x, y) }) {
			t.Error("lost when the store was opened again")
		}
	}
	VerifyAll(t, st)
	must(st.Close())
}

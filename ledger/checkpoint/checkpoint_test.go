package checkpoint

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/storetest"
)

const shop = "harrow"

// book makes a book of so many entries. From the entry rewritten on (0: none)
// another amount was received; every hash fits, and so does all that is kept.
func book(t testing.TB, entries, rewritten int64) ledger.Store {
	t.Helper()
	st := memory.New()
	t.Cleanup(func() { _ = st.Close() })
	if entries == 0 {
		return st
	}
	err := st.Update(context.Background(), shop, func(tx ledger.Tx) error {
		for i := int64(1); i <= entries; i++ {
			amount := ledger.Mass(i)
			if rewritten > 0 && i == rewritten {
				amount = 1_000_000
			}
			e := storetest.Move("supplier/S1", "lot/L1", amount)
			e.Request = ledger.RequestID{byte(i), byte(i >> 8), byte(i >> 16), 1}
			if _, err := storetest.Append(tx, shop, e); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if v, err := ledger.Verify(context.Background(), st, shop, nil); err != nil || v.Fault != nil {
		t.Fatalf("verify: %+v, %v", v.Fault, err)
	}
	return st
}

func at(t testing.TB, st ledger.Store, entries int64) Checkpoint {
	t.Helper()
	c, err := At(context.Background(), st, shop, entries)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestRewritten: a book that was written again from some entry on, with fitting
// hashes, verifies, and does not agree with the checkpoint; the entry lies in
// the range that is named, which is short.
func TestRewritten(t *testing.T) {
	books := map[int64]ledger.Store{}
	rapid.Check(t, func(rt *rapid.T) {
		entries := rapid.SampledFrom([]int64{1, 2, 32, 33, 34, 64, 65, 100, 300}).Draw(rt, "entries")
		if books[entries] == nil {
			books[entries] = book(t, entries, 0)
		}
		old := at(t, books[entries], 0)
		if old.Entries != entries || len(old.Marks) > mostMarks {
			rt.Fatalf("%d entries, %d marks", old.Entries, len(old.Marks))
		}
		changed := rapid.Int64Range(1, entries).Draw(rt, "changed")
		grown := entries + rapid.Int64Range(0, 40).Draw(rt, "grown")
		got, err := old.Compare(at(t, book(t, grown, changed), old.Entries))
		if err != nil || got.Agrees || changed < got.From || changed > got.To || got.To-got.From >= step(entries) {
			rt.Fatalf("%d of %d changed: %+v, %v", changed, entries, got, err)
		}
		if entries <= mostMarks+1 && (got.From != changed || got.To != changed) {
			rt.Fatalf("%d of %d changed: %+v, want it exactly", changed, entries, got)
		}
	})
}

// TestCutOff: a book that lost its end, and everything that belonged to it, is found.
func TestCutOff(t *testing.T) {
	for _, entries := range []int64{1, 5, 40, 200} {
		old := at(t, book(t, entries, 0), 0)
		for left := range entries {
			got, err := old.Compare(at(t, book(t, left, 0), old.Entries))
			if err != nil || got.Agrees || left+1 < got.From || left+1 > got.To {
				t.Errorf("%d of %d left: %+v, %v", left, entries, got, err)
			}
		}
	}
}

// TestGrown: a book that only grew agrees with each of its checkpoints.
func TestGrown(t *testing.T) {
	grown := book(t, 150, 0)
	for _, entries := range []int64{1, 2, 31, 32, 33, 34, 100, 149, 150} {
		old, now := at(t, book(t, entries, 0), 0), at(t, grown, entries)
		if got, err := old.Compare(now); err != nil || !got.Agrees || got.From != entries+1 {
			t.Errorf("checkpoint at %d: %+v, %v", entries, got, err)
		}
	}
	if _, err := (Checkpoint{Shop: "other"}).Compare(Checkpoint{Shop: shop}); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("of another shop: %v", err)
	}
	if _, err := At(context.Background(), grown, shop, -1); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("at -1: %v", err)
	}
}

// TestNote: what was signed comes back; nothing else does, be it one byte off,
// signed by another key, or not a checkpoint though the signature is right.
func TestNote(t *testing.T) {
	c := at(t, book(t, 100, 0), 0)
	c.Time = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	private, public, err := NewKey("harrow-lane")
	if err != nil {
		t.Fatal(err)
	}
	signed, err := Sign(c, private+"\n")
	if err != nil {
		t.Fatal(err)
	}
	if got, err := Open(signed, public+"\n"); err != nil || got.Text() != c.Text() {
		t.Fatalf("%+v, %v", got, err)
	}
	for i := range signed {
		for _, flip := range []byte{1, 32, 128} {
			changed := bytes.Clone(signed)
			changed[i] ^= flip
			if got, err := Open(changed, public); err == nil && got.Text() != c.Text() {
				t.Fatalf("byte %d ^ %d was accepted:\n%s", i, flip, changed)
			}
		}
	}
	_, other, err := NewKey("harrow-lane")
	if err != nil {
		t.Fatal(err)
	}
	for name, key := range map[string]string{"another key": other, "no key": "", "the private key": private} {
		if _, err := Open(signed, key); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Sign(c, public); !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("signed with the public key: %v", err)
	}
	for _, name := range []string{"", "two words", "a+b"} {
		if _, _, err := NewKey(name); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("key name %q: %v", name, err)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	c := at(t, book(t, 70, 0), 0)
	text := c.Text()
	if _, err := Parse(text); err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(text, "\n")
	for i := range lines[:len(lines)-1] {
		for name, bad := range map[string]string{
			"left out": strings.Join(lines[:i], "") + strings.Join(lines[i+1:], ""),
			"twice":    strings.Join(lines[:i], "") + lines[i] + strings.Join(lines[i:], ""),
			"changed":  strings.Join(lines[:i], "") + "x" + strings.Join(lines[i:], ""),
		} {
			if i > 4 && name == "left out" {
				continue // a checkpoint with fewer marks says less, but nothing wrong
			}
			if got, err := Parse(bad); !errors.Is(err, ledger.ErrInvalid) {
				t.Errorf("line %d %s: %+v, %v", i+1, name, got, err)
			}
		}
	}
	for _, bad := range []string{"", "\n\n\n\n\n\n", text + "\n", text + "more\n", strings.Replace(text, "entries 70", "entries 070", 1),
		strings.Replace(text, "entries 70", "entries -70", 1), strings.Replace(text, "shop harrow", "shop ", 1)} {
		if _, err := Parse(bad); !errors.Is(err, ledger.ErrInvalid) {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

package storetest

import (
	"context"
	"encoding/binary"
	"iter"
	"math/rand/v2"
	"testing"
	"time"

	"example.org/remelt/ledger"
)

// Shop is the shop of tests that need only one.
const Shop = "north"

// Day is when things happen in tests that do not care.
var Day = time.Date(2026, 3, 14, 9, 26, 53, 589_000_000, time.UTC)

// Seal gives an entry its place after head: its number, and where they are
// zero a fresh request id, Day as both dates (but not before head's) and the
// kind "test". It returns the entry as stored and as decoded from that.
func Seal(head ledger.Head, shop string, e ledger.Entry) (ledger.Sealed, *ledger.Entry) {
	e.Shop, e.Seq = shop, head.Seq+1
	if e.Request == (ledger.RequestID{}) {
		e.Request = NewRequest()
	}
	if e.Kind == "" {
		e.Kind = "test"
	}
	if e.Happened.IsZero() {
		e.Happened = Day
	}
	if e.Recorded.IsZero() {
		e.Recorded = Day
		if e.Recorded.Before(head.Recorded) {
			e.Recorded = head.Recorded
		}
	}
	b := ledger.Encode(&e)
	s := ledger.Sealed{Seq: e.Seq, Bytes: b, Hash: ledger.Chain(head.Hash, b)}
	decoded, err := s.Open()
	if err != nil {
		panic(err) // Encode wrote what Decode refuses
	}
	return s, decoded
}

// Append seals an entry after the transaction's head and appends it.
func Append(tx ledger.Tx, shop string, e ledger.Entry) (ledger.Sealed, error) {
	head, err := tx.Head()
	if err != nil {
		return ledger.Sealed{}, err
	}
	s, decoded := Seal(head, shop, e)
	return s, tx.Append(s, decoded)
}

// appendAll appends entries in a transaction, each of which the store must accept.
func appendAll(t testing.TB, tx ledger.Tx, shop string, entries ...ledger.Entry) {
	t.Helper()
	for _, e := range entries {
		if s, err := Append(tx, shop, e); err != nil {
			t.Errorf("append entry %d to %s: %v", s.Seq, shop, err)
		}
	}
}

// Put appends entries to a shop's book, each in an Update of its own.
func Put(t testing.TB, st ledger.Store, shop string, entries ...ledger.Entry) []ledger.Sealed {
	t.Helper()
	var out []ledger.Sealed
	for _, e := range entries {
		s, err := put(context.Background(), st, shop, e)
		if err != nil {
			t.Fatalf("append entry %d to %s: %v", s.Seq, shop, err)
		}
		out = append(out, s)
	}
	return out
}

// Fill appends entries to a shop's book, a thousand in an Update, each with a request id
// of its own.
func Fill(t testing.TB, st ledger.Store, shop string, entries iter.Seq[ledger.Entry]) {
	t.Helper()
	group := make([]ledger.Entry, 0, 1000)
	write := func() {
		if err := st.Update(context.Background(), shop, func(tx ledger.Tx) error {
			for _, e := range group {
				e.Request = NewRequest()
				if _, err := Append(tx, shop, e); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			t.Fatalf("fill %s: %v", shop, err)
		}
		group = group[:0]
	}
	for e := range entries {
		if group = append(group, e); len(group) == cap(group) {
			write()
		}
	}
	if len(group) > 0 {
		write()
	}
}

func put(ctx context.Context, st ledger.Store, shop string, e ledger.Entry) (s ledger.Sealed, err error) {
	err = st.Update(ctx, shop, func(tx ledger.Tx) (err error) {
		s, err = Append(tx, shop, e)
		return err
	})
	return s, err
}

// NewRequest returns a request id nobody has used.
func NewRequest() (id ledger.RequestID) {
	binary.BigEndian.PutUint64(id[:8], rand.Uint64())
	binary.BigEndian.PutUint64(id[8:], rand.Uint64())
	return id
}

// Move is an entry that moves metal from one account to another.
func Move(from, to ledger.Account, m ledger.Mass, records ...ledger.Record) ledger.Entry {
	return ledger.Entry{
		Postings: []ledger.Posting{{Account: from, Mass: -m, Basis: ledger.Weighed}, {Account: to, Mass: m, Basis: ledger.Weighed}},
		Records:  records,
	}
}

// Note is an entry that only writes records.
func Note(records ...ledger.Record) ledger.Entry { return ledger.Entry{Records: records} }

// Rec is a record with a body of JSON.
func Rec(kind ledger.RecordKind, id, parent, body string) ledger.Record {
	return ledger.Record{Kind: kind, ID: id, Parent: parent, Body: []byte(body)}
}

// view runs fn in a View of Shop and fails the test on an error.
func view(t testing.TB, st ledger.Store, fn func(ledger.Reader)) {
	t.Helper()
	viewOf(t, st, Shop, fn)
}

func viewOf(t testing.TB, st ledger.Store, shop string, fn func(ledger.Reader)) {
	t.Helper()
	if err := st.View(context.Background(), shop, func(r ledger.Reader) error { fn(r); return nil }); err != nil {
		t.Errorf("View of %s: %v", shop, err)
	}
}

// must fails the test on an error and returns the value.
func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Errorf("unexpected error: %v", err)
		}
		return v
	}
}

func balance(t testing.TB, r ledger.Reader, a ledger.Account) ledger.Mass {
	t.Helper()
	return must[ledger.Mass](t)(r.Balance(a))
}

// seqs returns the numbers of entries.
func seqs(entries []ledger.Sealed) []int64 {
	out := []int64{}
	for _, s := range entries {
		out = append(out, s.Seq)
	}
	return out
}

// all is a limit that no test reaches.
const all = 1 << 20

package sqlite

import (
	"bytes"
	"context"
	"encoding/hex"
	"flag"
	"math/rand/v2"
	"sync"
	"testing"

	"pgregory.net/rapid"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
)

var everyByte = flag.Bool("every-byte", false, "TestTamperByte: change each byte of each entry in each of eight ways, not one")

// tampered is a whole book whose table of entries a test changes behind its
// back, inside a transaction that is taken back afterwards.
type tampered struct {
	ledger.Secrets // which nobody asks for

	t    testing.TB
	one  sync.Mutex
	c    *conn
	shop int64
	log  []ledger.Sealed

	parts int64 // in which records are counted, names known; all at once when 0
}

// parted is a reader of which verifying does some at a time.
type parted struct {
	*reader
	parts int64
}

// RecordsMade implements ledger.Tallier.
func (r parted) RecordsMade() (int64, error) { return r.parts * 6_000_000, nil }

// newTampered gives the book of the worked heat, from receipt to weighing back.
func newTampered(t testing.TB) *tampered {
	t.Helper()
	path := newPath(t)
	made := open(t, path)
	ctx := context.Background()
	worked := ledgertest.RunHeat41(t)
	worked.BringHome()
	var log []ledger.Sealed
	noError(t, worked.Store.View(ctx, "harrow", func(r ledger.Reader) (err error) { log, err = r.Log(0, 1000); return err }))
	noError(t, made.Update(ctx, "harrow", func(tx ledger.Tx) error {
		for _, s := range log {
			e, err := s.Open()
			if err != nil {
				return err
			}
			if err := tx.Append(s, e); err != nil {
				return err
			}
		}
		return nil
	}))
	noError(t, made.Close())
	c, err := openConn(path, building)
	noError(t, err)
	t.Cleanup(c.discard)
	return &tampered{t: t, c: c, shop: 1, log: log}
}

// verify runs change and gives what Verify says of the book then. A fault of
// reading is what is wrong too, but names no entry.
func (b *tampered) verify(change func()) (*ledger.Fault, error) {
	b.do(`BEGIN`)
	defer b.do(`ROLLBACK`)
	b.do(`DROP TRIGGER entry_is_never_changed`)
	b.do(`DROP TRIGGER entry_is_never_deleted`)
	change()
	v, err := ledger.Verify(context.Background(), b, "harrow", nil)
	b.parts = 3
	p, failed := ledger.Verify(context.Background(), b, "harrow", nil)
	b.parts = 0
	if (v.Fault == nil) != (p.Fault == nil) || v.Fault != nil && *v.Fault != *p.Fault || (err == nil) != (failed == nil) {
		b.t.Errorf("at once %v (%v), in parts %v (%v)", v.Fault, err, p.Fault, failed)
	}
	return v.Fault, err
}

func (b *tampered) do(query string, args ...any) {
	b.t.Helper()
	if err := b.c.once(context.Background(), query, args...); err != nil {
		b.t.Fatalf("%s: %v", query, err)
	}
}

func (b *tampered) id(seq int64) int64 { return entryID(b.shop, seq) }

func (b *tampered) set(seq int64, bytes []byte, hash []byte) {
	b.do(`UPDATE entry SET bytes = ?, hash = ? WHERE id = ?`, bytes, hash, b.id(seq))
}

// View implements ledger.Store over the one connection and its open transaction.
func (b *tampered) View(ctx context.Context, shop string, fn func(ledger.Reader) error) error {
	b.one.Lock()
	defer b.one.Unlock()
	r := &reader{c: b.c, ctx: ctx}
	if err := r.open(shop); err != nil {
		return err
	}
	if b.parts > 0 {
		r.window = 5
		return fn(parted{r, b.parts})
	}
	return fn(r)
}

func (b *tampered) Update(context.Context, string, func(ledger.Tx) error) error { panic("not used") }
func (b *tampered) Shops(context.Context) ([]string, error)                     { panic("not used") }
func (b *tampered) Close() error                                                { panic("not used") }

// TestTamperByte: any byte of any entry, and of any hash, changed to any other
// is found, and that entry is named.
func TestTamperByte(t *testing.T) {
	b := newTampered(t)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	tried := 0
	for _, s := range b.log {
		whole := append(bytes.Clone(s.Bytes), s.Hash[:]...)
		for at := range whole {
			flips := []byte{byte(1 + random.IntN(255))}
			if *everyByte {
				flips = []byte{1, 2, 4, 8, 16, 32, 64, 128}
			} else if random.IntN(8) != 0 {
				continue
			}
			for _, flip := range flips {
				whole[at] ^= flip
				fault, err := b.verify(func() { b.set(s.Seq, whole[:len(s.Bytes)], whole[len(s.Bytes):]) })
				whole[at] ^= flip
				if err != nil || fault == nil || fault.Seq != s.Seq {
					t.Fatalf("entry %d, byte %d ^ %#x: %+v, %v", s.Seq, at, flip, fault, err)
				}
				tried++
			}
		}
	}
	t.Logf("%d changed bytes, each found and named", tried)
}

// TestTamper: whatever is done to the table of entries, alone or with all hashes
// after it computed again, Verify names the first entry that is not what it was,
// unless what is left is itself a book (which a checkpoint tells apart).
func TestTamper(t *testing.T) {
	b := newTampered(t)
	for range 3 { // of a hundred each, under seeds of their own
		rapid.Check(t, b.tamper)
	}
}

func (b *tampered) tamper(t *rapid.T) {
	n := len(b.log)
	at := rapid.IntRange(0, n-1).Draw(t, "at")
	s := b.log[at]
	want := s.Seq
	var change func()
	switch what := rapid.SampledFrom([]string{
		"byte", "insert byte", "delete byte", "cut bytes", "empty", "swap bytes", "swap rows", "swap contents",
		"delete", "delete to the end", "insert", "insert after the end", "another number", "copy of another",
	}).Draw(t, "what"); what {
	case "byte", "insert byte", "delete byte", "cut bytes", "swap bytes", "empty":
		changed := changeBytes(t, what, s.Bytes)
		change = func() { b.set(s.Seq, changed, s.Hash[:]) }
	case "swap rows", "swap contents":
		other := b.log[rapid.IntRange(0, n-1).Filter(func(i int) bool { return i != at }).Draw(t, "other")]
		want = min(s.Seq, other.Seq)
		change = func() {
			b.set(s.Seq, other.Bytes, other.Hash[:])
			b.set(other.Seq, s.Bytes, s.Hash[:])
		}
		if what == "swap contents" {
			change = func() {
				b.set(s.Seq, other.Bytes, s.Hash[:])
				b.set(other.Seq, s.Bytes, other.Hash[:])
			}
		}
	case "delete":
		change = func() { b.do(`DELETE FROM entry WHERE id = ?`, b.id(s.Seq)) }
	case "delete to the end":
		change = func() { b.do(`DELETE FROM entry WHERE id >= ?`, b.id(s.Seq)) }
	case "insert", "insert after the end":
		if what == "insert after the end" {
			want = int64(n) + 1
		}
		fitting := rapid.Bool().Draw(t, "with hashes that fit")
		change = func() { b.insert(want, s, fitting) }
	case "another number":
		to := int64(n) + rapid.Int64Range(1, 1000).Draw(t, "to")
		if s.Seq == int64(n) && to == s.Seq {
			t.Skip("nothing changed")
		}
		change = func() { b.do(`UPDATE entry SET id = ? WHERE id = ?`, b.id(to), b.id(s.Seq)) }
	case "copy of another":
		other := b.log[rapid.IntRange(0, n-1).Filter(func(i int) bool { return i != at }).Draw(t, "other")]
		change = func() { b.set(s.Seq, other.Bytes, other.Hash[:]) }
	}
	fault, err := b.verify(change)
	if err != nil || fault == nil || fault.Seq != want {
		t.Fatalf("want entry %d named, got %+v, %v", want, fault, err)
	}
}

func changeBytes(t *rapid.T, what string, was []byte) []byte {
	at := rapid.IntRange(0, len(was)-1).Draw(t, "byte")
	out := bytes.Clone(was)
	switch what {
	case "byte":
		out[at] ^= byte(rapid.IntRange(1, 255).Draw(t, "xor"))
	case "insert byte":
		return append(append(out[:at:at], rapid.Byte().Draw(t, "inserted")), was[at:]...)
	case "delete byte":
		return append(out[:at:at], was[at+1:]...)
	case "cut bytes":
		return out[:at]
	case "empty":
		return []byte{}
	case "swap bytes":
		other := rapid.IntRange(0, len(was)-1).Filter(func(i int) bool { return was[i] != was[at] }).Draw(t, "other byte")
		out[at], out[other] = out[other], out[at]
	}
	return out
}

// insert puts a copy of s, with a request id of its own, at seq and moves what
// follows up by one. With fitting, the entries from there on say their new
// numbers and are chained anew.
func (b *tampered) insert(seq int64, s ledger.Sealed, fitting bool) {
	n := int64(len(b.log))
	for i := n; i >= seq; i-- {
		b.do(`UPDATE entry SET id = ? WHERE id = ?`, b.id(i+1), b.id(i))
	}
	e, err := s.Open()
	noError(b.t, err)
	e.Seq = seq
	e.Request[0] ^= 0xff
	forged, hash := ledger.Encode(e), s.Hash
	if !fitting {
		b.do(`INSERT INTO entry (id, hash, bytes) VALUES (?, ?, ?)`, b.id(seq), hash[:], forged)
		return
	}
	prev := ledger.Hash{}
	if seq > 1 {
		prev = b.log[seq-2].Hash
	}
	hash = ledger.Chain(prev, forged)
	b.do(`INSERT INTO entry (id, hash, bytes) VALUES (?, ?, ?)`, b.id(seq), hash[:], forged)
	for _, old := range b.log[seq-1:] {
		e, err := old.Open()
		noError(b.t, err)
		e.Seq++
		again := ledger.Encode(e)
		hash = ledger.Chain(hash, again)
		b.set(e.Seq, again, hash[:])
	}
}

// TestTamperBesideLog: what is kept beside the entries is found to be changed
// too; where an entry and the list of request ids do not agree it is named.
func TestTamperBesideLog(t *testing.T) {
	b := newTampered(t)
	fifth, err := b.log[4].Open()
	noError(t, err)
	for _, c := range []struct {
		change string
		want   int64
	}{
		{`DROP TRIGGER request_is_never_deleted; DELETE FROM request WHERE seq = 5`, 5},
		{`DROP TRIGGER request_is_never_changed; UPDATE request SET seq = 6 WHERE seq = 5`, 5},
		{`DROP TRIGGER request_is_never_changed; UPDATE request SET id = randomblob(16) WHERE seq = 5`, 5},
		{`INSERT INTO request (shop, id, seq) VALUES (1, x'` + hex.EncodeToString(bytes.Repeat([]byte{7}, 16)) + `', 5)`, 0},
		{`DELETE FROM touch WHERE seq = 5 AND name = (SELECT id FROM name WHERE name = '` + fifth.Subjects()[0] + `')`, 0},
		{`UPDATE name SET mass = mass + 1 WHERE name = 'molds/41'`, 0},
		{`UPDATE name SET size = size - 1 WHERE seq = 5`, 0},
		{`UPDATE name SET seq = NULL, at = NULL, size = NULL, parent = NULL WHERE seq = 5`, 0},
		{`UPDATE made SET n = n + 1`, 0},
		{`DELETE FROM made WHERE kind = 'lot'`, 0},
	} {
		fault, err := b.verify(func() { b.do(c.change) })
		if err != nil || fault == nil || fault.Seq != c.want {
			t.Errorf("%s:\nwant entry %d named, got %+v, %v", c.change, c.want, fault, err)
		}
	}
	if fault, err := b.verify(func() {}); err != nil || fault != nil {
		t.Errorf("an untouched book: %+v, %v", fault, err)
	}
}

// verifyAfter is verify for what came after an entry.
func (b *tampered) verifyAfter(seq int64, change func()) (ledger.Verified, error) {
	b.do(`BEGIN`)
	defer b.do(`ROLLBACK`)
	b.do(`DROP TRIGGER entry_is_never_changed`)
	b.do(`DROP TRIGGER entry_is_never_deleted`)
	b.do(`DROP TRIGGER request_is_never_changed`)
	b.do(`DROP TRIGGER request_is_never_deleted`)
	change()
	return ledger.VerifyAfter(context.Background(), b, "harrow", ledger.Head{Seq: seq, Hash: b.log[seq-1].Hash}, nil)
}

// TestVerifyAfter: from each entry on the book is right; whatever is changed of what
// came later, or of what leads there, is found, and the first entry it concerns is
// named.
func TestVerifyAfter(t *testing.T) {
	b := newTampered(t)
	all := int64(len(b.log))
	finds := func(what string, after, want int64, change func()) {
		t.Helper()
		v, err := b.verifyAfter(after, change)
		if err != nil || v.Fault == nil || v.Fault.Seq != want || want > after && v.Entries != want-1 || want == after && v.Entries != 0 {
			t.Errorf("%s, from entry %d: %+v, %+v, %v; want entry %d", what, after, v, v.Fault, err, want)
		}
	}
	for after := int64(1); after <= all; after++ {
		if v, err := b.verifyAfter(after, func() {}); err != nil || v.Fault != nil || v.Entries != all || v.After != after || v.Head != b.log[all-1].Hash {
			t.Fatalf("from entry %d: %+v, %+v, %v", after, v, v.Fault, err)
		}
	}
	for seq := int64(2); seq <= all; seq++ {
		s, after := b.log[seq-1], 1+rand.Int64N(seq-1)
		changed := bytes.Clone(s.Bytes)
		changed[rand.IntN(len(changed))] ^= 1
		finds("a changed byte", after, seq, func() { b.set(seq, changed, s.Hash[:]) })
		finds("no request id", after, seq, func() { b.do(`DELETE FROM request WHERE seq = ?`, seq) })
		finds("another's request id", after, seq, func() { b.do(`UPDATE request SET seq = seq - 1 WHERE seq = ?`, seq) })
		finds("a subject that does not lead there", after, seq, func() {
			b.do(`DELETE FROM touch WHERE seq = ?1 AND name = (SELECT min(name) FROM touch WHERE seq = ?1)`, seq)
		})
		if seq < all {
			finds("it is gone", after, seq, func() { b.do(`DELETE FROM entry WHERE id = ?`, b.id(seq)) })
		}
	}
	finds("the entry itself", all, all, func() { b.set(all, b.log[all-1].Bytes, make([]byte, 32)) })
	finds("an older record", all-20, 0, func() {
		b.do(`UPDATE name SET size = size - 1 WHERE seq = (SELECT max(seq) FROM name)`)
	})
	finds("its bytes alone", all-20, all-20, func() { b.set(all-20, b.log[all-22].Bytes, b.log[all-21].Hash[:]) })
	finds("a book cut off before it", all, all, func() { b.do(`DELETE FROM entry WHERE id >= ?`, b.id(all)) })
}

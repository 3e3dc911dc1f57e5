package ledger

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"math"
	"time"
	"unicode/utf8"
)

// The canonical encoding, version 1. It is what is stored and what is hashed;
// it never changes, a later version gets another first byte.
//
//	entry   := 0x01 shop seq kind request(16) digest(16) happened recorded
//	           who device reason flags reverses postings weighings records costs
//	flags, postings, weighings, records, costs := count item*
//	flag    := code text
//	posting := account mass basis(1)
//	weighing:= subject scale gross tare before net dirt pieces
//	quantity:= typed mass
//	record  := kind id parent body
//	cost    := account currency minor
//
// Text and body are a length and that many bytes, text being UTF-8. Lengths,
// counts and seq are unsigned varints, masses, money, dirt, pieces, reverses
// and the two dates (milliseconds since 1970-01-01 UTC) signed zigzag varints,
// as in encoding/binary, always in their shortest form. Decode refuses any
// bytes that Encode would not have written.
const encodingV1 = 1

// Chain is the hash of an entry: SHA-256 over its predecessor's hash (32 zero
// bytes for the first entry of a shop) and its own canonical bytes.
func Chain(prev Hash, canonical []byte) Hash {
	var most [1024]byte // nearly always enough, and then nothing is allocated
	return sha256.Sum256(append(append(most[:0], prev[:]...), canonical...))
}

// Encode returns the canonical bytes of an entry (all but its hash).
func Encode(e *Entry) []byte {
	w := writer{b: make([]byte, 0, 512)}
	w.b = append(w.b, encodingV1)
	w.str(e.Shop)
	w.uint(uint64(e.Seq))
	w.str(string(e.Kind))
	w.b = append(w.b, e.Request[:]...)
	w.b = append(w.b, e.Digest[:]...)
	w.int(e.Happened.UnixMilli())
	w.int(e.Recorded.UnixMilli())
	w.str(e.Who)
	w.str(e.Device)
	w.str(e.Reason)
	w.uint(uint64(len(e.Flags)))
	for _, f := range e.Flags {
		w.str(f.Code)
		w.str(f.Text)
	}
	w.int(e.Reverses)
	w.uint(uint64(len(e.Postings)))
	for _, p := range e.Postings {
		w.str(string(p.Account))
		w.int(int64(p.Mass))
		w.b = append(w.b, byte(p.Basis))
	}
	w.uint(uint64(len(e.Weighings)))
	for i := range e.Weighings {
		g := &e.Weighings[i]
		w.str(string(g.Subject))
		w.str(g.Scale)
		for _, q := range [...]*Quantity{&g.Gross, &g.Tare, &g.Before, &g.Net} {
			w.str(q.Typed)
			w.int(int64(q.Mass))
		}
		w.int(int64(g.DirtPPM))
		w.int(g.Pieces)
	}
	w.uint(uint64(len(e.Records)))
	for _, r := range e.Records {
		w.str(string(r.Kind))
		w.str(r.ID)
		w.str(r.Parent)
		w.bytes(r.Body)
	}
	w.uint(uint64(len(e.Costs)))
	for _, c := range e.Costs {
		w.str(string(c.Account))
		w.str(c.Currency)
		w.int(c.Minor)
	}
	return w.b
}

// Decode reads canonical bytes back. Body slices point into b.
func Decode(b []byte) (*Entry, error) {
	e := new(Entry)
	r := reader{b: b}
	if v := r.byte(); v != encodingV1 && r.err == "" {
		return nil, corruptf("entry encoding version %d is not known", v)
	}
	e.Shop, e.Seq, e.Kind = r.str(), int64(r.uint()), Kind(r.str())
	copy(e.Request[:], r.take(len(e.Request)))
	copy(e.Digest[:], r.take(len(e.Digest)))
	e.Happened = time.UnixMilli(r.int()).UTC()
	e.Recorded = time.UnixMilli(r.int()).UTC()
	e.Who, e.Device, e.Reason = r.str(), r.str(), r.str()
	e.Flags = sized(e.Flags, r.count(2))
	for i := range e.Flags {
		e.Flags[i] = Flag{Code: r.str(), Text: r.str()}
	}
	e.Reverses = r.int()
	e.Postings = r.postings(e.Postings)
	e.Weighings = sized(e.Weighings, r.count(12))
	for i := range e.Weighings {
		g := &e.Weighings[i]
		g.Subject, g.Scale = Account(r.str()), r.str()
		for _, q := range [...]*Quantity{&g.Gross, &g.Tare, &g.Before, &g.Net} {
			q.Typed, q.Mass = r.str(), Mass(r.int())
		}
		g.DirtPPM, g.Pieces = PPM(r.int()), r.int()
	}
	e.Records = sized(e.Records, r.count(4))
	for i := range e.Records {
		e.Records[i] = Record{Kind: RecordKind(r.str()), ID: r.str(), Parent: r.str(), Body: r.bytes()}
	}
	e.Costs = sized(e.Costs, r.count(3))
	for i := range e.Costs {
		e.Costs[i] = Cost{Account: Account(r.str()), Currency: r.str(), Minor: r.int()}
	}
	if r.err == "" && r.left() > 0 {
		r.err = fmt.Sprintf("%d bytes too many", r.left())
	}
	if err := r.fault(); err != nil {
		return nil, err
	}
	return e, nil
}

// OpenPostings decodes of an entry what questions of its metal alone ask for: its number
// and kind, what it reverses, its postings. It does so into an entry that may have been
// used before, and looks at nothing behind the postings. The texts share one copy of all
// bytes: none of them should be kept.
func (s Sealed) OpenPostings(e *Entry) error {
	r := reader{b: s.Bytes, all: string(s.Bytes)}
	if v := r.byte(); v != encodingV1 && r.err == "" {
		return corruptf("entry encoding version %d is not known", v)
	}
	r.bytes() // the shop
	*e = Entry{Seq: int64(r.uint()), Kind: Kind(r.str()), Hash: s.Hash, Postings: e.Postings}
	r.take(len(e.Request) + len(e.Digest))
	r.int() // when it happened
	r.int() // and was recorded
	for range 3 {
		r.bytes() // who, by what device, why
	}
	for range r.count(2) { // flags
		r.bytes()
		r.bytes()
	}
	e.Reverses = r.int()
	e.Postings = r.postings(e.Postings)
	return r.fault()
}

// sized gives n items to be overwritten, those of s if they are enough.
func sized[T any](s []T, n int) []T {
	if n <= cap(s) {
		return s[:n]
	}
	return make([]T, n)
}

func corruptf(format string, args ...any) error {
	return &Error{Class: ErrCorrupt, Reason: "BOOK_DAMAGED", Want: fmt.Sprintf(format, args...)}
}

type writer struct{ b []byte }

func (w *writer) uint(x uint64)  { w.b = binary.AppendUvarint(w.b, x) }
func (w *writer) int(x int64)    { w.b = binary.AppendVarint(w.b, x) }
func (w *writer) bytes(p []byte) { w.uint(uint64(len(p))); w.b = append(w.b, p...) }
func (w *writer) str(s string)   { w.uint(uint64(len(s))); w.b = append(w.b, s...) }

// reader reads and remembers the first fault; after one it returns zeros.
type reader struct {
	b   []byte
	at  int
	err string
	all string // the bytes as text, if texts may share it
}

func (r *reader) fail(why string) {
	if r.err == "" {
		r.err = why
	}
	r.at = len(r.b)
}

func (r *reader) fault() error {
	if r.err != "" {
		return corruptf("entry bytes do not decode: %s", r.err)
	}
	return nil
}

// left tells how many bytes are to be read yet.
func (r *reader) left() int { return len(r.b) - r.at }

func (r *reader) byte() byte {
	if r.at >= len(r.b) {
		r.fail("cut short")
		return 0
	}
	r.at++
	return r.b[r.at-1]
}

// take gives the next n bytes.
func (r *reader) take(n int) []byte {
	if n > r.left() {
		r.fail("cut short")
		return nil
	}
	r.at += n
	return r.b[r.at-n : r.at : r.at]
}

func (r *reader) uint() uint64 {
	if r.at < len(r.b) && r.b[r.at] < 0x80 { // nearly all of them
		r.at++
		return uint64(r.b[r.at-1])
	}
	return r.longUint()
}

func (r *reader) longUint() uint64 {
	x, n := binary.Uvarint(r.b[r.at:])
	if n <= 0 {
		r.fail("bad number")
		return 0
	}
	r.at += n
	if n > 1 && r.b[r.at-1] == 0 {
		r.fail("number not in its shortest form")
		return 0
	}
	return x
}

func (r *reader) int() int64 {
	u := r.uint()
	return int64(u>>1) ^ -int64(u&1)
}

// count reads how many items follow, each of at least least bytes, so that a
// forged count cannot ask for more memory than the bytes could fill.
func (r *reader) count(least int) int {
	n := r.uint()
	if n > uint64(r.left()/least) {
		r.fail("count beyond the bytes that follow")
		return 0
	}
	return int(n)
}

func (r *reader) bytes() []byte {
	n := r.uint()
	if n > uint64(r.left()) || n > math.MaxInt32 {
		r.fail("cut short")
		return nil
	}
	r.at += int(n)
	return r.b[r.at-int(n) : r.at : r.at]
}

// text is a text in the bytes themselves.
func (r *reader) text() []byte {
	p := r.bytes()
	if !utf8.Valid(p) {
		r.fail("text is not UTF-8")
		return nil
	}
	return p
}

func (r *reader) str() string {
	p := r.text()
	if r.all != "" {
		return r.all[r.at-len(p) : r.at]
	}
	return string(p)
}

// postings reads into those of old, if they are enough.
func (r *reader) postings(old []Posting) []Posting {
	ps := sized(old, r.count(3))
	for i := range ps {
		ps[i] = Posting{Account: Account(r.str()), Mass: Mass(r.int()), Basis: Basis(r.byte())}
	}
	return ps
}

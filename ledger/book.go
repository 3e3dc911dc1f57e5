package ledger

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"time"
	"unicode/utf8"
)

// Metals is what the book has to know about alloys; the shop's own alloys are
// records of the book and are asked first.
type Metals interface {
	// Lookup returns the id and family of an alloy by any of its names.
	Lookup(name string) (id, family string, ok bool)
	// Candidates lists the alloys that a name could mean, when there are several.
	Candidates(name string) []string
	// Families lists the families of alloys, and Family finds one by its own name.
	Families() []string
	Family(name string) (family string, ok bool)
	// MayMix says whether metal of one alloy may go into a melt of another,
	// and if not, why, with the number.
	MayMix(into, from string) (ok bool, why string)
	// MetalInOxide returns the share of metal in an oxide by weight.
	MetalInOxide(oxide string) (PPM, bool)
	// OxideOf names the oxide that an alloy's skimmings are reckoned as.
	OxideOf(alloy string) string
	// CastingLimits names the dated limit set that castings of an alloy are
	// judged by today; "" when there is none.
	CastingLimits(alloy string) string
	// Excesses says of what a measured content holds clearly more than the alloy may, by
	// the shop's own limits where it has some; a text for each.
	Excesses(alloy string, own []Limit, measured []Element) []string
	// MeltDensity returns what a melt of an alloy weighs in g/ml; 0 when it is not known.
	MeltDensity(alloy string) float64
}

// Book is one shop's book in a store, with the rules of the trade. Its methods
// are the use cases; each write is one entry. A Book is safe for concurrent use.
type Book struct {
	Store  Store
	Shop   string
	Metals Metals
	Now    func() time.Time // the server's clock; nil means time.Now

	// KnownOf is what lots and heels are known to hold that can hurt, by their analysis or
	// by what they were melted from; nil when nobody reckons that. It is asked before an
	// entry is written.
	KnownOf func(ctx context.Context, of []Account) (map[Account][]Element, error)

	settings atomic.Pointer[decodedShop]
}

// decodedShop is the shop's record as it was last read. Every use case asks for
// it, so it is decoded again only when its bytes are others.
type decodedShop struct {
	body []byte
	seq  int64
	Shop
}

// shop reads the shop's own record; ErrNotFound when the book was never opened.
func (b *Book) shop(r Reader) (s Stamped[Shop], err error) {
	rec, found, err := r.Record(RecShop, b.Shop)
	if err != nil {
		return s, err
	}
	if !found {
		return s, &Error{Class: ErrNotFound, Reason: "NO_SUCH_SHOP", Field: "shop", Value: b.Shop,
			Want: "no book of this shop; open one first"}
	}
	s.Seq = rec.Seq
	if known := b.settings.Load(); known != nil && known.seq == rec.Seq && bytes.Equal(known.body, rec.Body) {
		s.Value = known.Shop
		return s, nil
	}
	if err := rec.Into(&s.Value); err != nil {
		return s, err
	}
	b.settings.Store(&decodedShop{bytes.Clone(rec.Body), rec.Seq, s.Value})
	return s, nil
}

// LastSettings are the settings that somebody read last, without asking the store;
// a zero Seq when nobody has. They may have changed since: whoever writes by them
// says so, with Meta.Settings.
func (b *Book) LastSettings() (s Stamped[Shop]) {
	if known := b.settings.Load(); known != nil {
		s.Seq, s.Value = known.seq, known.Shop
	}
	return s
}

// Settings reads the shop's own record; ErrNotFound when the book was never opened.
func (b *Book) Settings(ctx context.Context) (s Stamped[Shop], err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		s, err = b.shop(r)
		return err
	})
	return s, err
}

// Meta is what every write carries beside its content.
type Meta struct {
	Request  RequestID // zero: a fresh one is made, and a retry is not recognised
	Happened time.Time // when it happened; zero means now
	Who      string
	Device   string
	Reason   string
	DryRun   bool // check and answer, but record nothing

	// Unchanged, when not 0, is the entry that last wrote the thing about to be
	// changed, as the caller read it; ErrStale when somebody changed it since.
	Unchanged int64

	// Settings, when not 0, is the entry that wrote the settings by which the
	// content was read; ErrUnavailable when others hold by now.
	Settings int64
}

// Longest texts accepted, in bytes.
const (
	maxName   = 200
	maxReason = 2000
	maxEntry  = 1 << 18
)

// futureGrace is how far a typed date may run ahead of the server's clock.
const futureGrace = 5 * time.Minute

// write runs one use case: it recognises a repeated request, lets fn draft the
// entry, checks it and appends it. cmd is the request's content, for promise 5. As a
// store may run fn several times, fn changes nothing outside itself: what it fills in
// of a request it fills in a copy.
func (b *Book) write(ctx context.Context, m Meta, kind Kind, cmd any, fn func(*draft) error) (*Entry, error) {
	if m.Request == (RequestID{}) {
		m.Request = newRequestID()
	}
	w, err := newWish(m, kind, cmd, 0, fn)
	if err != nil {
		return nil, err
	}
	var out *Entry
	err = b.Store.Update(ctx, b.Shop, func(tx Tx) error {
		out = nil
		if old, err := w.granted(tx); err != nil || old != nil {
			out = old
			return err
		}
		d, s, err := w.entry(b, tx)
		if err != nil {
			return err
		}
		out = d.e
		if m.DryRun {
			return cmp.Or(d.leave(d.balance), errDryRun)
		}
		if err := tx.Append(s, d.e); err != nil {
			return err
		}
		return d.leave(tx.Balance)
	})
	if err != nil && !errors.Is(err, errDryRun) {
		return nil, err
	}
	return out, nil
}

func (b *Book) now() time.Time {
	now := time.Now
	if b.Now != nil {
		now = b.Now
	}
	return now().UTC().Truncate(time.Millisecond)
}

func (m Meta) check() error {
	for _, f := range []struct {
		field, value string
		most         int
	}{{"who", m.Who, maxName}, {"device", m.Device, maxName}, {"reason", m.Reason, maxReason}} {
		if err := checkText(f.field, f.value, f.most); err != nil {
			return err
		}
	}
	if !m.Happened.IsZero() && (m.Happened.Year() < 1900 || m.Happened.Year() > 2200) {
		return invalid("BAD_DATE", "happened", m.Happened.Format(time.RFC3339), "must be a date between 1900 and 2200")
	}
	return nil
}

// checkText refuses text that is not UTF-8, too long, or has control characters.
func checkText(field, s string, most int) error {
	if !utf8.ValidString(s) {
		return invalid("NOT_UTF8", field, strings.ToValidUTF8(s, "?"), "must be UTF-8 text")
	}
	if len(s) > most {
		return invalid("TOO_LONG", field, s, fmt.Sprintf("%d bytes; the most is %d", len(s), most))
	}
	for _, r := range s {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7f {
			return invalid("CONTROL_CHARACTER", field, s, "must not contain control characters")
		}
	}
	return nil
}

// newRequestID makes a UUID version 7 of RFC 9562, which begins with the time: ids
// of one moment lie together in a store's index, and a group of writes changes few
// of its pages.
func newRequestID() (r RequestID) {
	rand.Read(r[6:])
	var now [8]byte
	binary.BigEndian.PutUint64(now[:], uint64(time.Now().UnixMilli()))
	copy(r[:6], now[2:])
	r[6], r[8] = r[6]&0x0f|0x70, r[8]&0x3f|0x80
	return r
}

// load reads a record into v.
func load(r Reader, kind RecordKind, id string, v any) (bool, error) {
	rec, found, err := r.Record(kind, id)
	if err != nil || !found {
		return false, err
	}
	return true, rec.Into(v)
}

// Into decodes a record's body.
func (r Record) Into(v any) error {
	if err := json.Unmarshal(r.Body, v); err != nil {
		return corruptf("record %s/%s does not decode: %v", r.Kind, r.ID, err)
	}
	return nil
}

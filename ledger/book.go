package ledger

import (
	"bytes"
	"cmp"
	"context"
	"crypto/rand"
	"crypto/sha256"
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
}

// Book is one shop's book in a store, with the rules of the trade. Its methods
// are the use cases; each write is one entry. A Book is safe for concurrent use.
type Book struct {
	Store  Store
	Shop   string
	Metals Metals
	Now    func() time.Time // the server's clock; nil means time.Now

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

var errDryRun = errors.New("dry run")

// draft is an entry in the making, in a transaction.
type draft struct {
	Tx
	book    *Book
	shop    Shop
	now     time.Time
	e       *Entry
	pending map[Account]Mass
	records map[string]int // kind/id → index in e.Records
	made    map[RecordKind]int64
	expect  int64 // Meta.Unchanged, for the first record drafted
}

// write runs one use case: it recognises a repeated request, lets fn draft the
// entry, checks it and appends it. cmd is the request's content, for promise 5.
func (b *Book) write(ctx context.Context, m Meta, kind Kind, cmd any, fn func(*draft) error) (*Entry, error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	digest, err := contentDigest(kind, m, cmd)
	if err != nil {
		return nil, err
	}
	if m.Request == (RequestID{}) {
		m.Request = newRequestID()
	}
	var out *Entry
	err = b.Store.Update(ctx, b.Shop, func(tx Tx) error {
		out = nil
		if s, found, err := tx.ByRequest(m.Request); err != nil {
			return err
		} else if found {
			old, err := s.Open()
			if err != nil {
				return err
			}
			if old.Digest != digest {
				return &Error{Class: ErrRequestReused, Reason: "REQUEST_ID_REUSED", Field: "request_id",
					Value: m.Request.String(),
					Want:  fmt.Sprintf("was used for entry %d with other content; use a new id for a new fact", old.Seq)}
			}
			out = old
			return nil
		}
		d, err := b.draft(tx, m, kind, digest)
		if err != nil {
			return err
		}
		if err := fn(d); err != nil {
			return err
		}
		s, err := d.seal()
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

// leave notes in the entry what its accounts hold after it.
func (d *draft) leave(balance func(Account) (Mass, error)) (err error) {
	d.e.Left = make(map[Account]Mass, len(d.pending))
	for a := range d.pending {
		if d.e.Left[a], err = balance(a); err != nil {
			return err
		}
	}
	return nil
}

func (b *Book) draft(tx Tx, m Meta, kind Kind, digest [16]byte) (*draft, error) {
	head, err := tx.Head()
	if err != nil {
		return nil, err
	}
	now := b.now()
	if now.Before(head.Recorded) { // the clock went back; recorded time never does
		now = head.Recorded
	}
	d := &draft{
		Tx: tx, book: b, now: now, expect: m.Unchanged,
		pending: map[Account]Mass{}, records: map[string]int{}, made: map[RecordKind]int64{},
		e: &Entry{
			Shop: b.Shop, Seq: head.Seq + 1, Kind: kind, Request: m.Request, Digest: digest,
			Happened: m.Happened.UTC().Truncate(time.Millisecond), Recorded: now,
			Who: m.Who, Device: m.Device, Reason: m.Reason,
		},
	}
	if m.Happened.IsZero() {
		d.e.Happened = now
	}
	if d.e.Happened.Sub(now) > futureGrace {
		d.flag(FlagFutureDate, fmt.Sprintf("it is dated %s, after it is being recorded (%s)",
			d.e.Happened.Format(time.RFC3339), now.Format(time.RFC3339)))
	}
	s, err := b.shop(tx)
	if err != nil && (kind != KindOpenBook || !errors.Is(err, ErrNotFound)) {
		return nil, err
	}
	if m.Settings != 0 && m.Settings != s.Seq {
		return nil, &Error{Class: ErrUnavailable, Reason: "SETTINGS_CHANGED", Want: "the shop's settings were changed just now; send again"}
	}
	d.shop = s.Value
	return d, nil
}

func (b *Book) now() time.Time {
	now := time.Now
	if b.Now != nil {
		now = b.Now
	}
	return now().UTC().Truncate(time.Millisecond)
}

// seal checks the draft against the rules that hold for every entry, and gives
// it its bytes and hash.
func (d *draft) seal() (Sealed, error) {
	var ask []Flag
	for _, f := range d.e.Flags {
		if flagsThatAsk[f.Code] {
			ask = append(ask, f)
		}
	}
	if len(ask) > 0 && strings.TrimSpace(d.e.Reason) == "" {
		return Sealed{}, &Error{Class: ErrNeedsReason, Reason: "NEEDS_REASON", Field: "reason", Flags: ask}
	}
	if len(d.e.Postings) == 0 && len(d.e.Records) == 0 {
		return Sealed{}, invalid("NOTHING_TO_RECORD", "", "", "nothing would change")
	}
	sums := map[Account]Mass{} // "" is metal; a supply item is its own
	for _, p := range d.e.Postings {
		if !p.Account.Valid() {
			return Sealed{}, invalid("BAD_ID", "account", string(p.Account), "not a possible name; use letters, digits and -._")
		}
		var of Account
		if p.Account.CountsSupplies() {
			of = Account(p.Account.Ref())
		}
		sum, err := sums[of].Add(p.Mass)
		if err != nil {
			return Sealed{}, err
		}
		sums[of] = sum
	}
	for of, s := range sums {
		if s != 0 {
			return Sealed{}, fmt.Errorf("postings of a %s entry sum to %d mg, not zero (of %q)", d.e.Kind, s, of)
		}
	}
	for a, change := range d.pending {
		if a.Kind() == InHeat && change < 0 {
			if have, err := d.balance(a); err != nil {
				return Sealed{}, err
			} else if have < 0 {
				d.flag(FlagMoreThanIn, fmt.Sprintf("%s more is booked out of heat %s than was charged", d.words(-have), a.Ref()))
			}
		}
		if !a.HasFloor() {
			continue
		}
		if have, err := d.balance(a); err != nil {
			return Sealed{}, err
		} else if have < 0 {
			return Sealed{}, badState("BELOW_ZERO", "mass", string(a), fmt.Sprintf("would hold %s, less than nothing", d.words(have)))
		}
	}
	raw := Encode(d.e)
	if len(raw) > maxEntry {
		return Sealed{}, invalid("TOO_LARGE", "", "", fmt.Sprintf("an entry of %d bytes; the most is %d", len(raw), maxEntry))
	}
	head, err := d.Head()
	if err != nil {
		return Sealed{}, err
	}
	d.e.Hash = Chain(head.Hash, raw)
	return Sealed{Seq: d.e.Seq, Bytes: raw, Hash: d.e.Hash}, nil
}

// post adds a posting; postings of one account and basis are merged.
func (d *draft) post(a Account, m Mass, basis Basis) {
	if m == 0 {
		return
	}
	d.pending[a] += m
	for i := range d.e.Postings {
		if p := &d.e.Postings[i]; p.Account == a && p.Basis == basis {
			p.Mass += m
			return
		}
	}
	d.e.Postings = append(d.e.Postings, Posting{Account: a, Mass: m, Basis: basis})
}

// move posts m from one account to another.
func (d *draft) move(from, to Account, m Mass, basis Basis) {
	d.post(from, -m, basis)
	d.post(to, m, basis)
}

// balance is what an account will hold after what is drafted so far.
func (d *draft) balance(a Account) (Mass, error) {
	m, err := d.Balance(a)
	return m + d.pending[a], err
}

func (d *draft) flag(code, text string) {
	for _, f := range d.e.Flags {
		if f.Code == code && f.Text == text {
			return
		}
	}
	d.e.Flags = append(d.e.Flags, Flag{Code: code, Text: text})
}

// put drafts the new content of a record.
func (d *draft) put(kind RecordKind, id, parent string, v any) error {
	if !validID(id) {
		return invalid("BAD_ID", string(kind), id, "an id has 1 to 64 letters, digits and -._ and begins with a letter or digit")
	}
	if d.expect != 0 {
		old, found, err := d.Record(kind, id)
		if err != nil {
			return err
		}
		if !found || old.Seq != d.expect {
			return &Error{Class: ErrStale, Reason: "CHANGED_MEANWHILE", Field: "etag", Value: fmt.Sprint(d.expect),
				Want: fmt.Sprintf("%s %s was changed by entry %d since; read it again", kind, id, old.Seq)}
		}
		d.expect = 0
	}
	body, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("record %s/%s: %w", kind, id, err)
	}
	r := Record{Kind: kind, ID: id, Parent: parent, Body: body, Seq: d.e.Seq}
	key := string(kind) + "/" + id
	if i, ok := d.records[key]; ok {
		d.e.Records[i] = r
		return nil
	}
	d.records[key] = len(d.e.Records)
	d.e.Records = append(d.e.Records, r)
	return nil
}

// get loads a record as drafted, or as it stands in the book.
func (d *draft) get(kind RecordKind, id string, v any) (bool, error) {
	if i, ok := d.records[string(kind)+"/"+id]; ok {
		return true, json.Unmarshal(d.e.Records[i].Body, v)
	}
	return load(d.Tx, kind, id, v)
}

// must loads a record that has to exist.
func (d *draft) must(kind RecordKind, field, id string, v any) error {
	if found, err := d.get(kind, id, v); err != nil {
		return err
	} else if !found {
		return notFound(kind, field, id)
	}
	return nil
}

// fresh returns the id for a new record: the chosen one if it is free, or the
// next number, written by format.
func (d *draft) fresh(kind RecordKind, chosen string, format func(n int64) string) (string, error) {
	taken := func(id string) (bool, error) {
		if _, ok := d.records[string(kind)+"/"+id]; ok {
			return true, nil
		}
		_, found, err := d.Record(kind, id)
		return found, err
	}
	if chosen != "" {
		if !validID(chosen) {
			return "", invalid("BAD_ID", string(kind), chosen, "an id has 1 to 64 letters, digits and -._ and begins with a letter or digit")
		}
		if yes, err := taken(chosen); err != nil {
			return "", err
		} else if yes {
			return "", &Error{Class: ErrExists, Reason: "ALREADY_EXISTS", Field: string(kind), Value: chosen, Want: "this id is taken"}
		}
		return chosen, nil
	}
	n, err := d.CountRecords(kind)
	if err != nil {
		return "", err
	}
	for n += d.made[kind] + 1; ; n++ {
		id := format(n)
		if yes, err := taken(id); err != nil {
			return "", err
		} else if !yes {
			d.made[kind]++
			return id, nil
		}
	}
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

// contentDigest tells a repeated request from a reused id: SHA-256 over the kind
// and the JSON of what was asked, cut to 16 bytes.
func contentDigest(kind Kind, m Meta, cmd any) (d [16]byte, err error) {
	content := struct {
		Kind     Kind
		Happened time.Time `json:",omitzero"`
		Reason   string    `json:",omitempty"`
		Cmd      any
	}{kind, m.Happened.UTC(), m.Reason, cmd}
	if m.Happened.IsZero() {
		content.Happened = time.Time{}
	}
	raw, err := json.Marshal(content)
	if err != nil {
		return d, fmt.Errorf("digest of a %s request: %w", kind, err)
	}
	sum := sha256.Sum256(raw)
	copy(d[:], sum[:])
	return d, nil
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

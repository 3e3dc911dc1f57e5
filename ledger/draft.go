package ledger

import (
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"
)

var errDryRun = errors.New("dry run")

// draft is an entry in the making, in a transaction.
type draft struct {
	Tx
	book    *Book
	shop    Shop
	now     time.Time
	e       *Entry
	pending map[Account]Mass
	made    map[RecordKind]int64
	expect  int64  // Meta.Unchanged, for the first record drafted
	old     *Entry // what a reversal takes back
	alloys  alloyNames
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
		pending: map[Account]Mass{}, made: map[RecordKind]int64{},
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
	if err := d.askLongAgo(head.Seq); err != nil {
		return nil, err
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
	d.e.Postings = slices.DeleteFunc(d.e.Postings, func(p Posting) bool { return p.Mass == 0 }) // what came went on
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
	for i := range d.e.Records {
		if err := d.e.write(i); err != nil {
			return Sealed{}, err
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
			want := fmt.Sprintf("%s %s was changed by entry %d since; read it again", kind, id, old.Seq)
			if !found {
				want = fmt.Sprintf("no %s %s is in the book, so it has no etag; leave it out to add one", kind, id)
			}
			return &Error{Class: ErrStale, Reason: "CHANGED_MEANWHILE", Field: "etag", Value: fmt.Sprint(d.expect), Want: want}
		}
		d.expect = 0
	}
	d.keep(Record{Kind: kind, ID: id, Parent: parent}, valueOf(v))
	return nil
}

// keep drafts a record, in the place of one that is drafted already. Its body is
// written when the entry is sealed, unless it has one.
func (d *draft) keep(r Record, content any) {
	r.Seq = d.e.Seq
	if i := d.drafted(r.Kind, r.ID); i >= 0 {
		d.e.Records[i], d.e.content[i] = r, content
		return
	}
	d.e.Records, d.e.content = append(d.e.Records, r), append(d.e.content, content)
}

// drafted finds a record in the entry; -1 when it is not there.
func (d *draft) drafted(kind RecordKind, id string) int {
	return slices.IndexFunc(d.e.Records, func(r Record) bool { return r.ID == id && r.Kind == kind })
}

// get loads a record as drafted, or as it stands in the book.
func (d *draft) get(kind RecordKind, id string, v any) (bool, error) {
	i := d.drafted(kind, id)
	if i < 0 {
		return load(d.Tx, kind, id, v)
	}
	if err := d.e.write(i); err != nil { // the caller may change what it gets
		return true, err
	}
	return true, d.e.Records[i].Into(v)
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
		if d.drafted(kind, id) >= 0 {
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

// back gives the entries about an account, the newest first. A reading that failed is the
// last one, with its error.
func (d *draft) back(of Account) iter.Seq2[*Entry, error] {
	return func(yield func(*Entry, error) bool) {
		for before := int64(0); ; {
			hist, err := d.History(string(of), before, 64)
			if err != nil {
				yield(nil, err)
				return
			}
			for _, s := range hist {
				before = s.Seq
				if e, err := s.Open(); !yield(e, err) || err != nil {
					return
				}
			}
			if len(hist) == 0 {
				return
			}
		}
	}
}

// reversed reports whether an entry was taken back.
func (d *draft) reversed(seq int64) (bool, error) {
	return d.get(RecReversal, fmt.Sprint(seq), &Reversal{})
}

package ledger

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// KindReverse is an entry that takes another back.
const KindReverse Kind = "reverse"

// RecReversal marks an entry as reversed; its id is the entry's number.
const RecReversal RecordKind = "reversal"

// Reversal is the body of a RecReversal record.
type Reversal struct {
	Entry int64 `json:"entry"`
	By    int64 `json:"by"`
}

// ReverseEntry takes an entry back; Meta.Reason says why and must be given.
type ReverseEntry struct{ Entry int64 }

// Reverse records the opposite of an entry. What it changed goes back to what it was; where
// that was changed since it is refused, but for lots, molds and orders, of which its own
// share is taken back. Metal that was used meanwhile cannot be taken out of its lot again: the shortfall
// goes to the lot's count differences and is flagged.
func (b *Book) Reverse(ctx context.Context, m Meta, c ReverseEntry) (*Entry, error) {
	if strings.TrimSpace(m.Reason) == "" {
		return nil, &Error{Class: ErrNeedsReason, Reason: "NEEDS_REASON", Field: "reason",
			Flags: []Flag{{Code: "reversal", Text: "a reversal says why"}}}
	}
	return b.write(ctx, m, KindReverse, c, func(d *draft) error {
		old, err := d.entry(c.Entry)
		if err != nil {
			return err
		}
		switch old.Kind {
		case KindReverse:
			return badState("IS_A_REVERSAL", "entry", fmt.Sprint(c.Entry), "is a reversal itself; record the fact again instead")
		case KindOpenBook:
			return badState("NOT_REVERSIBLE", "entry", fmt.Sprint(c.Entry), "opened the book")
		}
		id := fmt.Sprint(c.Entry)
		if err := old.keepsWhoMay(); err != nil {
			return err
		}
		var done Reversal
		if found, err := d.get(RecReversal, id, &done); err != nil {
			return err
		} else if found {
			return badState("REVERSED_ALREADY", "entry", id, fmt.Sprintf("was reversed by entry %d", done.By))
		}
		d.e.Reverses, d.old = old.Seq, old
		changes, err := d.changes(old)
		if err != nil {
			return err
		}
		for i := range changes {
			if err := d.mayUnput(old, &changes[i]); err != nil {
				return err
			}
		}
		if err := d.unpost(old); err != nil {
			return err
		}
		for _, cost := range old.Costs {
			if old.Kind == KindReceiveOrder { // dealt anew with its order
				break
			}
			cost.Minor = -cost.Minor
			d.e.Costs = append(d.e.Costs, cost)
		}
		for i := range changes {
			if err := d.unput(old, &changes[i]); err != nil {
				return err
			}
		}
		if !d.undid(old) {
			return badState("USED_SINCE", "entry", id, "nothing of it can be taken back: what it says is so by other entries too; say what is so now instead")
		}
		return d.put(RecReversal, id, "", Reversal{Entry: old.Seq, By: d.e.Seq})
	})
}

// undid reports whether the reversal does anything. A count of a supply that found what the
// book said did nothing: only its count is struck.
func (d *draft) undid(old *Entry) bool {
	moves := slices.ContainsFunc(d.e.Postings, func(p Posting) bool { return p.Mass != 0 })
	return moves || len(d.e.Records) > 0 || len(d.e.Costs) > 0 || old.Kind == KindCountSupply
}

// keepsWhoMay refuses to take back who may do what, and what they sign in with: that would
// bring back what was revoked or lowered, sessions from before a password, or leave nobody
// who manages the shop.
func (e *Entry) keepsWhoMay() error {
	for _, r := range e.Records {
		switch r.Kind {
		case RecPerson:
			return badState("NOT_REVERSIBLE", "entry", fmt.Sprint(e.Seq), "is about what "+r.ID+" may do or signs in with; say what holds now instead, with set person, or invite them to set a password")
		case RecToken:
			return badState("NOT_REVERSIBLE", "entry", fmt.Sprint(e.Seq), "is about token "+r.ID+"; end it with token revoke, or make another, instead")
		}
	}
	return nil
}

// entry loads an entry of this book by its number.
func (d *draft) entry(seq int64) (*Entry, error) {
	if seq < 1 || seq >= d.e.Seq {
		return nil, &Error{Class: ErrNotFound, Reason: "NOT_FOUND", Field: "entry", Value: fmt.Sprint(seq), Want: "no entry of this number"}
	}
	log, err := d.Log(seq-1, 1)
	if err != nil {
		return nil, err
	}
	if len(log) != 1 || log[0].Seq != seq {
		return nil, corruptf("entry %d is missing", seq)
	}
	return log[0].Open()
}

// unpost drafts the opposite postings. Accounts of a heat that has moved on
// are replaced by where its metal is now.
func (d *draft) unpost(old *Entry) error {
	for _, p := range old.Postings { // what comes back first, so that it can be taken again
		if p.Mass < 0 {
			a, err := d.giverNow(p.Account)
			if err != nil {
				return err
			}
			d.post(a, -p.Mass, p.Basis)
		}
	}
	for _, p := range old.Postings {
		if p.Mass <= 0 {
			continue
		}
		a, err := d.accountNow(p.Account)
		if err != nil {
			return err
		}
		m := p.Mass
		if a.Kind() == OfLot {
			if err := d.notCleanedSince(a, old); err != nil {
				return err
			}
		}
		if a.HasFloor() {
			have, err := d.balance(a)
			if err != nil {
				return err
			}
			if short := m - max(have, 0); short > 0 {
				var from Account
				switch a.Kind() {
				case OfLot:
					from = Acct(Count, a.Ref())
				case InSupply:
					from = Acct(Supplied, a.Ref())
				default:
					return badState("USED_SINCE", "entry", fmt.Sprint(old.Seq), fmt.Sprintf("%s has been weighed or moved on since; reverse that first", a))
				}
				d.flag(FlagCorrected, fmt.Sprintf("%s of %s had been used already", d.words(short), a))
				d.post(from, -short, ByDifference)
				m -= short
			}
		}
		d.post(a, -m, p.Basis)
	}
	return nil
}

// notCleanedSince refuses to take metal out of a lot again that was cleaned since: what
// was cleaned off it would come back by itself when that is reversed.
func (d *draft) notCleanedSince(lot Account, old *Entry) error {
	later, err := d.standsAfter(lot, old.Seq, KindClean)
	if err != nil || later == 0 {
		return err
	}
	return badState("USED_SINCE", "entry", fmt.Sprint(old.Seq), fmt.Sprintf("lot %s was cleaned since, by entry %d; reverse that first", lot.Ref(), later))
}

// accountNow maps the accounts of a heat in progress to where the heat's metal
// is now: after the pour in its molds, after settlement unaccounted.
func (d *draft) accountNow(a Account) (Account, error) {
	if k := a.Kind(); k != InHeat && k != InMolds && k != Unaccounted {
		return a, nil
	}
	h, err := d.heat("heat", a.Ref())
	if err != nil {
		return "", err
	}
	if d.undoes(RecHeat, h.ID) { // the reversal itself takes the heat back a step
		return a, nil
	}
	switch {
	case h.State == Settled:
		d.flagLate(h, "what it has left unaccounted changes")
		return Acct(Unaccounted, h.ID), nil
	case a.Kind() == Unaccounted:
	case h.State == Late && a.Kind() == InHeat:
		return Acct(InMolds, h.ID), nil
	}
	return a, nil
}

// giverNow is accountNow of what gave metal and gets it back. A casting that was weighed
// since, or is gone, weighs what it was found to: its heat gets it.
func (d *draft) giverNow(a Account) (Account, error) {
	if a.Kind() != OfCasting {
		return d.accountNow(a)
	}
	if d.undoes(RecCasting, a.Ref()) { // the reversal itself takes the casting back a step
		return a, nil
	}
	var k Casting
	if found, err := d.get(RecCasting, a.Ref(), &k); err != nil || !found {
		return a, err
	}
	if k.Stage == AsCast && k.Gone == "" {
		if weighed, err := d.standsAfter(a, d.e.Reverses, KindWeighCasting); err != nil || weighed == 0 {
			return a, err
		}
	}
	return d.accountNow(Acct(InMolds, k.Heat))
}

// standsAfter is the newest entry of a kind about an account that is later than another
// one and was not reversed, or 0.
func (d *draft) standsAfter(a Account, seq int64, kind Kind) (int64, error) {
	for e, err := range d.back(a) {
		if err != nil || e.Seq <= seq {
			return 0, err
		}
		moved := slices.ContainsFunc(e.Postings, func(p Posting) bool { return p.Account == a && p.Mass != 0 })
		if e.Kind != kind || kind == KindClean && !moved { // a cleaning that took nothing off changed nothing
			continue
		}
		if reversed, err := d.reversed(e.Seq); err != nil || !reversed {
			return e.Seq, err
		}
	}
	return 0, nil
}

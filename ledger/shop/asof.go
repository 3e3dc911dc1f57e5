package shop

import (
	"slices"
	"strings"
	"time"

	"example.org/remelt/ledger"
)

// AsOf picks a past moment by one of the two dates an entry has; the zero AsOf
// is now.
type AsOf struct {
	Recorded time.Time // what the book said at this moment
	Happened time.Time // what had happened by this moment, as known today
	through  int64     // what the book said after this entry; 0 for all of it
}

// IsNow reports whether no past moment was asked for.
func (a AsOf) IsNow() bool { return a.Recorded.IsZero() && a.Happened.IsZero() && a.through == 0 }

func (a AsOf) includes(e *ledger.Entry) bool {
	return (a.Recorded.IsZero() || !e.Recorded.After(a.Recorded)) &&
		(a.Happened.IsZero() || !e.Happened.After(a.Happened)) &&
		(a.through == 0 || e.Seq <= a.through)
}

// source is where what a position is made of is read: accounts and records.
type source interface {
	holdings(kind ledger.AccountKind, rec ledger.RecordKind) ([]ledger.Holding, error)
	records(kind ledger.RecordKind, parent string) ([]ledger.Record, error)
	balance(a ledger.Account) (ledger.Mass, error)
	owner(heat string) (string, error) // whose metal it is, which never changes
}

// foldTo is the state of the book at a past moment: the log folded again up to there.
func foldTo(r ledger.Reader, at AsOf) (*folded, error) {
	f := &folded{balances: map[ledger.Account]ledger.Mass{}, recs: map[string]ledger.Record{}}
	return f, eachEntry(r, func(e *ledger.Entry) error {
		if !at.Recorded.IsZero() && e.Recorded.After(at.Recorded) {
			return errStop // recorded dates never go back
		}
		if at.includes(e) {
			f.apply(e)
		}
		return nil
	})
}

type kept struct{ r ledger.Reader }

func (k kept) holdings(kind ledger.AccountKind, rec ledger.RecordKind) (out []ledger.Holding, err error) {
	for after := ""; ; {
		page, err := k.r.Holdings(kind, rec, after, 1000)
		if err != nil {
			return nil, err
		}
		out = append(out, page...)
		if len(page) < 1000 {
			return out, nil
		}
		after = page[len(page)-1].Account.Ref()
	}
}

func (k kept) records(kind ledger.RecordKind, parent string) (out []ledger.Record, err error) {
	for after := ""; ; {
		page, err := k.r.Records(kind, parent, after, 1000)
		if err != nil {
			return nil, err
		}
		out = append(out, page...)
		if len(page) < 1000 {
			return out, nil
		}
		after = page[len(page)-1].ID
	}
}

func (k kept) balance(a ledger.Account) (ledger.Mass, error) { return k.r.Balance(a) }

func (k kept) owner(heat string) (string, error) {
	rec, _, err := k.r.Record(ledger.RecHeat, heat)
	if err != nil {
		return "", err
	}
	return ownerIn(rec)
}

func ownerIn(heat ledger.Record) (string, error) {
	h, err := content(&thing{Record: heat}, &ledger.Heat{})
	if err != nil {
		return "", err
	}
	return h.Owner, nil
}

// folded is a state derived from the log.
type folded struct {
	seq      int64 // the last entry taken in
	balances map[ledger.Account]ledger.Mass
	recs     map[string]ledger.Record
}

func (f *folded) apply(e *ledger.Entry) {
	f.seq = e.Seq
	for _, p := range e.Postings {
		f.balances[p.Account] += p.Mass
	}
	for _, r := range e.Records {
		f.recs[string(r.Kind)+"/"+r.ID] = r
	}
}

func (f *folded) holdings(kind ledger.AccountKind, rec ledger.RecordKind) (out []ledger.Holding, err error) {
	for a, m := range f.balances {
		if a.Kind() == kind && m != 0 {
			out = append(out, ledger.Holding{Account: a, Mass: m, Record: f.recs[string(rec)+"/"+a.Ref()]})
		}
	}
	slices.SortFunc(out, func(a, b ledger.Holding) int { return strings.Compare(string(a.Account), string(b.Account)) })
	return out, nil
}

func (f *folded) records(kind ledger.RecordKind, parent string) (out []ledger.Record, err error) {
	for _, r := range f.recs {
		if r.Kind == kind && (parent == "" || r.Parent == parent) {
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b ledger.Record) int { return strings.Compare(a.ID, b.ID) })
	return out, nil
}

func (f *folded) balance(a ledger.Account) (ledger.Mass, error) { return f.balances[a], nil }

func (f *folded) owner(heat string) (string, error) {
	return ownerIn(f.recs[string(ledger.RecHeat)+"/"+heat])
}

package ledger

import (
	"context"
	"fmt"
	"slices"
)

// MaxPage is the most a list gives at once.
const MaxPage = 1000

// Stamped is a record's content and the entry that last wrote it, which serves
// as its etag.
type Stamped[T any] struct {
	Value T
	Seq   int64
}

// Get reads one thing; ErrNotFound when there is none.
func Get[T any](ctx context.Context, b *Book, kind RecordKind, id string) (s Stamped[T], err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		rec, found, err := r.Record(kind, id)
		if err != nil {
			return err
		}
		if !found {
			if kind == RecLot {
				if err := CheckLotID(id); err != nil {
					return err
				}
			}
			return notFound(kind, string(kind), id)
		}
		s.Seq = rec.Seq
		return rec.Into(&s.Value)
	})
	return s, err
}

// List reads up to limit things of a kind with id > after, ascending by id; of
// one parent ("heat/41") only unless it is "".
func List[T any](ctx context.Context, b *Book, kind RecordKind, parent, after string, limit int) (out []Stamped[T], err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		out = nil
		recs, err := r.Records(kind, parent, after, clampPage(limit))
		if err != nil {
			return err
		}
		for _, rec := range recs {
			s := Stamped[T]{Seq: rec.Seq}
			if err := rec.Into(&s.Value); err != nil {
				return err
			}
			out = append(out, s)
		}
		return nil
	})
	return out, err
}

func clampPage(limit int) int {
	if limit <= 0 || limit > MaxPage {
		return MaxPage
	}
	return limit
}

// OfHeat is the parent under which molds, castings, readings and additions of a
// heat are listed.
func OfHeat(heat string) string { return heatKey(heat) }

// LotView is a lot, what it holds, and its etag.
type LotView struct {
	Lot
	Mass Mass
	Seq  int64
}

// Free is what of the lot is not spoken for.
func (l LotView) Free() Mass { return max(0, l.Mass-l.spoken()) }

// Usable reports whether the lot is clean metal of a known alloy that can be melted now.
func (l LotView) Usable() bool {
	return l.Condition == Clean && l.Alloy != UnknownAlloy && l.Form != Skimmings && !l.Void
}

// GetLot reads a lot.
func (b *Book) GetLot(ctx context.Context, id string) (LotView, error) {
	var v LotView
	err := b.Store.View(ctx, b.Shop, func(r Reader) error {
		rec, found, err := r.Record(RecLot, id)
		if err != nil {
			return err
		}
		if !found {
			if err := CheckLotID(id); err != nil {
				return err
			}
			return notFound(RecLot, "lot", id)
		}
		v.Seq = rec.Seq
		if err := rec.Into(&v.Lot); err != nil {
			return err
		}
		v.Mass, err = r.Balance(Acct(OfLot, id))
		return err
	})
	return v, err
}

// LotQuery narrows a list of lots; empty fields do not.
type LotQuery struct {
	Alloy     string
	Form      Form
	Condition Condition
	Place     string
	Owner     string
	Heat      string // lots with metal of this heat
	Empty     bool   // also lots that hold nothing
	After     string // the last id of the page before
	Limit     int
}

func (q LotQuery) matches(l *Lot) bool {
	return (q.Alloy == "" || q.Alloy == l.Alloy) && (q.Form == "" || q.Form == l.Form) &&
		(q.Condition == "" || q.Condition == l.Condition) && (q.Place == "" || q.Place == l.Place) &&
		(q.Owner == "" || q.Owner == l.Owner) &&
		(q.Heat == "" || slices.Contains(l.Candidates, q.Heat) ||
			slices.ContainsFunc(l.From, func(s Source) bool { return s.Account.Heat() == q.Heat }))
}

// Lots lists lots by ascending id. next is the id after which the list goes on, "" at its
// end; see [Look].
func (b *Book) Lots(ctx context.Context, q LotQuery) (out []LotView, next string, err error) {
	find := lotsHeld
	if q.Empty {
		find = lotsEver
	}
	err = b.Store.View(ctx, b.Shop, func(r Reader) error { out, next, err = find(r, q, clampPage(q.Limit)); return err })
	return out, next, err
}

// lotsHeld finds lots that hold something.
func lotsHeld(r Reader, q LotQuery, limit int) ([]LotView, string, error) {
	return look(q.After, limit,
		func(after string, n int) ([]Holding, error) { return r.Holdings(OfLot, RecLot, after, n) },
		func(h Holding) string { return h.Account.Ref() },
		func(h Holding) (v LotView, kept bool, err error) {
			if h.Record.Body == nil {
				return v, false, corruptf("lot %s holds metal and has no record", h.Account.Ref())
			}
			v.Mass, v.Seq = h.Mass, h.Record.Seq
			err = h.Record.Into(&v.Lot)
			return v, err == nil && q.matches(&v.Lot) && !v.Void, err
		})
}

// lotsEver finds lots, also those that hold nothing any more.
func lotsEver(r Reader, q LotQuery, limit int) ([]LotView, string, error) {
	return look(q.After, limit,
		func(after string, n int) ([]Record, error) { return r.Records(RecLot, "", after, n) },
		func(rec Record) string { return rec.ID },
		func(rec Record) (v LotView, kept bool, err error) {
			v.Seq = rec.Seq
			if err = rec.Into(&v.Lot); err != nil || !q.matches(&v.Lot) {
				return v, false, err
			}
			v.Mass, err = r.Balance(Acct(OfLot, rec.ID))
			return v, true, err
		})
}

// Entry reads one entry.
func (b *Book) Entry(ctx context.Context, seq int64) (e *Entry, err error) {
	es, err := b.Entries(ctx, seq-1, 1)
	if err != nil {
		return nil, err
	}
	if seq < 1 || len(es) == 0 || es[0].Seq != seq {
		return nil, &Error{Class: ErrNotFound, Reason: "NOT_FOUND", Field: "entry", Value: fmt.Sprint(seq), Want: "no entry of this number"}
	}
	return es[0], nil
}

// Entries reads up to limit entries after a number, ascending.
func (b *Book) Entries(ctx context.Context, after int64, limit int) (out []*Entry, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		log, err := r.Log(after, clampPage(limit))
		if err != nil {
			return err
		}
		out, err = openAll(log)
		return err
	})
	return out, err
}

// History reads up to limit entries about a subject ("lot/L1042-3", "heat/41")
// before a number, newest first; before 0 means from the end.
func (b *Book) History(ctx context.Context, subject string, before int64, limit int) (out []*Entry, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		log, err := r.History(subject, before, clampPage(limit))
		if err != nil {
			return err
		}
		out, err = openAll(log)
		return err
	})
	return out, err
}

func openAll(log []Sealed) ([]*Entry, error) {
	out := make([]*Entry, len(log))
	for i, s := range log {
		e, err := s.Open()
		if err != nil {
			return nil, err
		}
		out[i] = e
	}
	return out, nil
}

// HeadOf reads the end of the book.
func (b *Book) HeadOf(ctx context.Context) (h Head, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) (err error) { h, err = r.Head(); return err })
	return h, err
}

// BalanceOf reads an account's balance.
func (b *Book) BalanceOf(ctx context.Context, a Account) (m Mass, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) (err error) { m, err = r.Balance(a); return err })
	return m, err
}

// BalancesOf reads the balances of accounts at one moment.
func (b *Book) BalancesOf(ctx context.Context, all []Account) (held map[Account]Mass, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) error {
		held = make(map[Account]Mass, len(all))
		for _, a := range all {
			if held[a], err = r.Balance(a); err != nil {
				return err
			}
		}
		return nil
	})
	return held, err
}

// ResolveAlloy returns the id and family of an alloy by any of its names.
func (b *Book) ResolveAlloy(ctx context.Context, name string) (id, family string, err error) {
	err = b.Store.View(ctx, b.Shop, func(r Reader) (err error) { id, family, err = b.alloy(r, "alloy", name); return err })
	return id, family, err
}

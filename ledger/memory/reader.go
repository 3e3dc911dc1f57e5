package memory

import (
	"bytes"
	"cmp"
	"slices"
	"strings"

	"example.org/remelt/ledger"
)

// reader answers as of entry n.
type reader struct {
	b *book
	n int64
}

// tx is a reader that moves on with its own appends.
type tx struct {
	reader
	refused error // of the first Append that was refused
}

var _ ledger.Tx = (*tx)(nil)

// Append implements ledger.Tx.
func (t *tx) Append(s ledger.Sealed, e *ledger.Entry) error {
	if t.refused != nil {
		return t.refused
	}
	if err := t.b.append(s, e); err != nil {
		t.refused = err
		return err
	}
	t.n = s.Seq
	return nil
}

func (r *reader) Head() (ledger.Head, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	if r.n == 0 {
		return ledger.Head{}, nil
	}
	return ledger.Head{Seq: r.n, Hash: r.b.log[r.n-1].Hash, Recorded: r.b.recorded[r.n-1]}, nil
}

func (r *reader) Log(after int64, limit int) ([]ledger.Sealed, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	var out []ledger.Sealed
	for seq := max(after, 0) + 1; seq <= r.n && len(out) < limit; seq++ {
		out = append(out, cloneSealed(r.b.log[seq-1]))
	}
	return out, nil
}

func (r *reader) History(subject string, before int64, limit int) ([]ledger.Sealed, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	var out []ledger.Sealed
	for _, t := range slices.Backward(r.b.touches[subject]) {
		if len(out) >= limit {
			break
		}
		if t.since <= r.n && (before == 0 || t.since < before) {
			out = append(out, cloneSealed(r.b.log[t.since-1]))
		}
	}
	return out, nil
}

func (r *reader) ByRequest(id ledger.RequestID) (ledger.Sealed, bool, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	seq, found := r.b.requests.asOf(id, r.n)
	if !found {
		return ledger.Sealed{}, false, nil
	}
	return cloneSealed(r.b.log[seq-1]), true, nil
}

func (r *reader) Balance(a ledger.Account) (ledger.Mass, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	m, _ := r.b.balances.asOf(a, r.n)
	return m, nil
}

func (r *reader) Holdings(kind ledger.AccountKind, withRecord ledger.RecordKind, after string, limit int) ([]ledger.Holding, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	var out []ledger.Holding
	for a := range r.b.balances {
		m, _ := r.b.balances.asOf(a, r.n)
		if a.Kind() != kind || a.Ref() <= after || m == 0 {
			continue
		}
		rec, _ := r.b.records.asOf(recordKey{withRecord, a.Ref()}, r.n)
		out = append(out, ledger.Holding{Account: a, Mass: m, Record: cloneRecord(rec)})
	}
	slices.SortFunc(out, func(x, y ledger.Holding) int { return cmp.Compare(x.Account.Ref(), y.Account.Ref()) })
	return first(out, limit), nil
}

func (r *reader) Record(kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	rec, found := r.b.records.asOf(recordKey{kind, id}, r.n)
	return cloneRecord(rec), found, nil
}

func (r *reader) Records(kind ledger.RecordKind, parent, after string, limit int) ([]ledger.Record, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	var out []ledger.Record
	for key := range r.b.records {
		rec, found := r.b.records.asOf(key, r.n)
		if found && key.kind == kind && key.id > after && (parent == "" || rec.Parent == parent) {
			out = append(out, cloneRecord(rec))
		}
	}
	slices.SortFunc(out, func(x, y ledger.Record) int { return strings.Compare(x.ID, y.ID) })
	return first(out, limit), nil
}

func (r *reader) CountRecords(kind ledger.RecordKind) (int64, error) {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	n, _ := r.b.made.asOf(kind, r.n)
	return n, nil
}

// Kept gathers everything before it calls fn, so that fn may ask the reader.
func (r *reader) Kept(fn func(ledger.Kept) error) error {
	for _, k := range r.kept() {
		if err := fn(k); err != nil {
			return err
		}
	}
	return nil
}

func (r *reader) kept() []ledger.Kept {
	r.b.mu.RLock()
	defer r.b.mu.RUnlock()
	var out []ledger.Kept
	for a := range r.b.balances {
		if m, found := r.b.balances.asOf(a, r.n); found {
			out = append(out, ledger.Kept{Balance: &ledger.KeptBalance{Account: a, Mass: m}})
		}
	}
	for key := range r.b.records {
		if rec, found := r.b.records.asOf(key, r.n); found {
			rec = cloneRecord(rec)
			out = append(out, ledger.Kept{Record: &rec})
		}
	}
	for id := range r.b.requests {
		if seq, found := r.b.requests.asOf(id, r.n); found {
			out = append(out, ledger.Kept{Request: &ledger.KeptRequest{ID: id, Seq: seq}})
		}
	}
	for subject, touches := range r.b.touches {
		for _, t := range touches {
			if t.since <= r.n {
				out = append(out, ledger.Kept{Touch: &ledger.Touch{Subject: subject, Seq: t.since}})
			}
		}
	}
	for kind := range r.b.made {
		if n, found := r.b.made.asOf(kind, r.n); found {
			out = append(out, ledger.Kept{Count: &ledger.KeptCount{Kind: kind, N: n}})
		}
	}
	return out
}

func first[T any](s []T, limit int) []T { return s[:min(len(s), max(limit, 0))] }

func cloneSealed(s ledger.Sealed) ledger.Sealed {
	s.Bytes = bytes.Clone(s.Bytes)
	return s
}

func cloneRecord(r ledger.Record) ledger.Record {
	r.Body = bytes.Clone(r.Body)
	return r
}

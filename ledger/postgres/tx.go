package postgres

import (
	"bytes"
	"errors"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

// tx is one function's part of a group's transaction. Point questions are
// answered from what is known of the book; before a list is read, what was
// appended is written, under a savepoint so that it can be taken back.
type tx struct {
	reader
	d       *draft
	unused  ledger.RequestID // a request id just found not to be used
	saved   bool             // there is a savepoint to go back to
	refused error            // of the first Append that was refused
}

var _ ledger.Tx = (*tx)(nil)

// mostPending bounds what one large transaction keeps in memory.
const mostPending = 4096

// Append implements ledger.Tx.
func (t *tx) Append(s ledger.Sealed, e *ledger.Entry) error {
	if t.refused != nil {
		return t.refused
	}
	err := t.append(s, e)
	if err != nil && t.broken == nil {
		t.refused = err
	}
	return err
}

func (t *tx) append(s ledger.Sealed, e *ledger.Entry) error {
	if err := t.ready(); err != nil {
		return err
	}
	if s.Seq != t.d.head.Seq+1 || e.Seq != s.Seq {
		return ledger.RefuseAppend("entry %d does not follow entry %d", s.Seq, t.d.head.Seq)
	}
	q := questions{}
	for _, p := range e.Postings {
		if !isText(string(p.Account)) {
			return ledger.RefuseAppend("entry %d posts to %q, which is no text", e.Seq, p.Account)
		}
		q.accounts = append(q.accounts, p.Account)
	}
	for _, r := range e.Records {
		if !isText(string(r.Kind), r.ID, r.Parent) {
			return ledger.RefuseAppend("entry %d has the record %q of %q, which is no text", e.Seq, r.ID, r.Parent)
		}
		q.records, q.kinds = append(q.records, recordKey{r.Kind, r.ID}), append(q.kinds, r.Kind)
	}
	used := false
	if e.Request != t.unused {
		q.request = &e.Request
	}
	used, err := t.learn(q)
	if err != nil {
		return err
	}
	if used {
		return ledger.RefuseAppend("request id %s was used before", e.Request)
	}
	t.unused = ledger.RequestID{}
	if err := t.d.add(s, e); err != nil {
		return err
	}
	if len(t.d.pending.entries) >= mostPending {
		return t.write()
	}
	return nil
}

// questions are what is to be known before an entry can be added.
type questions struct {
	accounts []ledger.Account
	records  []recordKey
	kinds    []ledger.RecordKind
	request  *ledger.RequestID
}

// learn reads what of q is not known, in one round trip, and tells whether the
// request id was used.
func (t *tx) learn(q questions) (used bool, err error) {
	known := t.d.book.known
	var b pgx.Batch
	ask := func(query string, args []any, found func(row pgx.Row) error) {
		b.Queue(query, args...).QueryRow(func(row pgx.Row) error {
			if err := found(row); !errors.Is(err, pgx.ErrNoRows) {
				return err
			}
			return nil
		})
	}
	asked := newValues()
	for _, a := range q.accounts {
		if _, ok := t.d.mass(a); ok || has(asked.masses, a) {
			continue
		}
		ask(massOf, []any{t.shop, string(a.Kind()), a.Ref()}, func(row pgx.Row) error {
			var m ledger.Mass
			err := row.Scan(&m)
			known.masses[a] = m
			return err
		})
	}
	for _, k := range q.records {
		if _, ok := t.d.record(k); ok || has(asked.records, k) {
			continue
		}
		ask(currentRecord, []any{t.shop, string(k.kind), k.id}, func(row pgx.Row) error {
			rec := ledger.Record{Kind: k.kind, ID: k.id}
			err := row.Scan(&rec.Parent, &rec.Seq, &rec.Body)
			known.records[k] = rec
			return err
		})
	}
	for _, kind := range q.kinds {
		if _, ok := t.d.made(kind); ok || has(asked.made, kind) {
			continue
		}
		ask(countOf, []any{t.shop, string(kind)}, func(row pgx.Row) error {
			var n int64
			err := row.Scan(&n)
			known.made[kind] = n
			return err
		})
	}
	if q.request != nil {
		if _, used = t.d.request(*q.request); used {
			return true, nil
		}
		ask(`SELECT true FROM entry WHERE shop = $1 AND request = $2`, []any{t.shop, [16]byte(*q.request)}, func(row pgx.Row) error {
			return row.Scan(&used)
		})
	}
	if b.Len() == 0 {
		return false, nil
	}
	return used, t.fault(t.c.SendBatch(t.ctx, &b).Close())
}

// has tells whether a key is in a set, and puts it there.
func has[K comparable, V any](set map[K]V, k K) bool {
	_, there := set[k]
	var zero V
	set[k] = zero
	return there
}

func (t *tx) Head() (ledger.Head, error) { return t.d.head, t.ready() }

func (t *tx) ByRequest(id ledger.RequestID) (ledger.Sealed, bool, error) {
	if s, found := t.d.request(id); found {
		s.Bytes = bytes.Clone(s.Bytes)
		return s, true, t.ready()
	}
	s, found, err := t.reader.ByRequest(id)
	if err == nil && !found {
		t.unused = id
	}
	return s, found, err
}

func (t *tx) Balance(a ledger.Account) (ledger.Mass, error) {
	if err := t.ready(); err != nil || !isText(string(a)) {
		return 0, err
	}
	if _, err := t.learn(questions{accounts: []ledger.Account{a}}); err != nil {
		return 0, err
	}
	m, _ := t.d.mass(a)
	return m, nil
}

func (t *tx) Record(kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	if err := t.ready(); err != nil || !isText(string(kind), id) {
		return ledger.Record{}, false, err
	}
	key := recordKey{kind, id}
	if _, err := t.learn(questions{records: []recordKey{key}}); err != nil {
		return ledger.Record{}, false, err
	}
	r, _ := t.d.record(key)
	if r.Seq == 0 {
		return ledger.Record{}, false, nil
	}
	r.Body = bytes.Clone(r.Body)
	return r, true, nil
}

func (t *tx) CountRecords(kind ledger.RecordKind) (int64, error) {
	if err := t.ready(); err != nil || !isText(string(kind)) {
		return 0, err
	}
	if _, err := t.learn(questions{kinds: []ledger.RecordKind{kind}}); err != nil {
		return 0, err
	}
	n, _ := t.d.made(kind)
	return n, nil
}

// write writes what was appended, so that lists see it: first what others of the
// group appended, which is to stay, then a savepoint, then what this function did.
func (t *tx) write() error {
	if err := t.ready(); err != nil {
		return err
	}
	var b pgx.Batch
	if !t.saved {
		t.d.book.pending.queue(&b, t.shop)
		b.Queue(`SAVEPOINT own`)
	}
	t.d.pending.queue(&b, t.shop)
	if b.Len() == 0 {
		return nil
	}
	if err := t.c.SendBatch(t.ctx, &b).Close(); err != nil {
		return t.fault(err)
	}
	if !t.saved {
		t.d.book.pending.written()
		t.saved = true
	}
	t.d.pending.written()
	return nil
}

func (t *tx) Log(after int64, limit int) ([]ledger.Sealed, error) {
	if err := t.write(); err != nil {
		return nil, err
	}
	return t.reader.Log(after, limit)
}

func (t *tx) History(subject string, before int64, limit int) ([]ledger.Sealed, error) {
	if err := t.write(); err != nil {
		return nil, err
	}
	return t.reader.History(subject, before, limit)
}

func (t *tx) Holdings(kind ledger.AccountKind, withRecord ledger.RecordKind, after string, limit int) ([]ledger.Holding, error) {
	if err := t.write(); err != nil {
		return nil, err
	}
	return t.reader.Holdings(kind, withRecord, after, limit)
}

func (t *tx) Records(kind ledger.RecordKind, parent, after string, limit int) ([]ledger.Record, error) {
	if err := t.write(); err != nil {
		return nil, err
	}
	return t.reader.Records(kind, parent, after, limit)
}

func (t *tx) Kept(fn func(ledger.Kept) error) error {
	if err := t.write(); err != nil {
		return err
	}
	return t.reader.Kept(fn)
}

package postgres

import (
	"bytes"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

// tx is one function's part of a group's transaction. Point questions are
// answered from what is known of the book; before a list is read, what was
// appended is written, under a savepoint so that it can be taken back.
type tx struct {
	reader
	d       *draft
	saved   bool  // there is a savepoint to go back to
	refused error // of the first Append that was refused
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
	if err := texts(e); err != nil {
		return err
	}
	var q questions
	q.before(e)
	if err := t.learn(q); err != nil {
		return err
	}
	if _, used := t.d.request(e.Request); used || t.d.book.used[e.Request] {
		return ledger.RefuseAppend("request id %s was used before", e.Request)
	}
	if err := t.d.add(s, e); err != nil {
		return err
	}
	if len(t.d.pending.entries) >= mostPending {
		return t.write()
	}
	return nil
}

// learn reads what of q is not known, in one round trip.
func (t *tx) learn(q questions) error {
	return t.fault(t.d.book.learn(t.ctx, t.c, t.shop, q))
}

func (t *tx) Head() (ledger.Head, error) { return t.d.head, t.ready() }

func (t *tx) ByRequest(id ledger.RequestID) (ledger.Sealed, bool, error) {
	if s, found := t.d.request(id); found {
		own := s.Sealed
		own.Bytes = bytes.Clone(own.Bytes)
		return own, true, t.ready()
	}
	if err := t.ready(); err != nil {
		return ledger.Sealed{}, false, err
	}
	if err := t.learn(questions{requests: []ledger.RequestID{id}}); err != nil || !t.d.book.used[id] {
		return ledger.Sealed{}, false, err
	}
	return t.reader.ByRequest(id)
}

func (t *tx) Balance(a ledger.Account) (ledger.Mass, error) {
	if err := t.ready(); err != nil || !isText(string(a)) {
		return 0, err
	}
	if err := t.learn(questions{accounts: []ledger.Account{a}}); err != nil {
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
	if err := t.learn(questions{records: []recordKey{key}}); err != nil {
		return ledger.Record{}, false, err
	}
	rec, _ := t.d.record(key)
	r, found := copied(rec)
	return r, found, nil
}

// copied gives a record that may be changed, if there is one.
func copied(r *ledger.Record) (own ledger.Record, found bool) {
	if r == nil {
		return own, false
	}
	own = *r
	own.Body = bytes.Clone(r.Body)
	return own, true
}

func (t *tx) CountRecords(kind ledger.RecordKind) (int64, error) {
	if err := t.ready(); err != nil || !isText(string(kind)) {
		return 0, err
	}
	if err := t.learn(questions{kinds: []ledger.RecordKind{kind}}); err != nil {
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
	t.d.written()
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

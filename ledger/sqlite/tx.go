package sqlite

import (
	"bytes"
	"cmp"
	"context"

	"example.org/remelt/ledger"
)

// tx is one function's part of the writer's transaction. Point questions are
// answered from the book the writer has; before a list is read from the file,
// what was appended is written to it.
type tx struct {
	reader
	b        *book
	unused   ledger.RequestID // a request id just found not to be used
	appended bool             // by this function
	written  bool             // what it appended is in the file and cannot be forgotten
	refused  error            // of the first Append that was refused
}

var _ ledger.Tx = (*tx)(nil)

func newTx(ctx context.Context, c *conn, b *book) *tx {
	return &tx{reader: reader{c: c, ctx: ctx, shop: b.id}, b: b}
}

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
	if head := t.b.head; s.Seq != head.Seq+1 || e.Seq != s.Seq {
		return ledger.RefuseAppend("entry %d does not follow entry %d", s.Seq, head.Seq)
	}
	if e.Request != t.unused {
		if _, used, err := t.ByRequest(e.Request); err != nil {
			return err
		} else if used {
			return ledger.RefuseAppend("request id %s was used before", e.Request)
		}
	}
	t.unused = ledger.RequestID{}
	err := t.b.append(t.c, s, e)
	if t.c.broken {
		return t.fault(cmp.Or(err, errBroken))
	}
	if err != nil {
		return err
	}
	t.appended = true
	if len(t.b.entries) >= mostStaged {
		return t.write()
	}
	return nil
}

// mostStaged bounds what one large transaction keeps in memory.
const mostStaged = 4096

func (t *tx) Head() (ledger.Head, error) { return t.b.head, t.ready() }

func (t *tx) ByRequest(id ledger.RequestID) (ledger.Sealed, bool, error) {
	if i, found := t.b.requests[id]; found {
		s, err := t.staged(i)
		return s, err == nil, err
	}
	var seq int64 // alone: nearly all are not there, and each column of a question costs something
	used, err := t.one(`SELECT seq FROM request WHERE shop = ? AND id = ?`, []any{t.shop, id[:]}, &seq)
	if err != nil {
		return ledger.Sealed{}, false, err
	}
	if !used {
		t.unused = id
		return ledger.Sealed{}, false, nil
	}
	return t.reader.ByRequest(id)
}

// staged returns a copy of an entry that is not written yet.
func (t *tx) staged(i int) (ledger.Sealed, error) {
	s := t.b.entries[i].Sealed
	s.Bytes = append([]byte(nil), s.Bytes...)
	return s, t.ready()
}

func (t *tx) Balance(a ledger.Account) (ledger.Mass, error) {
	n, err := t.name(string(a))
	if err != nil {
		return 0, err
	}
	return ledger.Mass(n.mass), nil
}

func (t *tx) name(name string) (*named, error) {
	if err := t.ready(); err != nil {
		return nil, err
	}
	n, err := t.b.name(t.c, name)
	return n, t.fault(err)
}

func (t *tx) Record(kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	n, err := t.name(recordName(kind, id))
	if err != nil || n.seq == 0 {
		return ledger.Record{}, false, err
	}
	rec := ledger.Record{Kind: kind, ID: id, Parent: n.parent, Seq: n.seq}
	if len(t.b.entries) > 0 && n.seq >= t.b.entries[0].Seq {
		s, err := t.staged(int(n.seq - t.b.entries[0].Seq))
		if err != nil {
			return ledger.Record{}, false, err
		}
		rec.Body = s.Bytes[n.at-1:][:n.size:n.size]
		return rec, true, nil
	}
	if n.body == nil {
		found, err := t.one(`SELECT substr(bytes, ?, ?) FROM entry WHERE id = ?`,
			[]any{n.at, n.size, entryID(t.shop, n.seq)}, &n.body)
		if err == nil && !found {
			err = t.fault(errDamaged("entry %d, which has the record %s, is missing", n.seq, n.name))
		}
		if err != nil {
			return rec, found, err
		}
	}
	rec.Body = bytes.Clone(n.body)
	return rec, true, nil
}

func (t *tx) CountRecords(kind ledger.RecordKind) (int64, error) {
	if err := t.ready(); err != nil {
		return 0, err
	}
	m, err := t.b.count(t.c, kind)
	if err != nil {
		return 0, t.fault(err)
	}
	return m.n, nil
}

// write puts what was appended into the file, where lists are read.
func (t *tx) write() error {
	if err := t.ready(); err != nil {
		return err
	}
	t.written = t.written || t.appended
	return t.fault(t.b.write(t.c))
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

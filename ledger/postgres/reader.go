package postgres

import (
	"context"
	"errors"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

// reader answers from the transaction its connection is in.
type reader struct {
	c       *pgx.Conn
	ctx     context.Context // of the connection
	caller  context.Context // of whoever asks
	shop    string
	broken  error // the first fault of the database; nothing can be trusted after it
	ended   bool
	cursors int // opened so far
}

// end makes a reader that was kept too long useless instead of dangerous.
func (r *reader) end() { r.ended = true }

// ready tells whether a question may be asked.
func (r *reader) ready() error {
	switch {
	case r.ended:
		return unavailable("TRANSACTION_ENDED", nil)
	case r.broken != nil:
		return r.broken
	}
	if err := r.caller.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	return nil
}

// fault remembers and translates an error of the connection. One that asks for
// the transaction to be run again stays visible in it.
func (r *reader) fault(err error) error {
	if err != nil && r.broken == nil {
		r.broken = storeError(err)
	}
	return r.broken
}

func (r *reader) one(query string, args []any, dest ...any) (found bool, err error) {
	if err := r.ready(); err != nil {
		return false, err
	}
	err = r.c.QueryRow(r.ctx, query, args...).Scan(dest...)
	if errors.Is(err, pgx.ErrNoRows) {
		return false, nil
	}
	return err == nil, r.fault(err)
}

// all reads a list.
func all[T any](r *reader, scan pgx.RowToFunc[T], query string, args ...any) ([]T, error) {
	if err := r.ready(); err != nil {
		return nil, err
	}
	rows, err := r.c.Query(r.ctx, query, args...)
	if err != nil {
		return nil, r.fault(err)
	}
	out, err := pgx.CollectRows(rows, scan)
	return out, r.fault(err)
}

const headOf = `SELECT seq, hash, recorded FROM book WHERE shop = $1`

func (r *reader) Head() (h ledger.Head, err error) {
	if !isText(r.shop) {
		return h, r.ready()
	}
	_, err = r.one(headOf, []any{r.shop}, headScan(&h)...)
	return h, err
}

func (r *reader) Log(after int64, limit int) ([]ledger.Sealed, error) {
	return r.sealed(`SELECT seq, bytes, hash FROM entry WHERE shop = $1 AND seq > $2 ORDER BY seq LIMIT $3`,
		r.shop, after, max(limit, 0))
}

func (r *reader) History(subject string, before int64, limit int) ([]ledger.Sealed, error) {
	if !isText(subject) {
		return nil, r.ready()
	}
	if before == 0 {
		before = 1<<63 - 1
	}
	return r.sealed(`SELECT e.seq, e.bytes, e.hash FROM touch t JOIN entry e ON e.shop = t.shop AND e.seq = t.seq
		WHERE t.shop = $1 AND t.subject = $2 AND t.seq < $3 ORDER BY t.seq DESC LIMIT $4`,
		r.shop, subject, before, max(limit, 0))
}

func (r *reader) sealed(query string, args ...any) ([]ledger.Sealed, error) {
	if !isText(r.shop) {
		return nil, r.ready()
	}
	return all(r, func(row pgx.CollectableRow) (s ledger.Sealed, err error) {
		err = row.Scan(&s.Seq, &s.Bytes, hashScan{&s.Hash})
		return s, err
	}, query, args...)
}

const byRequest = `SELECT seq, bytes, hash FROM entry WHERE shop = $1 AND request = $2`

func (r *reader) ByRequest(id ledger.RequestID) (s ledger.Sealed, found bool, err error) {
	if !isText(r.shop) {
		return s, false, r.ready()
	}
	found, err = r.one(byRequest, []any{r.shop, [16]byte(id)}, &s.Seq, &s.Bytes, hashScan{&s.Hash})
	return s, found, err
}

const massOf = `SELECT mass FROM account WHERE shop = $1 AND kind = $2 AND ref = $3`

func (r *reader) Balance(a ledger.Account) (m ledger.Mass, err error) {
	if !isText(r.shop, string(a)) {
		return 0, r.ready()
	}
	_, err = r.one(massOf, []any{r.shop, string(a.Kind()), a.Ref()}, &m)
	return m, err
}

func (r *reader) Holdings(kind ledger.AccountKind, withRecord ledger.RecordKind, after string, limit int) ([]ledger.Holding, error) {
	if !isText(r.shop, string(kind), string(withRecord)) {
		return nil, r.ready()
	}
	return all(r, func(row pgx.CollectableRow) (h ledger.Holding, err error) {
		var ref string
		var parent *string
		var seq *int64
		if err := row.Scan(&ref, &h.Mass, &parent, &seq, &h.Record.Body); err != nil {
			return h, err
		}
		h.Account = ledger.Acct(kind, ref)
		if seq != nil {
			h.Record.Kind, h.Record.ID, h.Record.Parent, h.Record.Seq = withRecord, ref, *parent, *seq
		}
		return h, nil
	}, `SELECT a.ref, a.mass, r.parent, r.seq, r.body FROM account a
		LEFT JOIN record r ON r.shop = a.shop AND r.kind = $3 AND r.id = a.ref
		WHERE a.shop = $1 AND a.kind = $2 AND a.ref > $4 AND a.holds ORDER BY a.ref LIMIT $5`,
		r.shop, string(kind), string(withRecord), asText(after), max(limit, 0))
}

const currentRecord = `SELECT parent, seq, body FROM record WHERE shop = $1 AND kind = $2 AND id = $3`

func (r *reader) Record(kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	if !isText(r.shop, string(kind), id) {
		return ledger.Record{}, false, r.ready()
	}
	rec := ledger.Record{Kind: kind, ID: id}
	found, err := r.one(currentRecord, []any{r.shop, string(kind), id}, &rec.Parent, &rec.Seq, &rec.Body)
	if !found || err != nil {
		return ledger.Record{}, false, err
	}
	return rec, true, nil
}

func (r *reader) Records(kind ledger.RecordKind, parent, after string, limit int) ([]ledger.Record, error) {
	if !isText(r.shop, string(kind), parent) {
		return nil, r.ready()
	}
	query := `SELECT id, parent, seq, body FROM record WHERE shop = $1 AND kind = $2 AND id > $3 ORDER BY id LIMIT $4`
	args := []any{r.shop, string(kind), asText(after), max(limit, 0)}
	if parent != "" {
		query = `SELECT id, parent, seq, body FROM record
			WHERE shop = $1 AND kind = $2 AND id > $3 AND parent = $5 AND parent <> '' ORDER BY id LIMIT $4`
		args = append(args, parent)
	}
	return all(r, func(row pgx.CollectableRow) (ledger.Record, error) {
		rec := ledger.Record{Kind: kind}
		err := row.Scan(&rec.ID, &rec.Parent, &rec.Seq, &rec.Body)
		return rec, err
	}, query, args...)
}

const countOf = `SELECT n FROM made WHERE shop = $1 AND kind = $2`

func (r *reader) CountRecords(kind ledger.RecordKind) (n int64, err error) {
	if !isText(r.shop, string(kind)) {
		return 0, r.ready()
	}
	_, err = r.one(countOf, []any{r.shop, string(kind)}, &n)
	return n, err
}

// isText tells whether the database can hold strings as texts. Under one that
// it cannot hold there is nothing.
func isText(all ...string) bool {
	for _, s := range all {
		if strings.IndexByte(s, 0) >= 0 || !utf8.ValidString(s) {
			return false
		}
	}
	return true
}

// asText returns a text that has the same texts after it as s has.
func asText(s string) string {
	for i, c := range s {
		if c == 0 {
			return s[:i]
		}
		if _, size := utf8.DecodeRuneInString(s[i:]); c == utf8.RuneError && size == 1 {
			return s[:i] + string(utf8.MaxRune)
		}
	}
	return s
}

// headScan gives what a head's columns are scanned into.
func headScan(h *ledger.Head) []any { return []any{&h.Seq, hashScan{&h.Hash}, timeScan{&h.Recorded}} }

// hashScan scans 32 bytes into a hash.
type hashScan struct{ h *ledger.Hash }

// ScanBytes implements pgtype.BytesScanner.
func (s hashScan) ScanBytes(b []byte) error {
	if b != nil && len(b) != len(s.h) {
		return errDamaged("a hash of %d bytes", len(b))
	}
	copy(s.h[:], b)
	return nil
}

// timeScan scans a moment in UTC; none is the zero time.
type timeScan struct{ t *time.Time }

// Scan implements sql.Scanner.
func (s timeScan) Scan(v any) error {
	switch v := v.(type) {
	case nil:
		*s.t = time.Time{}
	case time.Time:
		*s.t = v.UTC()
	default:
		return errDamaged("a %T where a moment should be", v)
	}
	return nil
}

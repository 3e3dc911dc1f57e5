package sqlite

import (
	"context"
	"errors"
	"strings"

	"example.org/remelt/ledger"
)

// reader answers from the transaction its connection is in.
type reader struct {
	c      *conn
	ctx    context.Context
	shop   int64 // 0 when the shop has no entry: nothing is found under it
	broken error // the first fault of the file; nothing can be trusted after it
	ended  bool
	window int64 // of numbers that verifying knows the names of at a time, in tests
}

func (r *reader) open(shop string) error {
	_, err := r.c.one(`SELECT id FROM shop WHERE name = ?`, []any{shop}, &r.shop)
	return r.fault(err)
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
	if err := r.ctx.Err(); err != nil {
		return unavailable("CANCELLED", err)
	}
	return nil
}

// fault remembers and translates an error of the connection.
func (r *reader) fault(err error) error {
	if err != nil && r.broken == nil {
		r.broken = storeError(err)
	}
	return r.broken
}

func (r *reader) one(query string, args []any, dest ...any) (bool, error) {
	if err := r.ready(); err != nil {
		return false, err
	}
	found, err := r.c.one(query, args, dest...)
	return found, r.fault(err)
}

// all calls scan for each row.
func (r *reader) all(query string, args []any, scan func(*cursor) error) error {
	if err := r.ready(); err != nil {
		return err
	}
	rows, err := r.c.query(query, args...)
	if err == nil {
		err = scanAll(rows, func() error { return scan(rows) })
	}
	if errors.Is(err, errStop) {
		return err
	}
	return r.fault(err)
}

// errStop ends a scan for the caller's reasons; the file is sound.
var errStop = errors.New("stop")

func (r *reader) Head() (ledger.Head, error) {
	if err := r.ready(); err != nil {
		return ledger.Head{}, err
	}
	h, err := readHead(r.c, r.shop)
	if err != nil && !r.c.broken { // an entry that was changed: which one, the log shows
		return ledger.Head{}, err
	}
	return h, r.fault(err)
}

func readHead(c *conn, shop int64) (h ledger.Head, err error) {
	var canonical []byte
	found, err := c.one(`SELECT id & 0xffffffffff, bytes, hash FROM entry WHERE id BETWEEN ? AND ? ORDER BY id DESC LIMIT 1`,
		[]any{entryID(shop, 1), entryID(shop, mostEntries)}, &h.Seq, &canonical, hashScan{&h.Hash})
	if !found || err != nil {
		return ledger.Head{}, err
	}
	e, err := ledger.Decode(canonical)
	if err != nil {
		return ledger.Head{}, err
	}
	h.Recorded = e.Recorded
	return h, nil
}

func (r *reader) Log(after int64, limit int) ([]ledger.Sealed, error) {
	return r.sealed(`SELECT id & 0xffffffffff, bytes, hash FROM entry WHERE id > ? AND id <= ? ORDER BY id LIMIT ?`,
		entryID(r.shop, min(max(after, 0), mostEntries)), entryID(r.shop, mostEntries), max(limit, 0))
}

func (r *reader) History(subject string, before int64, limit int) ([]ledger.Sealed, error) {
	if before == 0 {
		before = 1<<63 - 1
	}
	return r.sealed(`SELECT t.seq, e.bytes, e.hash FROM touch t CROSS JOIN entry e ON e.id = t.shop << 40 | t.seq
		WHERE t.shop = ?1 AND t.name = (SELECT id FROM name WHERE shop = ?1 AND name = ?2) AND t.seq < ?3
		ORDER BY t.seq DESC LIMIT ?4`, r.shop, subject, before, max(limit, 0))
}

func (r *reader) sealed(query string, args ...any) (out []ledger.Sealed, err error) {
	err = r.all(query, args, func(rows *cursor) error {
		var s ledger.Sealed
		err := rows.Scan(&s.Seq, &s.Bytes, hashScan{&s.Hash})
		out = append(out, s)
		return err
	})
	return out, err
}

func (r *reader) ByRequest(id ledger.RequestID) (s ledger.Sealed, found bool, err error) {
	found, err = r.one(`SELECT q.seq, e.bytes, e.hash FROM request q CROSS JOIN entry e ON e.id = q.shop << 40 | q.seq
		WHERE q.shop = ? AND q.id = ?`, []any{r.shop, id[:]}, &s.Seq, &s.Bytes, hashScan{&s.Hash})
	return s, found, err
}

func (r *reader) Balance(a ledger.Account) (ledger.Mass, error) {
	var m int64
	_, err := r.one(`SELECT ifnull(mass, 0) FROM name WHERE shop = ? AND name = ?`, []any{r.shop, string(a)}, &m)
	return ledger.Mass(m), err
}

// mostEntries is how many entries a shop's book has room for.
const mostEntries = 1<<40 - 1

// entryID is the key of an entry. Shops are counted from 1.
func entryID(shop, seq int64) int64 { return shop<<40 | seq }

// body selects the body of a name's record; the entry is e, the name n.
const body = `substr(e.bytes, n.at, n.size)`

func (r *reader) Holdings(kind ledger.AccountKind, withRecord ledger.RecordKind, after string, limit int) (out []ledger.Holding, err error) {
	prefix := string(kind) + "/"
	err = r.all(`SELECT a.name, a.mass, n.parent, n.seq, `+body+`
		FROM name a INDEXED BY name_holding LEFT JOIN name n ON n.shop = a.shop AND n.name = ?2 || substr(a.name, ?3) AND n.seq IS NOT NULL
		LEFT JOIN entry e ON e.id = n.shop << 40 | n.seq
		WHERE a.shop = ?1 AND a.name > ?4 AND a.name < ?5 AND a.holds = 1 ORDER BY a.name LIMIT ?6`,
		[]any{r.shop, string(withRecord), len(prefix), prefix + after, afterAll(prefix), max(limit, 0)},
		func(rows *cursor) error {
			var h ledger.Holding
			var account string // plain types: for others Scan goes through reflection
			var mass int64
			var parent nullText
			var seq nullInt
			if err := rows.Scan(&account, &mass, &parent, &seq, &h.Record.Body); err != nil {
				return err
			}
			h.Account, h.Mass = ledger.Account(account), ledger.Mass(mass)
			if seq.valid {
				h.Record.Kind, h.Record.ID = withRecord, account[len(prefix):]
				h.Record.Parent, h.Record.Seq = string(parent), seq.v
			}
			out = append(out, h)
			return nil
		})
	return out, err
}

func (r *reader) Record(kind ledger.RecordKind, id string) (ledger.Record, bool, error) {
	rec := ledger.Record{Kind: kind, ID: id}
	var parent nullText
	found, err := r.one(`SELECT n.parent, n.seq, `+body+` FROM name n CROSS JOIN entry e ON e.id = n.shop << 40 | n.seq
		WHERE n.shop = ? AND n.name = ?`, []any{r.shop, recordName(kind, id)}, &parent, &rec.Seq, &rec.Body)
	if !found || err != nil {
		return ledger.Record{}, false, err
	}
	rec.Parent = string(parent)
	return rec, true, nil
}

// Records of a kind, and those of one parent. Left to itself SQLite goes through all of
// the kind for a parent's too.
const (
	records = `SELECT n.name, n.parent, n.seq, ` + body + ` FROM name n CROSS JOIN entry e ON e.id = n.shop << 40 | n.seq
		WHERE n.shop = ?1 AND n.name > ?2 AND n.name < ?3 ORDER BY n.name LIMIT ?4`
	recordsOfParent = `SELECT n.name, n.parent, n.seq, ` + body + ` FROM name n INDEXED BY name_of_parent CROSS JOIN entry e ON e.id = n.shop << 40 | n.seq
		WHERE n.shop = ?1 AND n.name > ?2 AND n.name < ?3 AND n.parent = ?5 ORDER BY n.name LIMIT ?4`
)

func (r *reader) Records(kind ledger.RecordKind, parent, after string, limit int) (out []ledger.Record, err error) {
	prefix := recordName(kind, "")
	query, args := records, []any{r.shop, prefix + after, afterAll(prefix), max(limit, 0)}
	if parent != "" {
		query, args = recordsOfParent, append(args, parent)
	}
	err = r.all(query, args, func(rows *cursor) error {
		rec, err := scanRecord(rows)
		out = append(out, rec)
		return err
	})
	return out, err
}

func scanRecord(rows *cursor) (rec ledger.Record, err error) {
	var name string
	var parent nullText
	err = rows.Scan(&name, &parent, &rec.Seq, &rec.Body)
	kind, id, _ := strings.Cut(name, "/")
	rec.Kind, rec.ID, rec.Parent = ledger.RecordKind(kind), id, string(parent)
	return rec, err
}

func (r *reader) CountRecords(kind ledger.RecordKind) (n int64, err error) {
	_, err = r.one(`SELECT n FROM made WHERE shop = ? AND kind = ?`, []any{r.shop, string(kind)}, &n)
	return n, err
}

func recordName(kind ledger.RecordKind, id string) string { return string(kind) + "/" + id }

// afterAll returns the first string after all that begin with prefix, which
// ends in a slash.
func afterAll(prefix string) string { return prefix[:len(prefix)-1] + string('/'+1) }

// hashScan scans 32 bytes into a hash.
type hashScan struct{ h *ledger.Hash }

func (s hashScan) Scan(v any) error {
	b, _ := v.([]byte)
	if len(b) != len(s.h) {
		return errDamaged("a hash of %d bytes", len(b))
	}
	copy(s.h[:], b)
	return nil
}

package postgres

import (
	"context"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

// questions are what is to be known of a book.
type questions struct {
	accounts []ledger.Account
	records  []recordKey
	kinds    []ledger.RecordKind
	requests []ledger.RequestID
}

// before adds what is to be known before an entry can be added.
func (q *questions) before(e *ledger.Entry) {
	for _, p := range e.Postings {
		q.accounts = append(q.accounts, p.Account)
	}
	for _, r := range e.Records {
		q.records, q.kinds = append(q.records, recordKey{r.Kind, r.ID}), append(q.kinds, r.Kind)
	}
	q.requests = append(q.requests, e.Request)
}

func (q *questions) add(more questions) {
	q.accounts, q.records = append(q.accounts, more.accounts...), append(q.records, more.records...)
	q.kinds, q.requests = append(q.kinds, more.kinds...), append(q.requests, more.requests...)
}

// texts refuses an entry with a name that the database cannot hold.
func texts(e *ledger.Entry) error {
	for _, p := range e.Postings {
		if !isText(string(p.Account)) {
			return ledger.RefuseAppend("entry %d posts to %q, which is no text", e.Seq, p.Account)
		}
	}
	for _, r := range e.Records {
		if !isText(string(r.Kind), r.ID, r.Parent) {
			return ledger.RefuseAppend("entry %d has the record %q of %q, which is no text", e.Seq, r.ID, r.Parent)
		}
	}
	return nil
}

// Each question is asked of any number of names at once: a statement costs much
// more than a row. LATERAL with LIMIT keeps it one look into the index for each.
// Without the limit it is a join like any other, and the planner reads the whole
// table as soon as some names are asked for, which leaves traces everywhere for
// others to be in conflict with.
const (
	massesOf = `SELECT q.kind, q.ref, a.mass FROM unnest($2::text[], $3::text[]) AS q (kind, ref)
		CROSS JOIN LATERAL (SELECT mass FROM account WHERE shop = $1 AND kind = q.kind AND ref = q.ref LIMIT 1) a`
	recordsOf = `SELECT q.kind, q.id, r.parent, r.seq, r.body FROM unnest($2::text[], $3::text[]) AS q (kind, id)
		CROSS JOIN LATERAL (SELECT parent, seq, body FROM record WHERE shop = $1 AND kind = q.kind AND id = q.id LIMIT 1) r`
	countsOf = `SELECT q.kind, m.n FROM unnest($2::text[]) AS q (kind)
		CROSS JOIN LATERAL (SELECT n FROM made WHERE shop = $1 AND kind = q.kind LIMIT 1) m`
	usedOf = `SELECT q.id FROM unnest($2::uuid[]) AS q (id)
		CROSS JOIN LATERAL (SELECT FROM entry WHERE shop = $1 AND request = q.id LIMIT 1) e`
)

// knows tells whether all of q is known, as it nearly always is after a rehearsal.
func (b *book) knows(q questions) bool {
	return hasAll(q.accounts, b.known.masses) && hasAll(q.records, b.known.records) && hasAll(q.kinds, b.known.made) &&
		!slices.ContainsFunc(q.requests, func(id ledger.RequestID) bool { return !b.knowsRequest(id) })
}

func (b *book) knowsRequest(id ledger.RequestID) bool {
	_, here := b.requests[id]
	_, known := b.used[id]
	return here || known
}

// learn reads what of q is not known, in one round trip.
func (b *book) learn(ctx context.Context, c *pgx.Conn, shop string, q questions) error {
	if b.knows(q) {
		return nil
	}
	var batch pgx.Batch
	a := b.ask(&batch, shop, q)
	b.asks++
	if err := c.SendBatch(ctx, &batch).Close(); err != nil {
		return err
	}
	b.hear(a)
	return nil
}

// answers are what was read of a book.
type answers struct {
	values
	used map[ledger.RequestID]bool
}

// hear makes answers part of what is known.
func (b *book) hear(a answers) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.known.add(a.values)
	maps.Copy(b.used, a.used)
}

// ask queues the questions of q that the book does not answer. The answers are there
// when the batch was sent.
func (b *book) ask(batch *pgx.Batch, shop string, q questions) answers {
	got, used := newValues(), map[ledger.RequestID]bool{}
	ask := func(query string, scan func(rows pgx.Rows) error, args ...any) {
		batch.Queue(query, append([]any{shop}, args...)...).Query(func(rows pgx.Rows) error {
			for rows.Next() {
				if err := scan(rows); err != nil {
					return err
				}
			}
			return rows.Err()
		})
	}
	var kinds, names []string
	for _, a := range q.accounts {
		if _, known := b.known.masses[a]; !known && !has(got.masses, a) {
			kinds, names = append(kinds, string(a.Kind())), append(names, a.Ref())
		}
	}
	if len(names) > 0 {
		ask(massesOf, func(rows pgx.Rows) error {
			var kind, ref string
			var m ledger.Mass
			err := rows.Scan(&kind, &ref, &m)
			got.masses[ledger.Acct(ledger.AccountKind(kind), ref)] = m
			return err
		}, kinds, names)
	}
	kinds, names = nil, nil
	for _, k := range q.records {
		if _, known := b.known.records[k]; !known && !has(got.records, k) {
			kinds, names = append(kinds, string(k.kind)), append(names, k.id)
		}
	}
	if len(names) > 0 {
		ask(recordsOf, func(rows pgx.Rows) error {
			var kind string
			rec := &ledger.Record{}
			err := rows.Scan(&kind, &rec.ID, &rec.Parent, &rec.Seq, &rec.Body)
			rec.Kind = ledger.RecordKind(kind)
			got.records[recordKey{rec.Kind, rec.ID}] = rec
			return err
		}, kinds, names)
	}
	kinds = nil
	for _, kind := range q.kinds {
		if _, known := b.known.made[kind]; !known && !has(got.made, kind) {
			kinds = append(kinds, string(kind))
		}
	}
	if len(kinds) > 0 {
		ask(countsOf, func(rows pgx.Rows) error {
			var kind string
			var n int64
			err := rows.Scan(&kind, &n)
			got.made[ledger.RecordKind(kind)] = n
			return err
		}, kinds)
	}
	var ids [][16]byte
	for _, id := range q.requests {
		if !b.knowsRequest(id) && !has(used, id) {
			ids = append(ids, id)
		}
	}
	if len(ids) > 0 {
		ask(usedOf, func(rows pgx.Rows) error {
			var id [16]byte
			err := rows.Scan(&id)
			used[id] = true
			return err
		}, ids)
	}
	return answers{got, used}
}

// has tells whether a key is in a map, and puts it there.
func has[K comparable, V any](m map[K]V, k K) bool {
	_, there := m[k]
	if !there {
		var zero V
		m[k] = zero
	}
	return there
}

// hasAll tells whether all keys are in a map.
func hasAll[K comparable, V any](keys []K, m map[K]V) bool {
	for _, k := range keys {
		if _, there := m[k]; !there {
			return false
		}
	}
	return true
}

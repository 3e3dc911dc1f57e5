package postgres

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
)

// queue adds the statements that write the rows, one for each table: a
// statement costs much more than a row. Each table is written in the order of
// its key.
func (r *rows) queue(b *pgx.Batch, shop string) {
	r.queueLog(b, shop)
	if masses := r.changed.masses; len(masses) > 0 {
		accounts := slices.Sorted(maps.Keys(masses))
		n := len(accounts)
		kinds, refs, milligrams := make([]string, n), make([]string, n), make([]int64, n)
		for i, a := range accounts {
			kinds[i], refs[i], milligrams[i] = string(a.Kind()), a.Ref(), int64(masses[a])
		}
		b.Queue(`INSERT INTO account (shop, kind, ref, mass, holds)
			SELECT $1, kind, ref, mass, mass <> 0 FROM unnest($2::text[], $3::text[], $4::bigint[]) AS new (kind, ref, mass)
			ON CONFLICT (shop, kind, ref) DO UPDATE SET mass = excluded.mass, holds = excluded.holds`, shop, kinds, refs, milligrams)
	}
	if records := r.changed.records; len(records) > 0 {
		keys := slices.SortedFunc(maps.Keys(records), func(x, y recordKey) int {
			return cmp.Or(strings.Compare(string(x.kind), string(y.kind)), strings.Compare(x.id, y.id))
		})
		n := len(keys)
		kinds, ids, parents := make([]string, n), make([]string, n), make([]string, n)
		seqs, bodies := make([]int64, n), make([][]byte, n)
		for i, k := range keys {
			rec := records[k]
			kinds[i], ids[i], parents[i], seqs[i], bodies[i] = string(k.kind), k.id, rec.Parent, rec.Seq, rec.Body
		}
		b.Queue(`INSERT INTO record (shop, kind, id, parent, seq, body)
			SELECT $1, * FROM unnest($2::text[], $3::text[], $4::text[], $5::bigint[], $6::bytea[])
			ON CONFLICT (shop, kind, id) DO UPDATE SET parent = excluded.parent, seq = excluded.seq, body = excluded.body`,
			shop, kinds, ids, parents, seqs, bodies)
	}
	if made := r.changed.made; len(made) > 0 {
		var kinds []string
		var counts []int64
		for _, kind := range slices.Sorted(maps.Keys(made)) {
			kinds, counts = append(kinds, string(kind)), append(counts, made[kind])
		}
		b.Queue(`INSERT INTO made (shop, kind, n) SELECT $1, * FROM unnest($2::text[], $3::bigint[])
			ON CONFLICT (shop, kind) DO UPDATE SET n = excluded.n`, shop, kinds, counts)
	}
}

// queueLog adds the statements that write entries and what they are about.
func (r *rows) queueLog(b *pgx.Batch, shop string) {
	if len(r.entries) == 0 {
		return
	}
	n := len(r.entries)
	seqs, requests, hashes, bytes := make([]int64, n), make([][16]byte, n), make([][]byte, n), make([][]byte, n)
	for i, s := range r.entries {
		seqs[i], requests[i], hashes[i], bytes[i] = s.Seq, s.request, s.Hash[:], s.Bytes
	}
	b.Queue(`INSERT INTO entry (shop, seq, request, hash, bytes)
		SELECT $1, * FROM unnest($2::bigint[], $3::uuid[], $4::bytea[], $5::bytea[])`, shop, seqs, requests, hashes, bytes)

	slices.SortFunc(r.touches, func(x, y ledger.Touch) int {
		return cmp.Or(strings.Compare(x.Subject, y.Subject), cmp.Compare(x.Seq, y.Seq))
	})
	subjects, seqs := make([]string, len(r.touches)), make([]int64, len(r.touches))
	for i, t := range r.touches {
		subjects[i], seqs[i] = t.Subject, t.Seq
	}
	if len(subjects) > 0 {
		b.Queue(`INSERT INTO touch (shop, subject, seq) SELECT $1, * FROM unnest($2::text[], $3::bigint[])`, shop, subjects, seqs)
	}
}

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
		var kinds, refs []string
		var milligrams []int64
		for _, a := range accounts {
			kinds, refs = append(kinds, string(a.Kind())), append(refs, a.Ref())
			milligrams = append(milligrams, int64(masses[a]))
		}
		b.Queue(`INSERT INTO account (shop, kind, ref, mass, holds)
			SELECT $1, kind, ref, mass, mass <> 0 FROM unnest($2::text[], $3::text[], $4::bigint[]) AS new (kind, ref, mass)
			ON CONFLICT (shop, kind, ref) DO UPDATE SET mass = excluded.mass, holds = excluded.holds`, shop, kinds, refs, milligrams)
	}
	if records := r.changed.records; len(records) > 0 {
		keys := slices.SortedFunc(maps.Keys(records), func(x, y recordKey) int {
			return cmp.Or(strings.Compare(string(x.kind), string(y.kind)), strings.Compare(x.id, y.id))
		})
		var kinds, ids, parents []string
		var seqs []int64
		var bodies [][]byte
		for _, k := range keys {
			rec := records[k]
			kinds, ids, parents = append(kinds, string(k.kind)), append(ids, k.id), append(parents, rec.Parent)
			seqs, bodies = append(seqs, rec.Seq), append(bodies, rec.Body)
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
	var seqs []int64
	var requests [][16]byte
	var hashes, bytes [][]byte
	for i := range r.entries {
		s := &r.entries[i]
		seqs, requests = append(seqs, s.Seq), append(requests, s.request)
		hashes, bytes = append(hashes, s.Hash[:]), append(bytes, s.Bytes)
	}
	b.Queue(`INSERT INTO entry (shop, seq, request, hash, bytes)
		SELECT $1, * FROM unnest($2::bigint[], $3::uuid[], $4::bytea[], $5::bytea[])`, shop, seqs, requests, hashes, bytes)

	slices.SortFunc(r.touches, func(x, y ledger.Touch) int {
		return cmp.Or(strings.Compare(x.Subject, y.Subject), cmp.Compare(x.Seq, y.Seq))
	})
	var subjects []string
	seqs = nil
	for _, t := range r.touches {
		subjects, seqs = append(subjects, t.Subject), append(seqs, t.Seq)
	}
	if len(subjects) > 0 {
		b.Queue(`INSERT INTO touch (shop, subject, seq) SELECT $1, * FROM unnest($2::text[], $3::bigint[])`, shop, subjects, seqs)
	}
}

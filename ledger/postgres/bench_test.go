package postgres

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/postgres/postgrestest"
	"example.org/remelt/ledger/storetest"
)

// A shop's load is written two ways: raw (the rows of a group by one statement a
// table, from arrays, in one round trip with the commit, by somebody who knows
// everything beforehand, locks and reads nothing) and by the store, from as many
// clients as a group has entries. They take turns, a slice of the load each, and
// what is reported are medians, so that a busy machine disturbs both alike. The
// database is on the same machine and shares its processors.
//
//	go test -run '^$' -bench Update -benchtime 10000x ./ledger/postgres
func BenchmarkUpdate(b *testing.B) {
	for _, group := range []int{1, 64} {
		b.Run(fmt.Sprintf("at=%d", group), func(b *testing.B) {
			load := storetest.ShopLoad(b.N)
			url := postgrestest.Database(b)
			s := open(b, url)
			defer s.Close()
			raw := newRaw(b, postgrestest.Database(b), group)
			var took [2][]time.Duration
			b.ResetTimer()
			for i := 0; len(load) > 0; i++ {
				slice := load[:min(8*group, len(load))]
				load = load[len(slice):]
				ways := [2]func(){raw(slice), func() { byStore(b, s, slice, group) }}
				for k := range ways {
					k = (i + k) % 2 // none is always the first
					at := time.Now()
					ways[k]()
					took[k] = append(took[k], time.Since(at)/time.Duration(len(slice)))
				}
			}
			b.StopTimer()
			rate := func(k int) float64 {
				slices.Sort(took[k])
				return 1 / took[k][len(took[k])/2].Seconds()
			}
			b.ReportMetric(rate(0), "raw/s")
			b.ReportMetric(rate(1), "store/s")
			b.ReportMetric(rate(1)/rate(0), "of-raw")
			b.ReportMetric(float64(sizeOf(b, s))/float64(b.N), "B/entry")
			b.ReportMetric(0, "ns/op")
		})
	}
}

func byStore(b *testing.B, s *Store, slice []ledger.Entry, clients int) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range clients {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				i := int(next.Add(1)) - 1
				if i >= len(slice) {
					return
				}
				e := slice[i]
				e.Request = storetest.NewRequest()
				if err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
					if _, _, err := tx.ByRequest(e.Request); err != nil {
						return err
					}
					_, err := storetest.Append(tx, "harrow", e)
					return err
				}); err != nil {
					b.Error(err)
					return
				}
			}
		}()
	}
	wg.Wait()
}

// newRaw gives what prepares a slice's rows and then writes them.
func newRaw(b *testing.B, url string, group int) func([]ledger.Entry) func() {
	open(b, url).Close()
	ctx := context.Background()
	c, err := pgx.Connect(ctx, url)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.Close(ctx) })
	if _, err := c.Exec(ctx, `INSERT INTO book (shop, seq) VALUES ('harrow', 0)`); err != nil {
		b.Fatal(err)
	}
	known := newBook(ledger.Head{})
	return func(slice []ledger.Entry) func() {
		var batches []*pgx.Batch
		for part := range slices.Chunk(slice, group) {
			d := known.draft()
			for _, e := range part {
				if err := d.add(storetest.Seal(d.head, "harrow", e)); err != nil {
					b.Fatal(err)
				}
			}
			d.keep()
			batch := &pgx.Batch{}
			batch.Queue(`BEGIN`)
			known.pending.queue(batch, "harrow")
			batch.Queue(`UPDATE book SET seq = $1, hash = $2, recorded = $3 WHERE shop = 'harrow'`, d.head.Seq, d.head.Hash[:], d.head.Recorded)
			batch.Queue(`COMMIT`)
			batches = append(batches, batch)
			known.pending.written()
		}
		return func() {
			for _, batch := range batches {
				if err := c.SendBatch(ctx, batch).Close(); err != nil {
					b.Fatal(err)
				}
			}
		}
	}
}

// sizeOf returns how many bytes the books take.
func sizeOf(b *testing.B, s *Store) (n int64) {
	b.Helper()
	if err := s.read(context.Background(), func(c *pgx.Conn) error {
		return c.QueryRow(context.Background(), `SELECT sum(pg_total_relation_size(quote_ident(tablename)::regclass))::bigint
			FROM pg_tables WHERE schemaname = current_schema()`).Scan(&n)
	}); err != nil {
		b.Fatal(err)
	}
	return n
}

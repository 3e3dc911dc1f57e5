//go:build unix

package sqlite

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

// Two loads. A shop's: each entry is about a few of some 200 live lots, and
// most weigh-ins make a new lot. The uniform worst case: each entry moves metal
// between four of 10 000 lots picked at random.
//
// Each is written three ways: bare (only the entry rows), raw (every row the
// store writes, by prepared statements that know everything beforehand and read
// nothing), and by the store (which looks up, checks, and can undo). They take
// turns, a slice of the load each, and what is reported are medians, so that a
// busy machine disturbs all three alike. Processor time says more there than
// the rate.
//
//	go test -run '^$' -bench Update -benchtime 50000x ./ledger/sqlite
func BenchmarkUpdate(b *testing.B) {
	for _, load := range []string{"shop", "uniform"} {
		for _, group := range []int{1, 64} {
			b.Run(fmt.Sprintf("load=%s/at=%d", load, group), func(b *testing.B) {
				sideBySide(b, loads[load](b.N), group)
			})
		}
	}
}

func sideBySide(b *testing.B, load []ledger.Entry, group int) {
	s := open(b, newPath(b))
	defer s.Close()
	ways := []*way{
		{name: "bare", write: newRaw(b, group, true)},
		{name: "raw", write: newRaw(b, group, false)},
		{name: "store", write: func(slice []ledger.Entry) func() { return func() { byStore(b, s, slice, group) } }},
	}
	size := 16 * group
	b.ResetTimer()
	for i := 0; len(load) > 0; i++ {
		slice := load[:min(size, len(load))]
		load = load[len(slice):]
		for k := range ways { // no way is always the first
			ways[(i+k)%len(ways)].run(slice)
		}
	}
	b.StopTimer()
	rate := map[string]float64{}
	for _, w := range ways {
		rate[w.name] = 1 / w.median(func(x sample) time.Duration { return x.wall }).Seconds()
		b.ReportMetric(rate[w.name], w.name+"/s")
		b.ReportMetric(float64(w.median(func(x sample) time.Duration { return x.cpu }).Nanoseconds())/1e3, w.name+"-cpu-µs")
	}
	b.ReportMetric(rate["store"]/rate["raw"], "of-raw")
	b.ReportMetric(rate["store"]/rate["bare"], "of-bare")
	b.ReportMetric(float64(fileSize(b, s))/float64(b.N), "B/entry")
	b.ReportMetric(0, "ns/op")
}

// way is one way of writing and what its slices took, by entry.
type way struct {
	name    string
	write   func(slice []ledger.Entry) func() // prepares, then writes
	samples []sample
}

type sample struct{ wall, cpu time.Duration }

func (w *way) run(slice []ledger.Entry) {
	write := w.write(slice)
	wall, cpu := time.Now(), storetest.ProcessorTime()
	write()
	n := time.Duration(len(slice))
	w.samples = append(w.samples, sample{time.Since(wall) / n, (storetest.ProcessorTime() - cpu) / n})
}

func (w *way) median(of func(sample) time.Duration) time.Duration {
	var all []time.Duration
	for _, x := range w.samples {
		all = append(all, of(x))
	}
	slices.Sort(all)
	return all[len(all)/2]
}

// byStore writes entries from several sides.
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

// newRaw writes the rows of entries over one connection set up like the
// writer's, in transactions of group entries.
func newRaw(b *testing.B, group int, bare bool) func([]ledger.Entry) func() {
	path := newPath(b)
	open(b, path).Close()
	c, err := openConn(path, writing)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(c.discard)
	run := func(query string, args ...any) {
		if err := c.exec(query, args...); err != nil {
			b.Fatal(err)
		}
	}
	run(`INSERT INTO shop (id, name) VALUES (1, 'harrow')`)
	var head ledger.Head
	ids, records := map[string]int64{}, map[string]bool{}
	id := func(name string) int64 {
		if ids[name] == 0 {
			ids[name] = int64(len(ids) + 1)
		}
		return ids[name]
	}
	write := func(s ledger.Sealed, e *ledger.Entry) {
		run(`INSERT INTO entry (id, hash, bytes) VALUES (?, ?, ?)`, entryID(1, s.Seq), s.Hash[:], s.Bytes)
		if bare {
			return
		}
		run(`INSERT INTO request (shop, id, seq) VALUES (?, ?, ?)`, 1, e.Request[:], s.Seq)
		for _, p := range e.Postings {
			if name := string(p.Account); ids[name] == 0 {
				run(`INSERT INTO name (shop, name, id, mass, holds) VALUES (?, ?, ?, ?, 1)`, 1, name, id(name), int64(p.Mass))
			} else {
				run(`UPDATE name SET mass = ifnull(mass, 0) + ?1, holds = (ifnull(mass, 0) + ?1 <> 0) WHERE shop = ?2 AND name = ?3`, int64(p.Mass), 1, name)
			}
		}
		for _, rec := range e.Records {
			name := recordName(rec.Kind, rec.ID)
			run(`INSERT INTO name (shop, name, id, holds, seq, at, size) VALUES (?, ?, ?, 0, ?, ?, ?)
				ON CONFLICT DO UPDATE SET seq = excluded.seq, at = excluded.at, size = excluded.size`,
				1, name, id(name), s.Seq, strings.Index(string(s.Bytes), string(rec.Body)), len(rec.Body))
			if !records[name] {
				records[name] = true
				run(`INSERT INTO made (shop, kind, n) VALUES (?, ?, 1) ON CONFLICT DO UPDATE SET n = n + 1`, 1, string(rec.Kind))
			}
		}
		for _, subject := range e.Subjects() {
			run(`INSERT INTO touch (shop, name, seq) VALUES (?, ?, ?)`, 1, id(subject), s.Seq)
		}
	}
	return func(slice []ledger.Entry) func() {
		sealed, decoded := make([]ledger.Sealed, len(slice)), make([]*ledger.Entry, len(slice))
		for i, e := range slice {
			sealed[i], decoded[i] = storetest.Seal(head, "harrow", e)
			head = ledger.Head{Seq: sealed[i].Seq, Hash: sealed[i].Hash}
		}
		return func() {
			for i := range slice {
				if i%group == 0 {
					run(`BEGIN IMMEDIATE`)
				}
				write(sealed[i], decoded[i])
				if (i+1)%group == 0 || i == len(slice)-1 {
					run(`COMMIT`)
				}
			}
		}
	}
}

func fileSize(b *testing.B, s *Store) (n int64) {
	b.Helper()
	if err := s.read(context.Background(), func(c *conn) error {
		_, err := c.one(`SELECT page_count * page_size FROM pragma_page_count, pragma_page_size`, nil, &n)
		return err
	}); err != nil {
		b.Fatal(err)
	}
	return n
}

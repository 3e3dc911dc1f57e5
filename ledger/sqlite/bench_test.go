//go:build unix

package sqlite

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
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
// nothing), and by the store (which looks up, checks, and can undo). The ratio
// of interest is store to raw.
//
//	go test -bench Update -benchtime 50000x ./ledger/sqlite
var loads = map[string]func(n int) []ledger.Entry{"shop": shopLoad, "uniform": uniformLoad}

func shopLoad(n int) []ledger.Entry {
	r := rand.New(rand.NewPCG(1, 2))
	const live = 200
	var lots []string // all ever made; the last of them are live, but for those still on their way
	pick := func() ledger.Account {
		from := max(0, len(lots)-live-300)
		return ledger.Acct("lot", lots[from+r.IntN(min(live, len(lots)))])
	}
	out := make([]ledger.Entry, n)
	for i := range out {
		heat := fmt.Sprint(40 + i/60)
		switch k := r.IntN(10); {
		case k < 6 || len(lots) < 600: // a weigh-in of a new lot
			lot := fmt.Sprintf("L%d-%d", i, i%10)
			lots = append(lots, lot)
			out[i] = storetest.Move(ledger.Acct("molds", heat), ledger.Acct("lot", lot), 24_794_000, lotRecord(lot, heat))
		case k < 8: // a charge of three lots
			for range 3 {
				out[i].Postings = append(out[i].Postings, ledger.Posting{Account: pick(), Mass: -1000, Basis: ledger.Weighed})
			}
			out[i].Postings = append(out[i].Postings, ledger.Posting{Account: ledger.Acct("heat", heat), Mass: 3000, Basis: ledger.Weighed})
			out[i].Records = []ledger.Record{storetest.Rec("heat", heat, "", fmt.Sprintf(`{"id":%q,"alloy":"C87300","state":"open","charged":%d,"crucible":"A30-2","melter":"jo"}`, heat, i))}
		default: // a lot cleaned
			lot := pick()
			out[i] = storetest.Move(lot, ledger.Acct("molds", heat), 2000, lotRecord(lot.Ref(), heat))
		}
		out[i].Kind, out[i].Who, out[i].Device = "weigh-in", "jo", "phone-2"
	}
	return out
}

func uniformLoad(n int) []ledger.Entry {
	r := rand.New(rand.NewPCG(3, 4))
	const lots = 10_000
	out := make([]ledger.Entry, 0, n)
	lot := func() string { return fmt.Sprintf("L%d", 10_000+r.IntN(lots)) }
	for range n {
		a := lot()
		out = append(out, ledger.Entry{Kind: "weigh-in", Who: "jo", Device: "phone-2",
			Postings: []ledger.Posting{
				{Account: ledger.Acct("molds", a), Mass: -7000, Basis: 'w'}, {Account: ledger.Acct("lot", a), Mass: 1000, Basis: 'w'},
				{Account: ledger.Acct("lot", lot()), Mass: 3000, Basis: 'w'}, {Account: ledger.Acct("lot", lot()), Mass: 3000, Basis: 'w'}},
			Records: []ledger.Record{lotRecord(a, a)}})
	}
	return out
}

func lotRecord(lot, heat string) ledger.Record {
	return storetest.Rec("lot", lot, "", fmt.Sprintf(`{"id":%q,"alloy":"C87300","alloy_sure":true,"form":"gating","condition":"to-be-cleaned","from":[{"account":"molds/%s","mg":24794000}]}`, lot, heat))
}

func BenchmarkUpdate(b *testing.B) {
	for _, name := range []string{"shop", "uniform"} {
		for _, group := range []int{1, 64} {
			rates := map[string]float64{}
			for _, way := range []string{"bare", "raw", "store"} {
				b.Run(fmt.Sprintf("load=%s/at=%d/by=%s", name, group, way), func(b *testing.B) {
					load := loads[name](b.N)
					path := newPath(b)
					s := open(b, path)
					defer func() { s.Close() }()
					rates[way] = 0
					if way == "store" {
						rates[way] = benchStore(b, s, load, group)
						b.ReportMetric(rates[way]/rates["raw"], "of-raw")
						b.ReportMetric(rates[way]/rates["bare"], "of-bare")
						b.ReportMetric(float64(fileSize(b, s))/float64(b.N), "B/entry")
						return
					}
					s.Close()
					rates[way] = benchRaw(b, path, load, group, way == "bare")
					s = open(b, path)
				})
			}
		}
	}
}

func benchStore(b *testing.B, s *Store, load []ledger.Entry, clients int) float64 {
	var next atomic.Int64
	var wg sync.WaitGroup
	b.ResetTimer()
	cpu := cpuTime()
	for range clients {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				i := int(next.Add(1)) - 1
				if i >= len(load) {
					return
				}
				e := load[i]
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
	return report(b, cpu)
}

// report stops the clock. On a machine that is busy with other things the
// processor time says more than the rate.
func report(b *testing.B, cpu time.Duration) float64 {
	b.StopTimer()
	rate := float64(b.N) / b.Elapsed().Seconds()
	b.ReportMetric(rate, "entries/s")
	b.ReportMetric(float64((cpuTime()-cpu).Microseconds())/float64(b.N), "cpu-µs/entry")
	return rate
}

func cpuTime() time.Duration {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// benchRaw writes the rows of the load with one connection set up like the
// writer's.
func benchRaw(b *testing.B, path string, load []ledger.Entry, group int, bare bool) float64 {
	c, err := openConn(path, writing)
	if err != nil {
		b.Fatal(err)
	}
	defer c.discard()
	run := func(query string, args ...any) {
		if err := c.exec(query, args...); err != nil {
			b.Fatal(err)
		}
	}
	var head ledger.Head
	sealed, decoded := make([]ledger.Sealed, len(load)), make([]*ledger.Entry, len(load))
	ids, records := map[string]int64{}, map[string]bool{}
	for i, e := range load {
		sealed[i], decoded[i] = storetest.Seal(head, "harrow", e)
		head = ledger.Head{Seq: sealed[i].Seq, Hash: sealed[i].Hash}
	}
	run(`INSERT INTO shop (id, name) VALUES (1, 'harrow')`)
	id := func(name string) int64 {
		if ids[name] == 0 {
			ids[name] = int64(len(ids) + 1)
		}
		return ids[name]
	}
	b.ResetTimer()
	cpu := cpuTime()
	for i, s := range sealed {
		if i%group == 0 {
			run(`BEGIN IMMEDIATE`)
		}
		run(`INSERT INTO entry (id, hash, bytes) VALUES (?, ?, ?)`, entryID(1, s.Seq), s.Hash[:], s.Bytes)
		if e := decoded[i]; !bare {
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
		if (i+1)%group == 0 || i == len(sealed)-1 {
			run(`COMMIT`)
		}
	}
	return report(b, cpu)
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

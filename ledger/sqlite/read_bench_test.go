package sqlite

import (
	"context"
	"fmt"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

// BenchmarkRead asks a book of the shop load what a page or a use case asks,
// each question in a View of its own.
//
//	go test -run '^$' -bench Read ./ledger/sqlite
func BenchmarkRead(b *testing.B) {
	for _, size := range []int{10_000, 200_000} {
		s := open(b, newPath(b))
		load := storetest.ShopLoad(size)
		for i := 0; i < len(load); i += 1000 {
			if err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
				for _, e := range load[i:min(i+1000, len(load))] {
					if _, err := storetest.Append(tx, "harrow", e); err != nil {
						return err
					}
				}
				return nil
			}); err != nil {
				b.Fatal(err)
			}
		}
		lot := load[size/2].Records[0]
		last := string(load[size-1].Postings[0].Account)
		for _, q := range []struct {
			name string
			ask  func(ledger.Reader) (int, error)
			want int
		}{
			{"nothing", func(r ledger.Reader) (int, error) { return 0, nil }, 0},
			{"head", func(r ledger.Reader) (int, error) { h, err := r.Head(); return int(h.Seq), err }, size},
			{"balance", func(r ledger.Reader) (int, error) {
				m, err := r.Balance(ledger.Account(last))
				return min(1, int(m*m)), err
			}, 1},
			{"record", func(r ledger.Reader) (int, error) {
				rec, _, err := r.Record(lot.Kind, lot.ID)
				return min(1, len(rec.Body)), err
			}, 1},
			{"log, last 50", func(r ledger.Reader) (int, error) { l, err := r.Log(int64(size-50), 50); return len(l), err }, 50},
			{"history, last 50", func(r ledger.Reader) (int, error) {
				l, err := r.History(fmt.Sprint("heat/", 40+size/2/60), 0, 50)
				return len(l), err
			}, 50},
			{"200 holdings", func(r ledger.Reader) (int, error) { l, err := r.Holdings("lot", "lot", "L5", 200); return len(l), err }, 200},
			{"50 records", func(r ledger.Reader) (int, error) { l, err := r.Records("lot", "", "L5", 50); return len(l), err }, 50},
		} {
			b.Run(fmt.Sprintf("entries=%d/%s", size, q.name), func(b *testing.B) {
				for b.Loop() {
					if err := s.View(context.Background(), "harrow", func(r ledger.Reader) error {
						if n, err := q.ask(r); err != nil || n != q.want {
							return fmt.Errorf("%d, want %d (%w)", n, q.want, err)
						}
						return nil
					}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
		b.Run(fmt.Sprintf("entries=%d/verify", size), func(b *testing.B) {
			cpu := cpuTime()
			for b.Loop() {
				if v, err := ledger.Verify(context.Background(), s, "harrow", nil); err != nil || v.Fault != nil {
					b.Fatal(err, v.Fault)
				}
			}
			b.ReportMetric(float64(size)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
			b.ReportMetric(float64((cpuTime()-cpu).Nanoseconds())/1e3/float64(size)/float64(b.N), "cpu-µs/entry")
		})
		b.Run(fmt.Sprintf("entries=%d/open", size), func(b *testing.B) {
			path := s.Path()
			s.Close()
			for b.Loop() {
				s = open(b, path)
				b.StopTimer()
				s.Close()
				b.StartTimer()
			}
			s = open(b, path)
		})
		s.Close()
	}
}

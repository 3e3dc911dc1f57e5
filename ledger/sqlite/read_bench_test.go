//go:build unix

package sqlite

import (
	"context"
	"flag"
	"fmt"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

var (
	entries  = flag.Int("entries", 200_000, "how many entries the larger book of BenchmarkRead has")
	keepBook = flag.String("keep-book", "", "where to keep that book; one that is there already is taken")
)

// BenchmarkRead asks a small and a large book of the shop load what a page or a use
// case asks, each question in a View of its own, and weighs in.
//
//	go test -run '^$' -bench Read ./ledger/sqlite
//	go test -run '^$' -bench Read -timeout 2h ./ledger/sqlite -entries 10000000
func BenchmarkRead(b *testing.B) {
	for _, size := range []int{10_000, *entries} {
		path := newPath(b)
		if size == *entries && *keepBook != "" {
			path = *keepBook
		}
		s := open(b, path)
		b.Logf("%d entries: made at %.0f/s, %d bytes an entry", size, fillBook(b, s, size), fileSize(b, s)/int64(size))
		lot, heat, last := lotOf(b, s, size/2), fmt.Sprint(40+size/2/60), ledger.Acct("molds", fmt.Sprint(40+size/60-2))
		for _, q := range []struct {
			name string
			ask  func(ledger.Reader) (int, error)
			want int
		}{
			{"nothing", func(r ledger.Reader) (int, error) { return 0, nil }, 0},
			{"head", func(r ledger.Reader) (int, error) { h, err := r.Head(); return min(size, int(h.Seq)), err }, size},
			{"balance", func(r ledger.Reader) (int, error) {
				m, err := r.Balance(last)
				return min(1, int(m*m)), err
			}, 1},
			{"record", func(r ledger.Reader) (int, error) {
				rec, _, err := r.Record("lot", lot)
				return min(1, len(rec.Body)), err
			}, 1},
			{"log, last 50", func(r ledger.Reader) (int, error) { l, err := r.Log(int64(size-50), 50); return len(l), err }, 50},
			{"history, last 50", func(r ledger.Reader) (int, error) {
				l, err := r.History("heat/"+heat, 0, 50)
				return len(l), err
			}, 50},
			{"lot's history", func(r ledger.Reader) (int, error) {
				l, err := r.History("lot/"+lot, 0, 50)
				return min(1, len(l)), err
			}, 1},
			{"all holdings", func(r ledger.Reader) (int, error) {
				l, err := r.Holdings("lot", "lot", "", 1000)
				return min(100, len(l)), err
			}, 100},
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
		b.Run(fmt.Sprintf("entries=%d/weigh-in", size), func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				e := storetest.Move("molds/39", ledger.Acct("lot", fmt.Sprintf("W%d-%d", b.N, i)), 24_794_000)
				e.Request = storetest.NewRequest()
				if err := s.Update(context.Background(), "harrow", func(tx ledger.Tx) error {
					_, err := storetest.Append(tx, "harrow", e)
					return err
				}); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("entries=%d/verify", size), func(b *testing.B) {
			cpu := storetest.ProcessorTime()
			for b.Loop() {
				if v, err := ledger.Verify(context.Background(), s, "harrow", nil); err != nil || v.Fault != nil {
					b.Fatal(err, v.Fault)
				}
			}
			b.ReportMetric(float64(size)*float64(b.N)/b.Elapsed().Seconds(), "entries/s")
			b.ReportMetric(float64((storetest.ProcessorTime()-cpu).Nanoseconds())/1e3/float64(size)/float64(b.N), "cpu-µs/entry")
		})
		b.Run(fmt.Sprintf("entries=%d/last 1000 verified", size), func(b *testing.B) {
			var at ledger.Head
			if err := s.View(context.Background(), "harrow", func(r ledger.Reader) error {
				log, err := r.Log(int64(size-1001), 1)
				at = ledger.Head{Seq: log[0].Seq, Hash: log[0].Hash}
				return err
			}); err != nil {
				b.Fatal(err)
			}
			for b.Loop() {
				if v, err := ledger.VerifyAfter(context.Background(), s, "harrow", at, nil); err != nil || v.Fault != nil {
					b.Fatal(err, v.Fault)
				}
			}
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

// fillBook brings a book to n entries and tells how many a second that were.
func fillBook(b *testing.B, s *Store, n int) float64 {
	b.Helper()
	var have ledger.Head
	if err := s.View(context.Background(), "harrow", func(r ledger.Reader) (err error) { have, err = r.Head(); return err }); err != nil {
		b.Fatal(err)
	}
	began := time.Now()
	storetest.Fill(b, s, "harrow", func(yield func(ledger.Entry) bool) {
		i := int64(0)
		for e := range storetest.ShopEntries(n) {
			if i++; i > have.Seq && !yield(e) {
				return
			}
		}
	})
	return max(0, float64(n)-float64(have.Seq)) / time.Since(began).Seconds()
}

// lotOf is a lot that an entry from the given one on is about.
func lotOf(b *testing.B, s *Store, from int) (id string) {
	b.Helper()
	if err := s.View(context.Background(), "harrow", func(r ledger.Reader) error {
		log, err := r.Log(int64(from), 100)
		if err != nil {
			return err
		}
		for _, x := range log {
			e, err := x.Open()
			if err != nil {
				return err
			}
			if r := e.Records[0]; r.Kind == "lot" {
				id = r.ID
				return nil
			}
		}
		return nil
	}); err != nil || id == "" {
		b.Fatal(id, err)
	}
	return id
}

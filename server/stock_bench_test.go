//go:build unix

package server

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/storetest"
)

// BenchmarkStock asks for the stock of a shop with 200 lots, in the process and over
// REST, while nobody writes and while 5000 entries a second are written.
//
//	go test ./server -run '^$' -bench Stock -benchtime 2000x
func BenchmarkStock(b *testing.B) {
	s := newWeighers(b)
	s.weigh(200, 8, s.grpc)
	inside := shop.New(s.store, "harrow", nil)
	url := strings.TrimSuffix(s.url, "/lots:weighIn") + "/stock"
	for _, rate := range []int{0, 5000} {
		for _, way := range []struct {
			name string
			ask  func() error
		}{
			{"inside", func() error { _, err := inside.Stock(b.Context(), shop.AsOf{}, ""); return err }},
			{"REST", func() error { return get(b.Context(), url) }},
		} {
			b.Run(fmt.Sprintf("%s/writes=%d", way.name, rate), func(b *testing.B) {
				stop := keepWriting(b, s.store, rate)
				took, cpu := make([]time.Duration, 0, b.N), storetest.ProcessorTime()
				for b.Loop() {
					began := time.Now()
					if err := way.ask(); err != nil {
						b.Fatal(err)
					}
					took = append(took, time.Since(began))
					if rate > 0 {
						time.Sleep(time.Millisecond) // so that there is something new each time
					}
				}
				cpu = storetest.ProcessorTime() - cpu
				written := stop()
				b.ReportMetric(float64(cpu.Microseconds())/float64(b.N), "cpu-µs") // the writing included
				b.ReportMetric(float64(written)/b.Elapsed().Seconds(), "written/s")
				slices.Sort(took)
				b.ReportMetric(took[len(took)/2].Seconds()*1e3, "median-ms")
				b.ReportMetric(took[len(took)*99/100].Seconds()*1e3, "p99-ms")
			})
		}
	}
}

func get(ctx context.Context, url string) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, url, http.NoBody)
	if err != nil {
		return err
	}
	resp, err := kept.Do(r)
	if err != nil {
		return err
	}
	defer resp.Body.Close()
	if said, err := io.ReadAll(resp.Body); err != nil || resp.StatusCode != http.StatusOK {
		return fmt.Errorf("%s: %s (%w)", resp.Status, said, err)
	}
	return nil
}

// keepWriting writes about so many entries a second from 32 sides until stop, which
// tells how many those were.
func keepWriting(b *testing.B, st ledger.Store, rate int) (stop func() int) {
	b.Helper()
	const sides = 32
	ctx, cancel := context.WithCancel(b.Context())
	var wg sync.WaitGroup
	written := make([]int, sides)
	for side := range sides {
		if rate == 0 {
			break
		}
		wg.Go(func() {
			for tick := time.NewTicker(time.Duration(sides) * time.Second / time.Duration(rate)); ctx.Err() == nil; <-tick.C {
				e := storetest.Move("molds/40", ledger.Acct("count", fmt.Sprint("C", side)), 1000)
				e.Request = storetest.NewRequest()
				if err := st.Update(context.WithoutCancel(ctx), "harrow", func(tx ledger.Tx) error {
					_, err := storetest.Append(tx, "harrow", e)
					return err
				}); err != nil {
					b.Error(err)
					return
				}
				written[side]++
			}
		})
	}
	return func() (n int) {
		cancel()
		wg.Wait()
		for _, w := range written {
			n += w
		}
		return n
	}
}

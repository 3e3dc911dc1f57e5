//go:build unix

package server

import (
	"context"
	"encoding/base64"
	"flag"
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/storetest"
)

var listed = flag.Int("entries", 200_000, "how many entries the book of BenchmarkLists has")

// BenchmarkLists asks for pages of 100 at the start, in the middle and at the end of
// the long lists of a book of the shop load, through gRPC.
//
//	go test ./server -run '^$' -bench Lists -benchtime 200x
func BenchmarkLists(b *testing.B) {
	s := newWeighers(b)
	fill(b, s.store, *listed)
	conn, err := grpc.NewClient(s.server.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		b.Fatal(err)
	}
	defer conn.Close()
	lots, entries, heats := pb.NewLotServiceClient(conn), pb.NewEntryServiceClient(conn), pb.NewHeatServiceClient(conn)
	last := *listed
	for _, l := range []struct {
		name  string
		ends  []string // keys in the middle and near the end
		page  func(ctx context.Context, token string) (int, string, error)
		fewer bool // than a page
	}{
		{"entries", []string{fmt.Sprint(last / 2), fmt.Sprint(last - 100)}, func(ctx context.Context, token string) (int, string, error) {
			r, err := entries.ListEntries(ctx, &pb.ListEntriesRequest{Parent: "shops/harrow", PageToken: token})
			return len(r.GetEntries()), r.GetNextPageToken(), err
		}, false},
		{"entries from the last", []string{fmt.Sprint(last / 2), "101"}, func(ctx context.Context, token string) (int, string, error) {
			r, err := entries.ListEntries(ctx, &pb.ListEntriesRequest{Parent: "shops/harrow", PageToken: token, OrderBy: "sequence desc"})
			return len(r.GetEntries()), r.GetNextPageToken(), err
		}, false},
		{"history of a crucible", []string{fmt.Sprint(last / 2), "410"}, func(ctx context.Context, token string) (int, string, error) {
			r, err := entries.ListHistory(ctx, &pb.ListHistoryRequest{Name: "shops/harrow/pots/A30-2", PageToken: token})
			return len(r.GetEntries()), r.GetNextPageToken(), err
		}, false},
		{"lots", []string{"L5", "L9"}, func(ctx context.Context, token string) (int, string, error) {
			r, err := lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/harrow", PageToken: token})
			return len(r.GetLots()), r.GetNextPageToken(), err
		}, true},
		{"lots, empty ones too", []string{"L5", "L9"}, func(ctx context.Context, token string) (int, string, error) {
			r, err := lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/harrow", PageToken: token, ShowEmpty: true})
			return len(r.GetLots()), r.GetNextPageToken(), err
		}, false},
		{"lots of a heat, empty ones too", []string{"L5", "L9"}, func(ctx context.Context, token string) (int, string, error) {
			r, err := lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/harrow", PageToken: token, ShowEmpty: true, Heat: "shops/harrow/heats/40"})
			return len(r.GetLots()), r.GetNextPageToken(), err
		}, true},
		{"heats", []string{"2000", "98"}, func(ctx context.Context, token string) (int, string, error) {
			r, err := heats.ListHeats(ctx, &pb.ListHeatsRequest{Parent: "shops/harrow", PageToken: token})
			return len(r.GetHeats()), r.GetNextPageToken(), err
		}, true},
		{"heats of another alloy", []string{"2000", "98"}, func(ctx context.Context, token string) (int, string, error) {
			r, err := heats.ListHeats(ctx, &pb.ListHeatsRequest{Parent: "shops/harrow", PageToken: token, Alloy: "shops/harrow/alloys/A356.0"})
			return len(r.GetHeats()), r.GetNextPageToken(), err
		}, true},
	} {
		tokens := []string{""}
		if n, next, err := l.page(b.Context(), ""); err != nil || n == 0 && !l.fewer {
			b.Fatal(l.name, n, err)
		} else if bound, err := base64.RawURLEncoding.DecodeString(next); err == nil && next != "" {
			for _, key := range l.ends {
				tokens = append(tokens, base64.RawURLEncoding.EncodeToString(append(bound[:8:8], key...)))
			}
		}
		for i, token := range tokens {
			b.Run(l.name+"/"+[]string{"start", "middle", "end"}[i], func(b *testing.B) {
				took, cpu := make([]time.Duration, 0, b.N), storetest.ProcessorTime()
				for b.Loop() {
					began := time.Now()
					if n, _, err := l.page(b.Context(), token); err != nil || n != 100 && !l.fewer {
						b.Fatal(n, err)
					}
					took = append(took, time.Since(began))
				}
				b.ReportMetric(float64((storetest.ProcessorTime()-cpu).Microseconds())/float64(b.N), "cpu-µs")
				slices.Sort(took)
				b.ReportMetric(took[len(took)/2].Seconds()*1e3, "median-ms")
			})
		}
	}
}

// fill writes the shop load, each fourth entry of which is about one crucible too.
func fill(b *testing.B, st ledger.Store, n int) {
	b.Helper()
	group, i := make([]ledger.Entry, 0, 1000), 0
	for e := range storetest.ShopEntries(n) {
		if i++; i%4 == 0 {
			e.Records = append(e.Records, storetest.Rec("pot", "A30-2", "", `{"id":"A30-2","kind":"crucible","name":"no. 30"}`))
		}
		if group = append(group, e); len(group) < cap(group) && i < n {
			continue
		}
		if err := st.Update(b.Context(), "harrow", func(tx ledger.Tx) error {
			for _, e := range group {
				e.Request = storetest.NewRequest()
				if _, err := storetest.Append(tx, "harrow", e); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			b.Fatal(err)
		}
		group = group[:0]
	}
}

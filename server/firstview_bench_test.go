//go:build unix

package server

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/ledger/storetest"
	"example.org/remelt/server/demo"
)

// BenchmarkFirstView asks for each page of the demo year on SQLite right after
// something was weighed in, when nothing that was reckoned before the entry holds any
// more. least-ms is the fastest of all, cpu-ms what the process took for one; on a busy
// machine they say more than the mean.
func BenchmarkFirstView(b *testing.B) {
	var now atomic.Int64
	end := time.Date(2026, 11, 20, 18, 0, 0, 0, time.UTC)
	st, err := sqlite.Open(b.Context(), filepath.Join(b.TempDir(), "book.db"), sqlite.Options{})
	if err != nil {
		b.Fatal(err)
	}
	s, err := New(Config{Store: st, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler), Now: func() time.Time { return time.UnixMilli(now.Load()) }})
	if err != nil {
		b.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	defer func() {
		cancel()
		if err := <-done; err != nil {
			b.Error(err)
		}
	}()
	conn, err := grpc.NewClient(s.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		b.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	if _, err := demo.Seed(ctx, conn, demo.Options{Seed: 1, End: end, Clock: func(at time.Time) { now.Store(at.UnixMilli()) }}); err != nil {
		b.Fatal(err)
	}
	heats, molds := pb.NewHeatServiceClient(conn), pb.NewMoldServiceClient(conn)
	if _, err := heats.CreateHeat(ctx, &pb.CreateHeatRequest{Parent: harrow, HeatId: "P", Heat: &pb.Heat{Alloy: harrow + "/alloys/" + alloyID, Crucible: harrow + "/pots/sil-70", Furnace: harrow + "/pots/east"}}); err != nil {
		b.Fatal(err)
	}
	for range 3 {
		if _, err := molds.CreateMold(ctx, &pb.CreateMoldRequest{Parent: harrow + "/heats/P", Mold: &pb.Mold{Metal: g(9_000), Gating: g(6_000)}}); err != nil {
			b.Fatal(err)
		}
	}
	lots := pb.NewLotServiceClient(conn)
	for _, w := range []struct {
		name string
		in   *pb.WeighInRequest
	}{
		{"after gating of no heat", &pb.WeighInRequest{Alloy: alloyID}},
		{"after a late cup of a settled heat", &pb.WeighInRequest{Heats: []*pb.HeatShare{{Heat: harrow + "/heats/30"}}, Reason: "found below the bench"}},
	} {
		w.in.Parent, w.in.Weighing = harrow, &pb.Weighing{Net: g(20)}
		for _, page := range []string{"", "heats/12", "what-is-lost", "to-buy", "heats/P/charge", "weigh-in", "commissions/otters", "stocktake"} {
			b.Run(w.name+"/"+page, func(b *testing.B) {
				least, used := time.Hour, time.Duration(0)
				for range b.N {
					b.StopTimer()
					made, err := lots.WeighIn(ctx, w.in)
					if err != nil {
						b.Fatal(err)
					}
					if w.in.Into == "" { // all into one lot, so that the charge has no more to choose from each time
						w.in.Into = made.GetLot().GetName()
					}
					b.StartTimer()
					before, began := storetest.ProcessorTime(), time.Now()
					look(b, strings.TrimSuffix("http://"+s.HTTPAddr()+"/"+harrow+"/"+page, "/"))
					least, used = min(least, time.Since(began)), used+storetest.ProcessorTime()-before
				}
				b.ReportMetric(float64(least)/1e6, "least-ms")
				b.ReportMetric(float64(used)/1e6/float64(b.N), "cpu-ms")
			})
		}
	}
}

// look reads a page to its end.
func look(b *testing.B, url string) {
	b.Helper()
	got, err := http.Get(url) //nolint:noctx // of this server
	if err != nil {
		b.Fatal(err)
	}
	_, err = io.Copy(io.Discard, got.Body)
	if err != nil || got.StatusCode != http.StatusOK || got.Body.Close() != nil {
		b.Fatal(got.Status, err)
	}
}

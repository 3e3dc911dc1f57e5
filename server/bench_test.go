package server

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// BenchmarkWeighIn weighs returns in through gRPC on a durable book: every answer
// is on disk. Set it beside BenchmarkRaw of ledger/sqlite on the same machine.
func BenchmarkWeighIn(b *testing.B) {
	for _, c := range []struct {
		clients  int
		signedIn bool
	}{{1, false}, {1, true}, {64, false}, {64, true}} {
		clients := c.clients
		b.Run(fmt.Sprintf("clients=%d,signed-in=%v", clients, c.signedIn), func(b *testing.B) {
			st, err := sqlite.Open(context.Background(), filepath.Join(b.TempDir(), "book.db"), sqlite.Options{})
			if err != nil {
				b.Fatal(err)
			}
			s, err := New(Config{Store: st, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Log: slog.New(slog.NewTextHandler(io.Discard, nil))})
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
			if _, err := pb.NewShopServiceClient(conn).CreateShop(ctx, &pb.CreateShopRequest{ShopId: "harrow", Shop: &pb.Shop{DisplayName: "Harrow Lane"}}); err != nil {
				b.Fatal(err)
			}
			if c.signedIn {
				ctx = metadata.AppendToOutgoingContext(ctx, bearer, "Bearer "+firstToken(b, s))
			}
			lots := pb.NewLotServiceClient(conn)
			var left atomic.Int64
			left.Store(int64(b.N))
			var worst atomic.Int64
			var wg sync.WaitGroup
			b.ResetTimer()
			for range clients {
				wg.Go(func() {
					for left.Add(-1) >= 0 {
						began := time.Now()
						if _, err := lots.WeighIn(ctx, &pb.WeighInRequest{Parent: "shops/harrow", Alloy: "C87300", Weighing: &pb.Weighing{Net: &pb.Mass{Text: "5.62 kg"}}}); err != nil {
							b.Error(err)
							return
						}
						if t := int64(time.Since(began)); t > worst.Load() {
							worst.Store(t)
						}
					}
				})
			}
			wg.Wait()
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "entries/s")
			b.ReportMetric(float64(worst.Load())/1e6, "worst-ms")
		})
	}
}

// firstToken makes somebody of shop harrow, and gives a token of theirs.
func firstToken(b *testing.B, s *Server) string {
	b.Helper()
	link, err := s.OwnerLink(b.Context(), "harrow")
	if err != nil {
		b.Fatal(err)
	}
	_, code, _ := strings.Cut(link, "#")
	door := s.admission.door
	if _, err := door.Join(b.Context(), "127.0.0.1", "harrow", code, "mo", "Mo Marsh", password); err != nil {
		b.Fatal(err)
	}
	e, err := (&ledger.Book{Store: s.cfg.Store, Shop: "harrow"}).AddToken(b.Context(), ledger.Meta{}, ledger.Token{Person: "mo", Name: "bench", Duty: ledger.MayWeighIn})
	if err != nil {
		b.Fatal(err)
	}
	token, err := door.KeepToken(b.Context(), "harrow", e.Records[0].ID)
	if err != nil {
		b.Fatal(err)
	}
	return token
}

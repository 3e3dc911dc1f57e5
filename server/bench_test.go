//go:build unix

package server

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/metadata"

	"example.org/remelt/ledger"
)

// BenchmarkWeighIn weighs returns in through gRPC on a durable book, with and
// without signing in: every answer is on disk. BenchmarkLimits sets it beside raw
// SQLite.
func BenchmarkWeighIn(b *testing.B) {
	for _, c := range []struct {
		clients  int
		signedIn bool
	}{{1, false}, {1, true}, {64, false}, {64, true}} {
		b.Run(fmt.Sprintf("clients=%d,signed-in=%v", c.clients, c.signedIn), func(b *testing.B) {
			s := newWeighers(b)
			call := s.grpc
			if c.signedIn {
				token := "Bearer " + firstToken(b, s.server)
				call = func(ctx context.Context) error { return s.grpc(metadata.AppendToOutgoingContext(ctx, bearer, token)) }
			}
			b.ResetTimer()
			took := s.weigh(b.N, c.clients, call)
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "entries/s")
			b.ReportMetric(slices.Max(took).Seconds()*1e3, "worst-ms")
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

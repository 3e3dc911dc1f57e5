package server

import (
	"context"
	"log/slog"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoregistry"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/server/demo"
)

// yearOf makes a demo year behind the services.
func yearOf(t *testing.T, o demo.Options) (*bench, demo.Report) {
	t.Helper()
	b := newBench(t)
	o.End, o.Clock = time.Date(2026, 11, 20, 18, 0, 0, 0, time.UTC), func(at time.Time) { b.now = at }
	rep, err := demo.Seed(context.Background(), b.conn, o)
	if err != nil {
		t.Fatal(err)
	}
	b.now = o.End
	return b, rep
}

// TestAYearAnalysed asks everything about a demo year of 20 heats: the digits that
// its seed swapped are found, fractions add up to one and masses to what is there,
// and forecasts that were checked were checked on as many heats as they say.
func TestAYearAnalysed(t *testing.T) {
	b, rep := yearOf(t, demo.Options{Seed: 2, Heats: 20})
	rec := do[*pb.ReconcileWeighingsResponse](b, &pb.ReconcileWeighingsRequest{Parent: harrow, MaxWeighings: 5000})
	if len(rec.GetWeighings()) != int(rec.GetWeighingCount()) || len(rec.GetWeighings()) < 100 || !(rec.GetGlobal().GetChance() >= 0 && rec.GetGlobal().GetChance() < 1) {
		t.Errorf("%d of %d weighings, chance %g", len(rec.GetWeighings()), rec.GetWeighingCount(), rec.GetGlobal().GetChance())
	}
	named := map[string]bool{}
	for _, s := range rec.GetSuspects() {
		named[s.GetEntry()] = true
		for _, a := range s.GetAlike() {
			named[a.GetEntry()] = true
		}
	}
	swapped, found := 0, 0
	for _, m := range rep.Mistakes {
		if m.Kind == "swapped digits" {
			swapped++
			if named[m.Entry] {
				found++
			}
		}
	}
	if swapped < 2 || found == 0 { // a small one, or one in a heat that is not settled, hides
		t.Errorf("found %d of %d swapped digits among %v", found, swapped, rec.GetSuspects())
	}
	bal := do[*pb.GetHeatBalanceResponse](b, &pb.GetHeatBalanceRequest{Name: rep.Mistakes[0].Heat + "/balance", WithSuspects: true}).GetBalance()
	of := do[*pb.ReconcileWeighingsResponse](b, &pb.ReconcileWeighingsRequest{Parent: harrow, Heat: rep.Mistakes[0].Heat})
	if len(bal.GetSuspects()) != len(of.GetSuspects()) || of.GetWeighingCount() >= rec.GetWeighingCount() {
		t.Errorf("heat %s: %d suspects in its balance, %d asked for", rep.Mistakes[0].Heat, len(bal.GetSuspects()), len(of.GetSuspects()))
	}

	c := do[*pb.CheckLossForecastsResponse](b, &pb.CheckLossForecastsRequest{Name: harrow + "/losses", First: 5})
	tenths := int32(0)
	for _, n := range c.GetTenths() {
		tenths += n
	}
	if c.GetHeats() < 5 || c.GetInside()+c.GetBelow()+c.GetAbove() != c.GetHeats() || tenths != c.GetHeats() ||
		!(c.GetInsideFromPercent() <= c.GetInsidePercent() && c.GetInsidePercent() <= c.GetInsideToPercent()) {
		t.Errorf("coverage %v", c)
	}
	if few := do[*pb.CheckLossForecastsResponse](b, &pb.CheckLossForecastsRequest{Name: harrow + "/losses", First: 50}); few.GetHeats() != 0 {
		t.Errorf("%d heats forecast from 50 of 20", few.GetHeats())
	}

	for _, h := range do[*pb.ListHeatsResponse](b, &pb.ListHeatsRequest{Parent: harrow}).GetHeats() {
		back := do[*pb.TraceBackResponse](b, &pb.TraceBackRequest{Name: h.GetName()})
		sum, mg := 0.0, int64(0)
		for _, s := range back.GetSources() {
			sum += s.GetFraction()
			mg += s.GetMass().GetMg()
		}
		if math.Abs(sum-1) > 1e-9 || mg != back.GetMass().GetMg() || mg == 0 || back.GetMeanMelts() < 0.99 { // metal of additions was not melted before
			t.Errorf("%s: fractions add up to %g, masses to %d of %v; melted %g times", h.GetName(), sum, mg, back.GetMass(), back.GetMeanMelts())
		}
		forward := do[*pb.TraceForwardResponse](b, &pb.TraceForwardRequest{Name: h.GetName(), ShowPassed: true})
		held := int64(0)
		for _, x := range forward.GetHoldings() {
			held += x.GetHeld().GetMg() + x.GetSettled().GetMg()
		}
		if held != forward.GetMass().GetMg() || held < mg/2 {
			t.Errorf("%s: %d mg found again of %v, %v went in", h.GetName(), held, forward.GetMass(), back.GetMass())
		}
		v := do[*pb.GetContentResponse](b, &pb.GetContentRequest{Name: h.GetName() + "/content"}).GetContent()
		total := 0.0
		for _, e := range v.GetElements() {
			total += e.GetPercent()
		}
		if total < 98 || total > 100.5 || v.GetOutsideAtLeast() > v.GetOutsideAtMost() {
			t.Errorf("%s: contents add up to %g %%, outside %g to %g", h.GetName(), total, v.GetOutsideAtLeast(), v.GetOutsideAtMost())
		}
	}
}

// TestACleanYear: without mistakes no weighing is called wrong in this year.
func TestACleanYear(t *testing.T) {
	b, _ := yearOf(t, demo.Options{Seed: 2, Heats: 20, Clean: true})
	for _, s := range do[*pb.ReconcileWeighingsResponse](b, &pb.ReconcileWeighingsRequest{Parent: harrow}).GetSuspects() {
		if !s.GetUnusual() {
			t.Errorf("called wrong: %s", s.GetSentence())
		}
	}
}

// BenchmarkAnalysis asks each question about the demo year of 72 heats and some
// 1 700 entries.
func BenchmarkAnalysis(b *testing.B) {
	var now atomic.Int64
	s, err := New(Config{Store: memory.New(), GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler),
		Now: func() time.Time { return time.UnixMilli(now.Load()) }})
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
	if _, err := demo.Seed(ctx, conn, demo.Options{Seed: 1, End: time.Date(2026, 11, 20, 18, 0, 0, 0, time.UTC), Clock: func(at time.Time) { now.Store(at.UnixMilli()) }}); err != nil {
		b.Fatal(err)
	}
	heat := harrow + "/heats/30"
	for _, q := range []struct {
		name string
		r    proto.Message
	}{
		{"Reconcile", &pb.ReconcileWeighingsRequest{Parent: harrow}},
		{"Losses", &pb.GetLossesRequest{Name: harrow + "/losses"}},
		{"CheckForecasts", &pb.CheckLossForecastsRequest{Name: harrow + "/losses"}},
		{"Forecast", &pb.ForecastLossRequest{Parent: harrow, Alloy: alloyID}},
		{"TraceBack", &pb.TraceBackRequest{Name: heat}},
		{"TraceForward", &pb.TraceForwardRequest{Name: heat}},
		{"Content", &pb.GetContentRequest{Name: heat + "/content"}},
		{"Remelts", &pb.ForecastRemeltsRequest{Name: harrow + "/alloys/" + alloyID}},
		{"Energy", &pb.EstimateMeltEnergyRequest{Parent: harrow, Alloy: alloyID, Mass: g(60_000)}},
		{"Balance", &pb.GetHeatBalanceRequest{Name: heat + "/balance"}},
		{"BalanceWithSuspects", &pb.GetHeatBalanceRequest{Name: heat + "/balance", WithSuspects: true}},
	} {
		b.Run(q.name, func(b *testing.B) {
			for range b.N {
				m := methodOf(q.r)
				kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
				if err != nil {
					b.Fatal(err)
				}
				if err := conn.Invoke(ctx, path(m), q.r, kind.New().Interface()); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

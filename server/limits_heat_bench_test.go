//go:build unix

package server

import (
	"fmt"
	"strings"
	"sync"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// importRows books n weigh-ins in by calls of so many rows, one after the other, and
// gives the lots.
func (s *weighers) importRows(n, each int) (lots []string) {
	s.tb.Helper()
	row := func() *pb.ImportRow {
		return weighedIn(&pb.WeighInRequest{Alloy: "C87300", Weighing: &pb.Weighing{Net: &pb.Mass{Text: "5.62 kg"}}})
	}
	for len(lots) < n {
		r := &pb.ImportLotsRequest{Parent: harrow}
		for range min(each, n-len(lots)) {
			r.Rows = append(r.Rows, row())
		}
		got, err := s.lots.ImportLots(s.tb.Context(), r)
		if err != nil {
			s.tb.Fatal(err)
		}
		for _, row := range got.GetRows() {
			lots = append(lots, strings.TrimPrefix(row.GetLot(), lotNames))
		}
	}
	return lots
}

func (s *weighers) head() (seq int64) {
	s.tb.Helper()
	if err := s.store.View(s.tb.Context(), "harrow", func(r ledger.Reader) error {
		h, err := r.Head()
		seq = h.Seq
		return err
	}); err != nil {
		s.tb.Fatal(err)
	}
	return seq
}

// perHeat is how many lots a heat is charged with.
const perHeat = 4

// heats runs a heat for each perHeat lots, all at a time: what its page sends from
// planning it to settling it.
func (s *weighers) heats(lots []string) {
	s.tb.Helper()
	c, ctx := pb.NewHeatServiceClient(s.conn), s.tb.Context()
	var wg sync.WaitGroup
	for len(lots) > 0 {
		mine := lots[:perHeat]
		lots = lots[perHeat:]
		wg.Go(func() {
			id := "of-" + mine[0]
			name := harrow + "/heats/" + id
			did := func(_ any, err error) bool {
				if err != nil {
					s.tb.Error(err)
				}
				return err == nil
			}
			var charge []*pb.ChargeItem
			for _, l := range mine {
				charge = append(charge, &pb.ChargeItem{Lot: l})
			}
			var molds []*pb.Mold
			for i := range 3 {
				molds = append(molds, &pb.Mold{DisplayName: fmt.Sprintf("mold %d", i), Metal: &pb.Mass{Text: "4 kg"}, Gating: &pb.Mass{Text: "3 kg"}})
			}
			ok := did(c.CreateHeat(ctx, &pb.CreateHeatRequest{Parent: harrow, HeatId: id, Heat: &pb.Heat{Alloy: "C87300"}, Molds: molds})) &&
				did(c.OpenHeat(ctx, &pb.OpenHeatRequest{Name: name})) &&
				did(c.ChargeHeat(ctx, &pb.ChargeHeatRequest{Name: name, Items: charge})) &&
				did(c.ReadTemperature(ctx, &pb.ReadTemperatureRequest{Name: name, Temperature: &pb.Temperature{Text: "1120 C"}, What: "melt"})) &&
				did(c.PourOff(ctx, &pb.PourOffRequest{Name: name, Weighing: &pb.Weighing{Net: &pb.Mass{Text: "1.2 kg"}}}))
			for i := 1; ok && i <= 3; i++ {
				ok = did(c.PourMold(ctx, &pb.PourMoldRequest{Name: name, Mold: fmt.Sprintf("%s-%d", id, i)}))
			}
			_ = ok && did(c.FinishPour(ctx, &pb.FinishPourRequest{Name: name})) &&
				did(c.SettleHeat(ctx, &pb.SettleHeatRequest{Name: name, Reason: "nothing comes back"}))
		})
	}
	wg.Wait()
}

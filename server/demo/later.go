package demo

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	pb "example.org/remelt/api/remelt/v1"
)

// Kinds of mistake.
const (
	swapped   = "swapped digits"
	wrongHeat = "wrong heat"
	unbooked  = "spill not booked"
)

// later queues what comes back from a heat in the days and weeks after it.
func (h *heat) later(ctx context.Context, t time.Time) error {
	dust := 0.0
	last := 0.0
	for i, m := range h.molds {
		if m.casting < 0.05 {
			continue
		}
		kerf := m.gating * h.between(0.004, 0.012)
		m.gating -= kerf
		dust += kerf
		day := h.between(4, 14)
		last = math.Max(last, day)
		h.open++
		h.after(t, hours(24*day), func(t time.Time) error { return h.weighCasting(ctx, t, i, m) })
	}
	batches := 1 + h.IntN(3)
	total := 0.0
	for _, m := range h.molds {
		total += m.gating
	}
	forms := []pb.Form{pb.Form_FORM_CUP, pb.Form_FORM_GATING, pb.Form_FORM_RISER}
	share := h.between(0.2, 0.5)
	for b := range batches {
		kg := total
		if b < batches-1 {
			kg = total * share
		}
		total -= kg
		day := h.between(5, 17)
		last = math.Max(last, day+4)
		h.open++
		h.after(t, hours(24*day), func(t time.Time) error { return h.weighIn(ctx, t, kg, forms[(b+1)%3], b == 0) })
	}
	if h.chance(0.7) {
		h.after(t, hours(24*(last+1)), func(t time.Time) error {
			_, err := send(ctx, h.api, t, h.who(), h.heats.WriteOffMetal, &pb.WriteOffMetalRequest{Name: h.name(), Cause: pb.LossCause_LOSS_CAUSE_KERF,
				Weighing: &pb.Weighing{Scale: bench.id, Net: &pb.Mass{Text: h.reading(bench, dust)}}})
			return err
		})
	}
	h.after(t, hours(24*(last+h.between(3, 12))), func(t time.Time) error { return h.settle(ctx, t) })
	return nil
}

// settle settles the heat once everything is weighed, or asks again in three days.
func (h *heat) settle(ctx context.Context, t time.Time) error {
	if h.open > 0 {
		h.after(t, hours(72), func(t time.Time) error { return h.settle(ctx, t) })
		return nil
	}
	_, err := send(ctx, h.api, t, h.who(), h.heats.SettleHeat, &pb.SettleHeatRequest{Name: h.name(), Reason: "all that was expected is weighed"})
	return err
}

// weighCasting weighs a casting after cut-off and perhaps later finished and shipped.
func (h *heat) weighCasting(ctx context.Context, t time.Time, i int, m *mold) error {
	resp, err := send(ctx, h.api, t, h.who(), h.castings.WeighCasting, &pb.WeighCastingRequest{Parent: h.parent(), Heat: h.id, Mold: m.id,
		Stage: pb.Stage_STAGE_CUT_OFF, Weighing: h.weigh(m.casting)})
	if err != nil {
		return err
	}
	h.open--
	if i == 0 && h.chance(0.06) { // a miscast, broken up for remelting
		h.after(t, hours(30), func(t time.Time) error {
			got, err := send(ctx, h.api, t, h.who(), h.castings.BreakUpCasting, &pb.BreakUpCastingRequest{Name: resp.Casting.Name, Place: "bins", Weighing: h.weigh(m.casting)})
			if err == nil {
				h.stock = append(h.stock, &pile{id: got.Lot.Name, alloy: h.metal.alloy, form: "returns", kg: m.casting, from: h.n})
			}
			return err
		})
		return nil
	}
	if h.chance(0.6) {
		done := m.casting * h.between(0.97, 0.992)
		h.after(t, hours(24*h.between(6, 30)), func(t time.Time) error {
			if _, err := send(ctx, h.api, t, h.who(), h.castings.WeighCasting, &pb.WeighCastingRequest{Parent: h.parent(), Casting: resp.Casting.Name,
				Stage: pb.Stage_STAGE_FINISHED, Weighing: h.weigh(done)}); err != nil {
				return err
			}
			h.after(t, hours(30), func(t time.Time) error {
				_, err := send(ctx, h.api, t, h.who(), h.castings.ShipCasting, &pb.ShipCastingRequest{Name: resp.Casting.Name, To: m.customer})
				return err
			})
			return nil
		})
	}
	return nil
}

// weighIn weighs a batch of returns, mostly dirty, cleaned some days later. Two
// kinds of mistake are made here, in the first batch.
func (h *heat) weighIn(ctx context.Context, t time.Time, kg float64, form pb.Form, first bool) error {
	dirty := h.chance(0.65)
	grit := 0.0
	if dirty {
		grit = math.Min(h.logNormal(0.018, 0.6), 0.2)
	}
	req := &pb.WeighInRequest{Parent: h.parent(), Heats: []*pb.HeatShare{{Heat: h.id}}, Form: form, Dirty: dirty, Place: "bins", Weighing: h.weigh(kg * (1 + grit))}
	if dirty {
		req.Place = "blast"
		req.Weighing.DirtPercent = "2"
	} else if h.chance(0.3) && kg > 12 && h.plan[h.n] != swapped {
		req.Weighing = h.weighGross(kg)
	}
	wrong := Mistake{Kind: h.plan[h.n], Heat: h.name()}
	switch {
	case !first:
		wrong.Kind = ""
	case wrong.Kind == swapped && req.Weighing.Net != nil:
		right := req.Weighing.Net.Text
		if req.Weighing.Net.Text = swap(right); req.Weighing.Net.Text == right {
			wrong.Kind = ""
		}
		dirty, req.Dirty, req.Weighing.DirtPercent = false, false, "" // never weighed again, so never noticed
		wrong.What = fmt.Sprintf("%s was written for %s", req.Weighing.Net.Text, right)
		wrong.Kg = math.Abs(pounds(req.Weighing.Net.Text)-pounds(right)) * kgPerLb
	case wrong.Kind == wrongHeat:
		if other := h.sister(); other != nil {
			req.Heats[0].Heat = other.id
			wrong.What = fmt.Sprintf("%.2f kg of heat %s were booked on heat %s", kg, h.id, other.id)
			wrong.Kg = kg
		} else {
			wrong.Kind = ""
		}
	}
	resp, err := send(ctx, h.api, t, h.who(), h.lots.WeighIn, req)
	if err != nil {
		return err
	}
	if wrong.Kind == swapped || wrong.Kind == wrongHeat {
		wrong.Entry = resp.Entry.Name
		h.report.Mistakes = append(h.report.Mistakes, wrong)
	}
	keep := func() {
		h.open--
		h.stock = append(h.stock, &pile{id: resp.Lot.Name, alloy: h.metal.alloy, form: "returns", kg: kg, from: h.n})
	}
	if !dirty {
		keep()
		return nil
	}
	h.after(t, hours(24*h.between(1, 4)), func(t time.Time) error {
		_, err := send(ctx, h.api, t, h.who(), h.lots.CleanLot, &pb.CleanLotRequest{Name: resp.Lot.Name, Place: "bins", Weighing: h.weigh(kg)})
		keep()
		return err
	})
	return nil
}

// swap exchanges the two digits before the point, or those around it.
func swap(text string) string {
	num, unit, _ := strings.Cut(text, " ")
	whole, frac, _ := strings.Cut(num, ".")
	switch {
	case len(whole) >= 2 && whole[len(whole)-1] != whole[len(whole)-2] && whole[len(whole)-1] != '0':
		n := len(whole)
		whole = whole[:n-2] + whole[n-1:] + whole[n-2:n-1]
	case len(whole) >= 1 && len(frac) >= 1 && whole[len(whole)-1] != frac[0]:
		n := len(whole)
		whole, frac = whole[:n-1]+frac[:1], whole[n-1:]+frac[1:]
	}
	if v, err := strconv.ParseFloat(whole+"."+frac, 64); err != nil || v <= 0 {
		return text
	}
	return whole + "." + frac + " " + unit
}

// sister is another heat of the same alloy still waiting for returns.
func (h *heat) sister() *heat {
	for _, o := range h.all {
		if o != h && o.metal.alloy == h.metal.alloy && o.inMolds > 0 && o.open > 0 {
			return o
		}
	}
	return nil
}

// takeStock counts every pig and ingot lot.
func (y *year) takeStock(ctx context.Context, t time.Time) error {
	s := &pb.Stocktake{}
	for _, p := range y.stock {
		if p.kg > 0 && p.form != "returns" {
			s.Lines = append(s.Lines, &pb.StocktakeLine{Lot: p.id, Weighing: y.weigh(p.kg)})
		}
	}
	if len(s.Lines) == 0 {
		return nil
	}
	_, err := send(ctx, y.api, t, "Mara Quill", y.stocktake.CreateStocktake, &pb.CreateStocktakeRequest{Parent: y.parent(), Stocktake: s})
	return err
}

// strangeMetal is a bucket nobody remembers, and a customer's own metal.
func (y *year) strangeMetal(ctx context.Context, t time.Time) error {
	if _, err := send(ctx, y.api, t, "Joss Tern", y.lots.WeighIn, &pb.WeighInRequest{Parent: y.parent(), Alloy: "unknown", Form: pb.Form_FORM_GATING,
		Place: "shelf", Label: "bucket behind the kiln", Weighing: y.weigh(4.2)}); err != nil {
		return err
	}
	_, err := send(ctx, y.api, t.Add(hours(2)), "Joss Tern", y.lots.ReceiveLot, &pb.ReceiveLotRequest{Parent: y.parent(), Customer: "iris", Alloy: "C87300",
		Form: pb.Form_FORM_BOUGHT_SCRAP, Place: "shelf", Label: "Iris Vale's own", Weighing: y.weigh(18.5)})
	return err
}

// pounds reads a weight as the demo writes it: "12.8 lb".
func pounds(text string) (lb float64) {
	_, _ = fmt.Sscan(text, &lb) // it was written with a number first
	return lb
}

package demo

import (
	"context"
	"fmt"
	"math"
	"time"

	pb "example.org/remelt/api/remelt/v1"
)

// heat is one heat as it truly went, beside what was told to the book.
type heat struct {
	*year
	n       int
	id      string
	metal   metal
	at      time.Time
	melter  string
	molds   []*mold
	want    float64 // kg planned
	charged float64 // kg, truly
	returns float64 // share of the charge that was returns
	inMolds float64
	open    int // weighings still to come before it can be settled
}

// mold is a mold as it truly is.
type mold struct {
	id                string
	name              string
	customer          string
	casting, gating   float64 // kg, truly
	planned, plannedG float64
}

var pieces = []string{"heron", "otter", "gate finial", "relief panel", "portrait head", "hand", "bell", "boat cleat", "plaque", "seated figure", "hare", "bowl", "lamp base", "leaf", "door pull"}

func (h *heat) name() string { return h.year.name("heats", h.id) }

func (h *heat) who() string {
	if h.melter == "mara" {
		return "Mara Quill"
	}
	return "Joss Tern"
}

// prepare plans the heat, some days before, and orders ingot if there is none.
func (h *heat) prepare(ctx context.Context, t time.Time) error {
	h.melter = []string{"mara", "joss"}[h.IntN(2)]
	h.drawMolds()
	req := &pb.CreateHeatRequest{Parent: h.parent(), HeatId: h.id, Heat: &pb.Heat{Alloy: h.metal.alloy, Crucible: h.metal.crucible,
		Furnace: "east", Melter: h.melter, Charge: &pb.Mass{Text: fmt.Sprintf("%.0f lb", h.want/kgPerLb)}}}
	for _, m := range h.molds {
		req.Molds = append(req.Molds, &pb.Mold{DisplayName: m.name, Customer: m.customer,
			Wax:    &pb.Mass{Text: fmt.Sprintf("%.2f lb", m.planned/h.metal.perWax/kgPerLb)},
			Metal:  &pb.Mass{Text: fmt.Sprintf("%.1f lb", m.planned/kgPerLb)},
			Gating: &pb.Mass{Text: fmt.Sprintf("%.1f lb", m.plannedG/kgPerLb)}, How: "wax weight"})
	}
	h.forCommission(t, req.Molds)
	resp, err := send(ctx, h.api, t, h.who(), h.heats.CreateHeat, req)
	if err != nil {
		return err
	}
	for i, m := range resp.Molds {
		h.molds[i].id = m.Name
	}
	have := 0.0
	for _, p := range h.stock {
		if p.alloy == h.metal.alloy && p.form == "ingot" {
			have += p.kg
		}
	}
	if have < 1.1*h.want {
		if err := h.buy(ctx, t.Add(hours(20))); err != nil {
			return err
		}
	}
	h.after(h.at, 0, func(t time.Time) error { return h.melt(ctx, t) })
	return nil
}

func (h *heat) drawMolds() {
	most := map[string]float64{"sil-70": 70, "tin-60": 62, "alb-60": 55, "alu-50": 16}[h.metal.crucible]
	for n := 2 + h.IntN(4); n > 0 || len(h.molds) == 0; n-- {
		k := h.between(1.5, 11)
		if h.metal.crucible == "alu-50" {
			k *= 0.35
		}
		m := &mold{name: pieces[h.IntN(len(pieces))], planned: k, plannedG: k * h.metal.gatingOf * h.between(0.8, 1.2),
			customer: []string{"", "iris", "wexcombe", "marl", ""}[h.IntN(5)]}
		if h.want+m.planned+m.plannedG > most {
			break
		}
		m.casting = m.planned * (1.02 + 0.05*h.NormFloat64()) // the plans are a little light
		m.gating = m.plannedG * (1.01 + 0.06*h.NormFloat64())
		h.want += m.planned + m.plannedG
		h.molds = append(h.molds, m)
	}
	h.want = h.want*1.09 + 0.6
}

// buy receives a delivery of ingot.
func (h *heat) buy(ctx context.Context, t time.Time) error {
	n := int(math.Ceil(h.want*h.between(2.5, 4.5)/h.metal.ingotKg)) + 1
	kg := 0.0
	for range n {
		kg += h.metal.ingotKg * (1 + 0.012*h.NormFloat64())
	}
	w := h.weigh(kg)
	w.Pieces = int64(n)
	resp, err := send(ctx, h.api, t, h.who(), h.lots.ReceiveLot, &pb.ReceiveLotRequest{Parent: h.parent(),
		Supplier: []string{"northquay", "calder"}[h.IntN(2)], Alloy: h.metal.alloy, Form: pb.Form_FORM_INGOT, Place: "rack",
		Weighing: w, Certificate: h.certificate(h.metal.alloy), Price: h.metal.price})
	if err != nil {
		return err
	}
	h.stock = append(h.stock, &pile{id: resp.Lot.Name, alloy: h.metal.alloy, form: "ingot", kg: kg, pieces: n})
	return nil
}

// melt charges, skims, pours and closes the pour.
func (h *heat) melt(ctx context.Context, t time.Time) error {
	if _, err := send(ctx, h.api, t, h.who(), h.heats.OpenHeat, &pb.OpenHeatRequest{Name: h.name()}); err != nil {
		return err
	}
	if err := h.charge(ctx, t.Add(hours(0.2))); err != nil {
		return err
	}
	flux := 0.0
	if h.chance(0.8) {
		flux = h.between(0.08, 0.25)
		item := "borax"
		if h.metal.crucible == "alu-50" {
			item, flux = "drossing", flux/2
		}
		if _, err := send(ctx, h.api, t.Add(hours(1)), h.who(), h.heats.AddToHeat, &pb.AddToHeatRequest{Name: h.name(), Supply: item,
			Amount: &pb.Mass{Text: h.reading(bench, flux)}}); err != nil {
			return err
		}
	}
	if h.metal.alloy == "C90300" || h.metal.alloy == "C83600" {
		p := h.charged * 0.001
		if _, err := send(ctx, h.api, t.Add(hours(1.6)), h.who(), h.heats.AddToHeat, &pb.AddToHeatRequest{Name: h.name(), Supply: "pcu",
			Amount: &pb.Mass{Text: h.reading(bench, p)}}); err != nil {
			return err
		}
		h.charged += p
	}
	if _, err := send(ctx, h.api, t.Add(hours(1.7)), h.who(), h.heats.ReadTemperature, &pb.ReadTemperatureRequest{Name: h.name(),
		Temperature: &pb.Temperature{Text: fmt.Sprintf("%.0f F", h.metal.pourF+25*h.NormFloat64())}, What: "before the pour"}); err != nil {
		return err
	}
	return h.pour(ctx, t.Add(hours(1.8)), flux)
}

// charge puts returns in first, then whole ingots.
func (h *heat) charge(ctx context.Context, t time.Time) error {
	req := &pb.ChargeHeatRequest{Name: h.name()}
	have := 0.0
	for _, p := range h.stock {
		if p.alloy == h.metal.alloy {
			have += p.kg
		}
	}
	if have <= 0 { // another heat has used up what was bought for this one
		if err := h.buy(ctx, t.Add(-hours(1))); err != nil {
			return err
		}
	}
	old := 0.0
	for _, p := range h.stock {
		if p.alloy != h.metal.alloy || p.form == "ingot" || p.kg <= 0 || h.charged >= 0.55*h.want {
			continue
		}
		item := &pb.ChargeItem{Lot: p.id}
		kg := p.kg
		if rest := 0.6*h.want - h.charged; kg > rest && p.form != "pig" { // a part, by the handful
			kg = rest
			item.Weighing = h.weigh(kg)
		} else if gone, err := h.goneByTheBook(ctx, p.id); err != nil {
			return err
		} else if gone { // what was taken of it before was weighed a little heavy
			item.Weighing = h.weigh(kg)
		}
		p.kg -= kg
		h.charged += kg
		old += kg
		req.Items = append(req.Items, item)
	}
	for _, p := range h.stock {
		for p.alloy == h.metal.alloy && p.form == "ingot" && p.pieces > 0 && h.charged < h.want {
			n := min(p.pieces, int(math.Ceil((h.want-h.charged)/h.metal.ingotKg)))
			kg := p.kg * float64(n) / float64(p.pieces)
			item := &pb.ChargeItem{Lot: p.id, Pieces: int64(n)}
			if n < p.pieces {
				item.Weighing = h.weigh(kg)
			}
			p.kg -= kg
			p.pieces -= n
			h.charged += kg
			req.Items = append(req.Items, item)
		}
	}
	h.dropEmpty()
	h.returns = old / h.charged
	return h.sayWhy(ctx, t, req)
}

// goneByTheBook reports whether the book says that nothing is left of a lot.
func (y *year) goneByTheBook(ctx context.Context, lot string) (bool, error) {
	r, err := y.lots.GetLot(ctx, &pb.GetLotRequest{Name: lot})
	return r.GetLot().GetMass().GetMg() == 0, err
}

// sayWhy charges, and gives a reason when the book asks for one: scales differ,
// so that a lot can hold a little more than the book says.
func (h *heat) sayWhy(ctx context.Context, t time.Time, req *pb.ChargeHeatRequest) error {
	req.Reason = "weighed on another scale"
	_, err := send(ctx, h.api, t, h.who(), h.heats.ChargeHeat, req)
	return err
}

func (y *year) dropEmpty() {
	kept := y.stock[:0]
	for _, p := range y.stock {
		if p.kg > 0.001 {
			kept = append(kept, p)
		}
	}
	y.stock = kept
}

// pour skims, pours the molds, pours off the rest and closes the pour.
func (h *heat) pour(ctx context.Context, t time.Time, flux float64) error {
	when := t.Sub(h.start).Hours() / (365 * 24)
	lost := h.charged * h.lossShare(h.metal, h.returns, when)
	trapped := lost * h.between(0.2, 0.45)
	oxide := lost*(1-h.metal.vapour) - trapped*(1-h.metal.vapour)
	skimmings := trapped + oxide/h.metal.oxide + flux*0.8
	left := h.charged - lost
	skim := &pb.SkimHeatRequest{Name: h.name(), Weighing: h.weigh(skimmings), Place: "shelf"}
	if flux > 0 {
		skim.Added = &pb.Mass{Text: fmt.Sprintf("%.2f lb", math.Min(flux, skimmings*0.6)/kgPerLb)}
	}
	resp, err := send(ctx, h.api, t, h.who(), h.heats.SkimHeat, skim)
	if err != nil {
		return err
	}
	if h.chance(0.15) {
		lot := resp.Lot.Name
		h.after(t, hours(24*h.between(15, 40)), func(t time.Time) error {
			_, err := send(ctx, h.api, t, h.who(), h.lots.WorkUpLot, &pb.WorkUpLotRequest{Name: lot, Recovered: h.weigh(trapped * 0.93), Place: "bins"})
			return err
		})
	}
	if left, err = h.spills(ctx, t.Add(hours(0.1)), left); err != nil {
		return err
	}
	return h.fill(ctx, t.Add(hours(0.2)), left)
}

// spills splashes now and then; one kind of mistake is a spill nobody books.
func (h *heat) spills(ctx context.Context, t time.Time, left float64) (float64, error) {
	if h.plan[h.n] == unbooked {
		kg := h.between(1.6, 3.2)
		h.report.Mistakes = append(h.report.Mistakes, Mistake{Kind: unbooked, Heat: h.name(), What: fmt.Sprintf("%.2f kg ran into the sand and were never booked", kg), Kg: kg})
		return left - kg, nil
	}
	if !h.chance(0.3) {
		return left, nil
	}
	kg := h.between(0.05, 0.5)
	_, err := send(ctx, h.api, t, h.who(), h.heats.SpillHeat, &pb.SpillHeatRequest{Name: h.name(), Weighing: h.weigh(kg), Place: "shelf"})
	return left - kg, err
}

// fill pours the molds as far as the metal goes, then pigs.
func (h *heat) fill(ctx context.Context, t time.Time, left float64) error {
	for _, m := range h.molds {
		state := pb.Mold_STATE_POURED
		if need := m.casting + m.gating; need > left { // run short
			state = pb.Mold_STATE_SHORT
			m.casting, m.gating = left*0.55, left*0.45
		}
		left -= m.casting + m.gating
		h.inMolds += m.casting + m.gating
		if _, err := send(ctx, h.api, t, h.who(), h.heats.PourMold, &pb.PourMoldRequest{Name: h.name(), Mold: m.id, State: state}); err != nil {
			return err
		}
	}
	if left > 0.4 {
		n := int(math.Ceil(left / 7))
		w := h.weigh(left)
		w.Pieces = int64(n)
		resp, err := send(ctx, h.api, t.Add(hours(0.3)), h.who(), h.heats.PourOff, &pb.PourOffRequest{Name: h.name(), Place: "rack", Weighing: w})
		if err != nil {
			return err
		}
		h.stock = append(h.stock, &pile{id: resp.Lot.Name, alloy: h.metal.alloy, form: "pig", kg: left, pieces: n, from: h.n})
	} else {
		h.inMolds += left // a skull that comes out with the gating
		if len(h.molds) > 0 {
			h.molds[0].gating += left
		}
	}
	if _, err := send(ctx, h.api, t.Add(hours(0.5)), h.who(), h.heats.FinishPour, &pb.FinishPourRequest{Name: h.name()}); err != nil {
		return err
	}
	if err := h.burn(ctx, t.Add(hours(0.6))); err != nil {
		return err
	}
	return h.later(ctx, t)
}

// burn notes the propane that the heat burned: what its metal took up, by a furnace
// that brings some sixth of the heat into it, more in a cold week. It is drawn by
// itself, so that a year without it is the same year.
func (h *heat) burn(ctx context.Context, t time.Time) error {
	perKg := 0.75e6 // J to melt and superheat a kilogram of bronze, about; invented for the demo
	if h.metal.crucible == "alu-50" {
		perKg = 1.2e6
	}
	share := 0.165 * math.Exp(0.12*h.fuel.NormFloat64())
	const perLb = 22.7e6 // J in a pound of propane, about
	lb := h.charged*perKg/share/perLb + 1.5*h.fuel.Float64()
	_, err := send(ctx, h.api, t, "joss", h.heats.BurnFuel, &pb.BurnFuelRequest{Parent: h.parent(), Heats: []string{h.id}, Fuel: "propane",
		Amount: fmt.Sprintf("%.1f lb", lb), Price: "0.92 USD/lb"})
	return err
}

package charge

import (
	"fmt"
	"math"
	"math/big"

	"example.org/remelt/ledger/charge/program"
)

// model is the programme of one or more heats over one stock.
type model struct {
	heats []*Heat
	lots  []Lot
	prog  program.Problem
	parts []*part
	cols  []column
	rows  []demandRow // demands; other rows are facts
}

// column is a supply offered to a heat.
type column struct {
	heat int
	supply
}

// part is what the model knows of one heat.
type part struct {
	h       *Heat
	size    *sizing
	base    int // first column
	n       int
	metal   int              // row of the metal for the molds
	rest    int64            // heel less skull, mg
	loss    map[int]*big.Rat // by lot
	left    []LeftOut
	slope   *big.Rat // growth of the demand with the charge: the chord's
	atLeast float64  // demand on net metal where the chord begins, and there
	from    float64
}

// demandRow is a demand, the row that says it, and how a breach of the row is told
// in the demand's unit.
type demandRow struct {
	Demand
	row    int
	weight *big.Rat
	told   func(breach, net float64) float64
}

// ppb takes a part to 1e-9, so that a limit and a content that read alike are alike.
func ppb(f float64) *big.Rat { return big.NewRat(int64(math.Round(f*1e9)), 1e9) }

// pct does so for weight per cent, giving a part.
func pct(f float64) *big.Rat { return big.NewRat(int64(math.Round(f*1e7)), 1e9) }

func newModel(heats []*Heat, lots []Lot) *model {
	m := &model{heats: heats, lots: lots}
	type key struct {
		lot   int
		mass  int64
		loose bool
	}
	shared := map[key][]int{}
	var order []key
	for k, h := range heats {
		p := &part{h: h, base: len(m.cols), rest: h.Heel - h.Skull, loss: map[int]*big.Rat{}}
		var sup []supply
		sup, p.left = supplies(h, lots)
		for _, s := range sup {
			id := key{s.lot, s.mass, s.loose}
			if shared[id] == nil {
				order = append(order, id)
			}
			shared[id] = append(shared[id], len(m.cols))
			m.cols = append(m.cols, column{k, s})
			m.addColumn(&m.cols[len(m.cols)-1])
		}
		p.n = len(m.cols) - p.base
		m.parts = append(m.parts, p)
		p.size = newSizing(h.Molds, h.Filling, h.Loss)
		for i := range lots {
			if lots[i].Loss != nil {
				p.loss[i] = ppb(*lots[i].Loss)
			} else {
				p.loss[i] = ppb(p.size.lossy)
			}
		}
		m.demands(p)
	}
	for _, id := range order { // one stock for all heats: a fact, not a demand
		if cols := shared[id]; len(cols) > 1 {
			r := program.Row{Name: "stock", Hi: m.prog.Cols[cols[0]].Hi}
			for _, j := range cols {
				r.Terms = append(r.Terms, program.Term{Col: j, Coef: program.Int(1)})
			}
			m.prog.AddRow(r)
		}
	}
	return m
}

func (m *model) addColumn(c *column) {
	col := program.Col{Lo: program.Int(0), Whole: c.mass > 0}
	if c.mass > 0 {
		col.Hi = program.Int(c.steps)
	} else {
		col.Hi = program.Int(c.any)
	}
	m.prog.AddCol(col)
}

// row adds lo ≤ Σ coef(column) · mass taken ≤ hi over the columns of p.
func (m *model) row(p *part, lo, hi *big.Rat, coef func(*column) *big.Rat) int {
	r := program.Row{Lo: lo, Hi: hi}
	for j := p.base; j < p.base+p.n; j++ {
		c := &m.cols[j]
		if f := coef(c); f != nil && f.Sign() != 0 {
			r.Terms = append(r.Terms, program.Term{Col: j, Coef: new(big.Rat).Mul(f, program.Int(c.unitMass()))})
		}
	}
	return m.prog.AddRow(r)
}

// demand notes row as one that asks for limit; size is what a breach as large as
// the demand itself would be, in the row's unit.
func (m *model) demand(p *part, row int, what string, limit float64, unit string, size float64, told func(breach, net float64) float64) {
	if told == nil {
		told = func(b, _ float64) float64 { return b / 1e6 }
	}
	w := big.NewRat(1, max(1, int64(math.Round(size))))
	m.rows = append(m.rows, demandRow{Demand{p.h.ID, what, limit, unit}, row, w, told})
}

var one = program.Int(1)

// net is the part of a lot's mass that is left after the melt.
func (p *part) net(lot int) *big.Rat { return new(big.Rat).Sub(one, p.loss[lot]) }

func (m *model) demands(p *part) {
	h := p.h
	mass := func(*column) *big.Rat { return one }
	net := func(c *column) *big.Rat { return p.net(c.lot) }

	m.sizeCharge(p)
	if h.PourOff > 0 {
		lo := program.Int(int64(math.Ceil(p.size.mean)) + h.PourOff - p.rest)
		m.demand(p, m.row(p, lo, nil, net), "pour-off at least", kg(h.PourOff), "kg", p.size.mean+float64(h.PourOff), nil)
	}
	size := p.size.mean + float64(h.PourOff)
	if v := h.Crucible; v.Volume > 0 {
		hold := int64(v.holds())
		m.demand(p, m.row(p, nil, program.Int(hold-h.Heel), mass), "crucible filled to at most", kg(hold), "kg", float64(hold), nil)
	}
	if h.Lift > 0 {
		m.demand(p, m.row(p, nil, program.Int(h.Lift-h.Heel-h.Crucible.Mass), mass), "crucible and metal to lift at most", kg(h.Lift), "kg", float64(h.Lift), nil)
	}
	if h.MaxCharge > 0 {
		m.demand(p, m.row(p, nil, program.Int(h.MaxCharge), mass), "charge at most", kg(h.MaxCharge), "kg", float64(h.MaxCharge), nil)
	}
	if h.PigMold > 0 && h.PigMolds > 0 {
		// Dry pig molds take the pour-off and the metal of one mold that fails, the largest.
		room := h.PigMold * int64(h.PigMolds)
		hi := program.Int(room + int64(p.size.mean) - p.rest - largest(h.Molds))
		m.demand(p, m.row(p, nil, hi, net), "pig molds for the pour-off and one failed mold, together", kg(room), "kg", float64(room), nil)
	}
	m.bulk(p)
	m.returns(p, size)
	for i := range h.Windows {
		m.window(p, &h.Windows[i], size)
	}
	for _, id := range elements(h.Must) {
		need := h.Must[id]
		row := m.row(p, program.Int(need), nil, func(c *column) *big.Rat {
			if m.lots[c.lot].ID == id {
				return one
			}
			return nil
		})
		m.demand(p, row, "spoken for, of lot "+id+", at least", kg(need), "kg", float64(need), nil)
	}
}

// sizeCharge demands the metal for the molds. What is needed on the average grows
// with the charge, because the doubt about the loss does; the curve is convex for
// a normal loss, so the chord between the least charge and the most lies above it.
func (m *model) sizeCharge(p *part) {
	h := p.h
	if len(h.Molds) == 0 {
		p.metal = -1
		return
	}
	least := p.size.leastCharge(h.ChanceShort, float64(p.rest))
	most := least * 1.5
	for _, limit := range []float64{h.Crucible.holds() - float64(h.Heel), float64(h.Lift - h.Heel - h.Crucible.Mass), float64(h.MaxCharge)} {
		if limit > least*1.001 {
			most = math.Min(most, limit)
		}
	}
	a, b := p.size.require(h.ChanceShort, least), p.size.require(h.ChanceShort, most)
	slope := 0.0
	if most > least {
		slope = math.Max(0, (b-a)/(most-least))
	}
	p.slope = new(big.Rat).Add(ppb(slope), big.NewRat(1, 1e9))
	p.from, p.atLeast = least, a
	p.metal = m.row(p, p.metalNeeded(0), nil, func(c *column) *big.Rat { return new(big.Rat).Sub(p.net(c.lot), p.slope) })
	m.demand(p, p.metal, fmt.Sprintf("metal for the molds, for a chance of running short of %.3g %%, at least", 100*h.ChanceShort),
		a/1e6, "kg", a, nil)
}

// metalNeeded is the right-hand side of the metal row, raised by some mg.
func (p *part) metalNeeded(raise float64) *big.Rat {
	slope, _ := p.slope.Float64()
	return program.Int(int64(math.Ceil(p.atLeast-slope*p.from+raise)) - p.rest)
}

func largest(molds []Mold) int64 {
	most := 0.0
	for _, m := range molds {
		most = math.Max(most, m.Metal.Mean)
	}
	return int64(math.Ceil(most))
}

// bulk bounds the loose metal by the room there is for it: what the crucible takes
// at first, and what waits preheated beside the furnace and is fed as it sinks.
// Common practice, no source.
func (m *model) bulk(p *part) {
	h := p.h
	if h.Waiting == nil {
		return
	}
	room := *h.Waiting + h.emptyVolume()
	row := m.row(p, nil, ppb(room), func(c *column) *big.Rat {
		if b := m.lots[c.lot].Bulk; c.loose && b > 0 {
			return ppb(1 / (b * 1000)) // mL for a mg
		}
		return nil
	})
	m.demand(p, row, "room for loose metal at most", room, "mL", math.Max(1, room), func(b, _ float64) float64 { return b })
}

// emptyVolume is the room in the crucible before charging, in mL.
func (h *Heat) emptyVolume() float64 {
	v := h.Crucible
	if v.Volume == 0 {
		return 0
	}
	return math.Max(0, v.Volume*v.Fill-float64(h.Heel)/1000/v.Density)
}

func (m *model) returns(p *part, size float64) {
	for k, v := range []*float64{p.h.Returns.Min, p.h.Returns.Max} {
		if v == nil {
			continue
		}
		share := ppb(*v)
		lo, hi, what := new(big.Rat), (*big.Rat)(nil), "returns at least"
		if k == 1 {
			lo, hi, what = nil, new(big.Rat), "returns at most"
		}
		row := m.row(p, lo, hi, func(c *column) *big.Rat {
			if m.lots[c.lot].Return {
				return new(big.Rat).Sub(one, share)
			}
			return new(big.Rat).Neg(share)
		})
		m.demand(p, row, what, 100**v, "% of the charge", size, func(b, net float64) float64 { return 100 * b / net })
	}
}

// window demands Σ of the elements' masses, less the limit times the net mass, on
// one side of 0. Elements that a lot does not name count as Others against the
// most and as nothing against the least.
func (m *model) window(p *part, w *Window, size float64) {
	h := p.h
	content := func(c map[string]float64, others float64, least bool, lot int) *big.Rat {
		sum := new(big.Rat)
		for _, e := range w.Elements {
			v, ok := c[e]
			if !ok && !least {
				v = others
			}
			keep := one
			if lot >= 0 {
				if k, ok := h.Kept[e]; ok {
					keep = ppb(k)
				} else {
					keep = p.net(lot)
				}
			}
			sum.Add(sum, new(big.Rat).Mul(pct(v), keep))
		}
		return sum
	}
	gain := 0.0
	for _, e := range w.Elements {
		gain += h.pickup(e)
	}
	for k, v := range []*float64{w.Min, w.Max} {
		if v == nil {
			continue
		}
		least := k == 0
		limit := *v + w.Margin - gain
		what := w.name() + " at least"
		if !least {
			limit = *v - w.Margin - gain
			what = w.name() + " at most"
		}
		at := pct(limit)
		rhs := new(big.Rat).Sub(at, content(h.HeelContent, h.HeelOthers, least, -1))
		rhs.Mul(rhs, program.Int(h.Heel))
		lo, hi := rhs, (*big.Rat)(nil)
		if !least {
			lo, hi = nil, rhs
		}
		row := m.row(p, lo, hi, func(c *column) *big.Rat {
			l := &m.lots[c.lot]
			a := content(l.Content, l.Others, least, c.lot)
			return a.Sub(a, new(big.Rat).Mul(at, p.net(c.lot)))
		})
		m.demand(p, row, what, *v, "%", size*math.Max(*v, 0.01)/100, func(b, net float64) float64 { return 100 * b / net })
	}
}

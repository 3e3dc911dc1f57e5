package charge

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
)

// The oracle judges a charge by the words of the package comment, in floats and
// without the programme's rows: what of each lot's pieces and loose metal is taken
// → each demand's margin, negative when it is broken. Margins are in the demand's
// own unit (kg, %, mL).
type taken struct {
	lot   int
	loose bool
	unit  int64 // of one piece or handful
	mass  int64
}

type verdict struct {
	charge, net, cost, returns float64
	margin                     map[string]float64
}

func judge(h *Heat, lots []Lot, size *sizing, takes []taken) verdict {
	v := verdict{margin: map[string]float64{}}
	element := func(e string, least bool) float64 { // mg
		sum := float64(h.Heel) * share(h.HeelContent, h.HeelOthers, e, least)
		for _, t := range takes {
			l := &lots[t.lot]
			keep := 1 - lossOf(l, size)
			if k, ok := h.Kept[e]; ok {
				keep = k
			}
			sum += float64(t.mass) * share(l.Content, l.Others, e, least) * keep
		}
		return sum
	}
	v.net = float64(h.Heel)
	bulk := 0.0
	from := map[string]float64{}
	for _, t := range takes {
		l := &lots[t.lot]
		m := float64(t.mass)
		v.charge += m
		v.net += m * (1 - lossOf(l, size))
		v.cost += m * float64(l.Value) / float64(l.Mass())
		if l.Return {
			v.returns += m
		}
		if t.loose && l.Bulk > 0 {
			bulk += m / 1000 / l.Bulk
		}
		from[l.ID] += m
	}
	metal := v.net - float64(h.Skull)
	if len(h.Molds) > 0 {
		chance, _ := size.short(metal, v.charge)
		v.margin["metal for the molds"] = h.ChanceShort - chance
	}
	if h.PourOff > 0 {
		v.margin["pour-off at least"] = (metal - size.mean - float64(h.PourOff)) / 1e6
	}
	if c := h.Crucible; c.Volume > 0 {
		v.margin["crucible filled"] = c.Volume*c.Fill*c.Density/1000 - (float64(h.Heel)+v.charge)/1e6
	}
	if h.Lift > 0 {
		v.margin["crucible and metal to lift"] = (float64(h.Lift-h.Crucible.Mass-h.Heel) - v.charge) / 1e6
	}
	if h.MaxCharge > 0 {
		v.margin["charge at most"] = (float64(h.MaxCharge) - v.charge) / 1e6
	}
	if h.PigMold > 0 && h.PigMolds > 0 {
		biggest := 0.0
		for _, m := range h.Molds {
			biggest = math.Max(biggest, m.Metal.Mean)
		}
		v.margin["pig molds"] = (float64(h.PigMold)*float64(h.PigMolds) - (metal - size.mean) - biggest) / 1e6
	}
	if h.Waiting != nil {
		room := *h.Waiting
		if c := h.Crucible; c.Volume > 0 {
			room += math.Max(0, c.Volume*c.Fill-float64(h.Heel)/1000/c.Density)
		}
		v.margin["room for loose metal"] = room - bulk
	}
	for id, need := range h.Must {
		v.margin["spoken for, of lot "+id] = (from[id] - float64(need)) / 1e6
	}
	if v.net == 0 {
		return v // nothing has no content and no share
	}
	if h.Returns.Min != nil {
		v.margin["returns at least"] = 100 * (v.returns - *h.Returns.Min*v.charge) / v.net
	}
	if h.Returns.Max != nil {
		v.margin["returns at most"] = 100 * (*h.Returns.Max*v.charge - v.returns) / v.net
	}
	for _, w := range h.Windows {
		low, high := 0.0, 0.0
		for _, e := range w.Elements {
			gain := h.Pickup[e] + h.Deoxide.PerKg/1000*h.Deoxide.Content[e]*h.Deoxide.Kept
			low += element(e, true)/v.net + gain
			high += element(e, false)/v.net + gain
		}
		if w.Min != nil {
			v.margin[w.name()+" at least"] = low - *w.Min - w.Margin
		}
		if w.Max != nil {
			v.margin[w.name()+" at most"] = *w.Max - w.Margin - high
		}
	}
	return v
}

func lossOf(l *Lot, s *sizing) float64 {
	if l.Loss != nil {
		return *l.Loss
	}
	return s.lossy
}

func share(content map[string]float64, others float64, e string, least bool) float64 {
	v, ok := content[e]
	if !ok && !least {
		return others
	}
	return v
}

// short of a name: the oracle's name of a Demand.
func (v verdict) marginOf(d Demand) (float64, bool) {
	for name, m := range v.margin {
		if strings.HasPrefix(d.What, name) {
			return m, true
		}
	}
	return 0, v.net == 0
}

func (v verdict) ok() bool {
	for _, m := range v.margin {
		if m < -1e-7 {
			return false
		}
	}
	return true
}

// everyCharge calls f with every charge that the lots allow, loose metal by the
// handful; it panics for loose metal of any mass.
func everyCharge(h *Heat, lots []Lot, f func([]taken)) {
	type choice struct {
		taken
		n int64
	}
	var all []choice
	for i := range lots {
		l := &lots[i]
		ok := l.Held == ""
		if len(h.Families) > 0 {
			in := false
			for _, fam := range h.Families {
				in = in || fam == l.Family
			}
			ok = ok && in
		}
		if !ok {
			continue
		}
		same := map[int64]int64{}
		var order []int64
		for _, p := range l.Pieces {
			if p.Held == "" {
				if same[p.Mass] == 0 {
					order = append(order, p.Mass)
				}
				same[p.Mass]++
			}
		}
		for _, m := range order {
			all = append(all, choice{taken{i, false, m, 0}, same[m]})
		}
		if free := l.Loose - l.LooseHeld; free > 0 {
			if l.Handful == 0 {
				panic("loose metal of any mass")
			}
			all = append(all, choice{taken{i, true, l.Handful, 0}, free / l.Handful})
			if free%l.Handful > 0 {
				all = append(all, choice{taken{i, true, free % l.Handful, 0}, 1})
			}
		}
	}
	var takes []taken
	var rec func(k int)
	rec = func(k int) {
		if k == len(all) {
			f(takes)
			return
		}
		c := all[k]
		for n := int64(0); n <= c.n; n++ {
			if n > 0 {
				takes = append(takes, taken{c.lot, c.loose, c.unit, n * c.unit})
			}
			rec(k + 1)
			if n > 0 {
				takes = takes[:len(takes)-1]
			}
		}
	}
	rec(0)
}

func f64(v float64) *float64 { return &v }

// randomHeat draws a small heat and stock with ties, holds, and demands that often
// contradict each other.
func randomHeat(r *rand.Rand) (Heat, []Lot) {
	elements := []string{"Sn", "Zn", "Pb"}[:1+r.IntN(3)]
	var lots []Lot
	n := 2 + r.IntN(3)
	for i := range n {
		l := Lot{ID: fmt.Sprintf("L%d", i), Family: "red", Return: r.IntN(2) == 0, Content: map[string]float64{}}
		for _, e := range elements {
			l.Content[e] = float64(r.IntN(12))
		}
		if r.IntN(5) == 0 {
			delete(l.Content, elements[0])
			l.Others = 0.5
		}
		for range r.IntN(3) {
			l.Pieces = append(l.Pieces, Piece{ID: fmt.Sprintf("p%d", len(l.Pieces)), Mass: int64(2+r.IntN(9)) * 1e6})
			if r.IntN(2) == 0 {
				l.Pieces = append(l.Pieces, l.Pieces[len(l.Pieces)-1])
			}
			if r.IntN(8) == 0 {
				l.Pieces[len(l.Pieces)-1].Held = "spoken for"
			}
		}
		if r.IntN(3) == 0 || len(l.Pieces) == 0 {
			l.Handful = 2e6
			l.Loose = int64(1+r.IntN(5)) * 2e6
			if r.IntN(3) == 0 {
				l.Loose += 700_000
			}
			if r.IntN(4) == 0 {
				l.LooseHeld = 2e6
			}
			l.Bulk = 2
		}
		if r.IntN(3) == 0 {
			l.Loss = f64(float64(r.IntN(6)) / 100)
		}
		if r.IntN(10) == 0 {
			l.Held = "not identified"
		}
		if r.IntN(10) == 0 {
			l.Family = "yellow"
		}
		l.Value = l.Mass() / 1e6 * int64(300+100*r.IntN(4))
		lots = append(lots, l)
	}
	h := Heat{ID: "h", Families: []string{"red"}, ChanceShort: 0.05}
	for range 1 + r.IntN(2) {
		h.Molds = append(h.Molds, Mold{Metal: Estimate{Mean: float64(2+r.IntN(9)) * 1e6}})
	}
	h.Filling = Filling{Bias: 0.02, Weight: 10, Spread: 0.04, DF: 12}
	h.Loss = NormalLoss{Mean: 0.02}
	if r.IntN(2) == 0 {
		h.Loss = NormalLoss{Mean: 0.02, SD: 0.01}
	}
	if r.IntN(3) == 0 {
		h.PourOff = int64(r.IntN(3)) * 1e6
	}
	if r.IntN(3) == 0 {
		h.Heel, h.HeelContent = 1e6, map[string]float64{"Sn": 5}
	}
	if r.IntN(3) == 0 {
		h.Skull = 300_000
	}
	h.Crucible = Crucible{Volume: float64(1000 + r.IntN(3000)), Fill: 0.9, Density: 7.8, Mass: 6e6}
	if r.IntN(3) == 0 {
		h.Lift = int64(20+r.IntN(20)) * 1e6
	}
	if r.IntN(4) == 0 {
		h.MaxCharge = int64(10+r.IntN(15)) * 1e6
	}
	if r.IntN(3) == 0 {
		h.Waiting = f64(float64(r.IntN(2000)))
	}
	if r.IntN(3) == 0 {
		h.PigMold, h.PigMolds = 4e6, 2+r.IntN(4)
	}
	for _, e := range elements {
		w := Window{Elements: []string{e}}
		mid := float64(3 + r.IntN(5))
		switch r.IntN(4) {
		case 0:
			w.Min = f64(mid - 1)
		case 1:
			w.Max = f64(mid + 1)
		case 2:
			w.Min, w.Max = f64(mid-2), f64(mid+2)
		default:
			continue
		}
		if r.IntN(4) == 0 {
			w.Margin = 0.1
		}
		h.Windows = append(h.Windows, w)
	}
	if len(elements) > 1 && r.IntN(3) == 0 {
		h.Windows = append(h.Windows, Window{Name: "both", Elements: elements[:2], Max: f64(float64(8 + r.IntN(8)))})
	}
	if r.IntN(3) == 0 {
		h.Kept = map[string]float64{"Zn": 0.95}
		h.Pickup = map[string]float64{"Sn": 0.05}
		h.Deoxide = Deoxidiser{Name: "phosphor copper", PerKg: 1, Content: map[string]float64{"P": 15, "Sn": 2}, Kept: 0.5}
	}
	if r.IntN(3) == 0 {
		h.Returns.Max = f64(0.5)
	}
	if r.IntN(5) == 0 {
		h.Returns.Min = f64(0.3)
	}
	if r.IntN(5) == 0 {
		h.Must = map[string]int64{lots[0].ID: 2e6}
	}
	if r.IntN(3) == 0 {
		h.Aim = MostReturns
	}
	return h, lots
}

package charge

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
)

// The alloy scrap blend of the GLPK Reference Manual (model PLAN) as a charge: five
// bins of scrap, aluminium and silicon as loose metal of any mass, 2 000 lb of an
// Al-Si alloy, nothing lost. A pound stands as a kilogram, which changes no ratio.
func TestScrapBlendAsCharge(t *testing.T) {
	var c struct {
		Inputs struct {
			Variables []string
			Cost      []float64
			Rows      []struct {
				Name, Type string
				RHS        float64
				Coef       []float64
			}
			Lower, Upper []*float64
		}
		Expected struct {
			Cost float64
			X    map[string]float64
		}
	}
	example(t, "g01-lp-alloy-scrap-blend", &c)
	const total, kilo = 2000, 1_000_000
	h := Heat{ID: "plan", ChanceShort: 0.5, PourOff: total * kilo, MaxCharge: total * kilo, Must: map[string]int64{}}
	lots := make([]Lot, len(c.Inputs.Variables))
	for j, name := range c.Inputs.Variables {
		stock := 5000.0
		if u := c.Inputs.Upper[j]; u != nil {
			stock = *u
		}
		lots[j] = Lot{ID: name, Loose: int64(stock) * kilo, Content: map[string]float64{}, Value: int64(math.Round(c.Inputs.Cost[j] * stock * 1e6))}
		if *c.Inputs.Lower[j] > 0 {
			h.Must[name] = int64(*c.Inputs.Lower[j]) * kilo
		}
	}
	window := map[string]*Window{}
	for _, r := range c.Inputs.Rows {
		if r.Name == "yield" {
			continue
		}
		e := strings.TrimRight(r.Name, "12")
		if window[e] == nil {
			h.Windows = append(h.Windows, Window{Elements: []string{e}})
		}
		w := &h.Windows[len(h.Windows)-1]
		window[e] = w
		if r.Type == "L" {
			w.Max = f64(100 * r.RHS / total)
		} else {
			w.Min = f64(100 * r.RHS / total)
		}
		for j, v := range r.Coef {
			lots[j].Content[e] = 100 * v
		}
	}
	// The bins' columns need not add up to 100 %; some of the manual's exceed it.
	p, err := Make(context.Background(), h, lots, exactly)
	if err != nil {
		t.Fatal(err)
	}
	if got := float64(p.Cost) / 1e6; math.Abs(got-c.Expected.Cost) > 1e-6 {
		t.Errorf("cost %v, published %v", got, c.Expected.Cost)
	}
	mass := map[string]float64{}
	for _, k := range p.Takes {
		mass[k.Lot] += float64(k.Mass) / kilo
	}
	for name, want := range c.Expected.X {
		if math.Abs(mass[name]-want) > 1e-5 {
			t.Errorf("%s: %v, published %v", name, mass[name], want)
		}
	}
}

func TestFieldErrors(t *testing.T) {
	good := func() (Heat, []Lot) {
		return Heat{ID: "41", ChanceShort: 0.05, Molds: []Mold{{ID: "a", Metal: Estimate{Mean: 5e6}}}},
			[]Lot{{ID: "ingot", Pieces: []Piece{{Mass: 9e6}}, Value: 900}}
	}
	if _, err := func() (*Plan, error) { h, l := good(); return Make(context.Background(), h, l, Limits{}) }(); err != nil {
		t.Fatal(err)
	}
	for field, spoil := range map[string]func(h *Heat, l []Lot){
		"heats[0].ChanceShort":       func(h *Heat, l []Lot) { h.ChanceShort = 0 },
		"heats[0].Molds":             func(h *Heat, l []Lot) { h.Molds = nil },
		"heats[0].Molds[0].Metal.SD": func(h *Heat, l []Lot) { h.Molds[0].Metal.SD = -1 },
		"heats[0].Molds[0].MaxC":     func(h *Heat, l []Lot) { h.Molds[0].MinC = 1100 },
		"heats[0].Heel":              func(h *Heat, l []Lot) { h.Heel = -1 },
		"heats[0].Crucible.Fill":     func(h *Heat, l []Lot) { h.Crucible.Volume = 1000 },
		"heats[0].Crucible.Density":  func(h *Heat, l []Lot) { h.Crucible = Crucible{Volume: 1000, Fill: 0.9} },
		"heats[0].Windows[0]":        func(h *Heat, l []Lot) { h.Windows = []Window{{Elements: []string{"Sn"}, Max: f64(math.NaN())}} },
		"heats[0].Must":              func(h *Heat, l []Lot) { h.Must = map[string]int64{"nothing": 1} },
		"heats[0].Returns":           func(h *Heat, l []Lot) { h.Returns.Max = f64(50) },
		"heats[0].Filling.DF":        func(h *Heat, l []Lot) { h.Filling = Filling{DF: 1, Spread: 0.1} },
		"heats[0].Kept[Zn]":          func(h *Heat, l []Lot) { h.Kept = map[string]float64{"Zn": 97} },
		"heats[0].Deoxide.Kept":      func(h *Heat, l []Lot) { h.Deoxide.Kept = 2 },
		"heats[0].Pouring.MaxTapC":   func(h *Heat, l []Lot) { h.Pouring.MaxTapC = -1 },
		"lots[0].Pieces[0].Mass":     func(h *Heat, l []Lot) { l[0].Pieces[0].Mass = 0 },
		"lots[0].Content[Sn]":        func(h *Heat, l []Lot) { l[0].Content = map[string]float64{"Sn": -1} },
		"lots[0].Content":            func(h *Heat, l []Lot) { l[0].Content = map[string]float64{"Cu": 90, "Sn": 20} },
		"lots[0].Loss":               func(h *Heat, l []Lot) { l[0].Loss = f64(1) },
		"lots[0].LooseHeld":          func(h *Heat, l []Lot) { l[0].LooseHeld = 5 },
		"lots[0].Bulk":               func(h *Heat, l []Lot) { l[0].Bulk = -2 },
	} {
		h, l := good()
		spoil(&h, l)
		_, err := Make(context.Background(), h, l, Limits{})
		var e *FieldError
		if !errors.As(err, &e) || e.Field != field || e.Want == "" {
			t.Errorf("%s: %v", field, err)
		}
	}
}

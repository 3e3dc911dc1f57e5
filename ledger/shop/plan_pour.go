package shop

import (
	"fmt"
	"slices"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/unit"
)

// PlannedPour is one mold's turn.
type PlannedPour struct {
	Mold       ledger.Mold
	FromC, ToC float64 // pour between these; both 0 when nothing says
	Thin       bool    // poured as a thin one
	charge.PourStep
}

// Molds are thin or heavy by the size of their castings, until somebody says which:
// under 600 ml of metal, some 5 kg of bronze, counts as thin. Where no pouring
// temperature is known at all, thin ones are poured 120 to 200 K over the liquidus
// and heavy ones 60 to 140. Common practice, no source.
const (
	thinBelowMl                   = 600
	thinSuperheat, mostThin       = 120, 200
	heavySuperheat, mostHeavy     = 60, 140
	leastReadings, latestReadings = 3, 10
	warmest                       = 400 // K over the liquidus: more is not the melt
)

// pouring gives each mold its temperatures.
func (p *planner) pouring(r ledger.Reader) error {
	t, err := pourTemperatures(r, p.a, p.own, p.table, p.q.PourFromC, p.q.PourToC)
	if err != nil {
		return err
	}
	if t.why == "" {
		p.note("no pouring temperature is known for this alloy, nor its liquidus")
	} else {
		p.note("pouring temperatures: %s", t.why)
	}
	takes := p.q.Takes
	if takes == 0 {
		takes = usualTakes
	}
	for i := range p.heat.Molds {
		m := &p.heat.Molds[i]
		m.MinC, m.MaxC = t.of(p.isThin(p.molds[m.ID], t.density))
		m.Takes = takes
	}
	p.heat.Pouring = charge.Pouring{CoolPerMinute: p.as.coolingPerMinute, MaxTapC: p.as.hottestTap}
	if p.as.coolingPerMinute == 0 {
		p.note("how fast the melt cools while it is poured is not reckoned")
	} else {
		p.note("the melt loses %s a minute while it is poured, and a mold takes %.3g s", degrees(p.settings, p.as.coolingPerMinute), takes)
	}
	return nil
}

// isThin says whether a mold is poured as a thin one.
func (p *planner) isThin(m ledger.Mold, density float64) bool {
	return isThin(m, density, p.q.Light, p.q.Heavy)
}

func isThin(m ledger.Mold, density float64, light, heavy []string) bool {
	switch {
	case slices.Contains(light, m.ID):
		return true
	case slices.Contains(heavy, m.ID):
		return false
	}
	return density > 0 && float64(m.Metal)/1000/density < thinBelowMl
}

// degrees writes a difference of temperatures on the shop's scale.
func degrees(s ledger.Shop, k float64) string {
	if unit.TempUnit(s.TempUnit) == unit.F {
		return fmt.Sprintf("%.3g °F", k*9/5)
	}
	return fmt.Sprintf("%.3g °C", k)
}

// temperatures are what an alloy is poured at.
type temperatures struct {
	thin, heavy [2]float64 // °C, from and to
	density     float64    // g/cm³ of the solid; 0 not known
	why         string
}

func (t temperatures) of(thin bool) (from, to float64) {
	if thin {
		return t.thin[0], t.thin[1]
	}
	return t.heavy[0], t.heavy[1]
}

// pourTemperatures finds an alloy's pouring temperatures: those given, the shop's
// own, those printed, those read in the shop's heats, those recalled, or some
// superheat over the liquidus, whichever comes first.
func pourTemperatures(r ledger.Reader, a alloy.Alloy, own ledger.Alloy, table alloy.Table, from, to *float64) (t temperatures, err error) {
	if d, ok := a.Figure(alloy.Density); ok {
		t.density = d.Value
	}
	if from != nil && to != nil {
		t.thin, t.why = [2]float64{*from, *to}, "as given"
		t.heavy = t.thin
		return t, nil
	}
	if own.PourFromC > 0 {
		t.thin, t.why = [2]float64{float64(own.PourFromC) / 1000, float64(max(own.PourFromC, own.PourToC)) / 1000}, "the shop's own"
		t.heavy = t.thin
		return t, nil
	}
	thin, okThin := a.Figure(alloy.PourLight)
	heavy, okHeavy := a.Figure(alloy.PourHeavy)
	listed := func() {
		t.thin, t.heavy = [2]float64{thin.Value, max(thin.Value, thin.High)}, [2]float64{heavy.Value, max(heavy.Value, heavy.High)}
		t.why = "thin and heavy sections apart (" + thin.Source + "); a casting counts as thin under 600 ml of metal"
	}
	if okThin && okHeavy && thin.Verified != alloy.Memory && heavy.Verified != alloy.Memory {
		listed()
		return t, nil
	}
	liquidus, known := a.Figure(alloy.Liquidus)
	if known {
		low, high, n, err := readAtPour(r, a, table)
		if err != nil {
			return t, err
		}
		if n >= leastReadings {
			t.thin, t.heavy = [2]float64{liquidus.Value + low, liquidus.Value + high}, [2]float64{liquidus.Value + low, liquidus.Value + high}
			t.why = "the range of those read in the shop's last " + counted(n, "heat") + " of this alloy"
			return t, nil
		}
	}
	switch {
	case okThin && okHeavy:
		listed()
	case known:
		t.thin = [2]float64{liquidus.Value + thinSuperheat, liquidus.Value + mostThin}
		t.heavy = [2]float64{liquidus.Value + heavySuperheat, liquidus.Value + mostHeavy}
		t.why = "none is listed: 120 to 200 K over the liquidus for castings under 600 ml of metal, 60 to 140 K for larger ones (common practice, no source)"
	}
	return t, nil
}

// readAtPour is the range of superheats, in K, read last before the pour in the
// latest heats of an alloy.
func readAtPour(r ledger.Reader, a alloy.Alloy, table alloy.Table) (low, high float64, n int, err error) {
	recs, err := kept{r}.records(ledger.RecHeat, "")
	if err != nil {
		return 0, 0, 0, err
	}
	var heats []ledger.Heat
	for _, rec := range recs {
		var h ledger.Heat
		if err := rec.Into(&h); err != nil {
			return 0, 0, 0, err
		}
		if h.Alloy == a.ID && !h.Poured.IsZero() {
			heats = append(heats, h)
		}
	}
	slices.SortStableFunc(heats, func(x, y ledger.Heat) int { return y.Poured.Compare(x.Poured) })
	for _, h := range heats {
		if n == latestReadings {
			break
		}
		read, err := byParent[ledger.Reading](kept{r}, ledger.RecReading, ledger.OfHeat(h.ID))
		if err != nil {
			return 0, 0, 0, err
		}
		above := superheat(read[ledger.OfHeat(h.ID)], h, table)
		if above == nil || *above <= 0 || *above > warmest {
			continue
		}
		if n == 0 || *above < low {
			low = *above
		}
		high = max(high, *above)
		n++
	}
	return low, high, n, nil
}

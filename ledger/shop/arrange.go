package shop

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/unit"
)

// ArrangeQuery asks how to make heats of molds that wait to be poured.
type ArrangeQuery struct {
	Heats []string // planned heats whose molds are arranged anew; all planned heats when this and Molds are empty
	Molds []string // these molds
	Pots  []string // crucibles that may be used; all that are not retired when empty

	ChanceShort ledger.PPM  // of each heat; 5 % when 0
	PourOff     ledger.Mass // wanted left over of each heat, on the average
	Fill        ledger.PPM  // part of a crucible's usable volume that may be filled; as its record says when 0

	PourFromC, PourToC *float64 // as in PlanQuery, and so are the next three
	Light, Heavy       []string
	Takes              float64
	MaxTapC            float64
	Cooling            float64 // °C that a melt loses a minute; usualCooling when 0
}

// usualCooling is how fast a melt is taken to cool while molds are poured from it,
// °C a minute: common practice, no source.
const usualCooling = 10

// Arrangement is a way to make heats of molds: the fewest heats, and then the least
// metal melted.
type Arrangement struct {
	Heats    []ArrangedHeat
	Proven   bool // no other way is better
	Cautions []alloy.Caution
	Notes    []string
	Seq      int64
}

// ArrangedHeat is one heat of an arrangement.
type ArrangedHeat struct {
	Alloy, Owner, Crucible string
	Molds                  []PlannedPour // in order of pouring
	MoldsMass              ledger.Mass
	Charge                 ledger.Mass // the least that runs short with the chance set at most
	TapC                   float64     // coolest at which it may leave the furnace; 0 not known
	Loss                   loss.Forecast
}

// ArrangeHeats groups molds into heats by alloy, owner, pouring temperature and
// crucible. It changes nothing: the heats are for people to plan.
func (s *Shop) ArrangeHeats(ctx context.Context, q ArrangeQuery) (out Arrangement, err error) {
	checked := PlanQuery{ChanceShort: cmp.Or(q.ChanceShort, usualShort), PourOff: q.PourOff, Fill: q.Fill, PourFromC: q.PourFromC, PourToC: q.PourToC,
		Cooling: cmp.Or(q.Cooling, usualCooling), Takes: cmp.Or(q.Takes, usualTakes), MaxTapC: q.MaxTapC}
	if err := checked.check(); err != nil {
		return out, err
	}
	q.ChanceShort, q.Cooling, q.Takes = checked.ChanceShort, checked.Cooling, checked.Takes
	a := &arranger{q: q, shop: s}
	if a.learned, a.heats, err = s.learned(ctx); err != nil {
		return out, err
	}
	if err := s.view(ctx, a.read); err != nil {
		return out, err
	}
	return a.arrange()
}

// kin are molds that may share a heat as far as their metal goes.
type kin struct{ alloy, owner string }

// arranger makes one arrangement.
type arranger struct {
	q       ArrangeQuery
	shop    *Shop
	learned *loss.Model
	heats   []loss.Heat
	arrangeFacts
}

// arrangeFacts is what is read from the book, anew at each reading.
type arrangeFacts struct {
	seq      int64
	settings ledger.Shop
	table    alloy.Table
	molds    map[kin][]ledger.Mold
	temps    map[string]temperatures // by alloy
	pots     []ledger.Pot
	used     map[string]map[alloy.Family]bool // families melted in a crucible so far
	filling  charge.Filling
	notes    []string
}

func (a *arranger) note(format string, args ...any) {
	a.notes = append(a.notes, fmt.Sprintf(format, args...))
}

func (a *arranger) words(m ledger.Mass) string {
	return unit.FormatMass(int64(m), unit.MassUnit(a.settings.MassUnit), 0)
}

func (a *arranger) read(r ledger.Reader) error {
	a.arrangeFacts = arrangeFacts{molds: map[kin][]ledger.Mold{}, temps: map[string]temperatures{}, used: map[string]map[alloy.Family]bool{}}
	head, err := r.Head()
	if err != nil {
		return err
	}
	a.seq = head.Seq
	if a.settings, err = settingsIn(r); err != nil {
		return err
	}
	if a.table, err = tableIn(r); err != nil {
		return err
	}
	heats, err := a.readHeats(r)
	if err != nil {
		return err
	}
	if err := a.readMolds(r, heats); err != nil {
		return err
	}
	if err := a.readPots(r); err != nil {
		return err
	}
	var note string
	if a.filling, note, err = learnedFilling(r); err != nil {
		return err
	}
	a.notes = append(a.notes, note)
	a.note("a melt loses %s a minute while it is poured, and a mold takes %.3g s", degrees(a.settings, a.q.Cooling), a.q.Takes)
	return a.readTemperatures(r)
}

// readHeats gives the planned heats asked for, and notes what was melted in which
// crucible.
func (a *arranger) readHeats(r ledger.Reader) (map[string]ledger.Heat, error) {
	recs, err := kept{r}.records(ledger.RecHeat, "")
	if err != nil {
		return nil, err
	}
	all, planned := map[string]ledger.Heat{}, map[string]ledger.Heat{}
	for _, rec := range recs {
		var h ledger.Heat
		if err := rec.Into(&h); err != nil {
			return nil, err
		}
		all[h.ID] = h
		if al, err := a.table.Find(h.Alloy); err == nil && h.Crucible != "" && !h.Opened.IsZero() {
			if a.used[h.Crucible] == nil {
				a.used[h.Crucible] = map[alloy.Family]bool{}
			}
			a.used[h.Crucible][al.Family] = true
		}
		if h.State == ledger.Planned && (len(a.q.Heats) == 0 || slices.Contains(a.q.Heats, h.ID)) {
			planned[h.ID] = h
		}
	}
	for _, id := range a.q.Heats {
		h, known := all[id]
		switch {
		case !known:
			return nil, &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "heat", Value: id}
		case h.State != ledger.Planned:
			return nil, &ledger.Error{Class: ledger.ErrState, Reason: "HEAT_STATE", Field: "heat", Value: id, Want: fmt.Sprintf("is %s; molds are arranged for heats that are planned", h.State)}
		}
	}
	return planned, nil
}

func (a *arranger) readMolds(r ledger.Reader, heats map[string]ledger.Heat) error {
	recs, err := kept{r}.records(ledger.RecMold, "")
	if err != nil {
		return err
	}
	found := map[string]bool{}
	for _, rec := range recs {
		var m ledger.Mold
		if err := rec.Into(&m); err != nil {
			return err
		}
		h, ok := heats[m.Heat]
		if !ok || m.State != ledger.MoldPlanned || len(a.q.Molds) > 0 && !slices.Contains(a.q.Molds, m.ID) {
			continue
		}
		if m.Metal+m.Gating <= 0 {
			return &ledger.Error{Class: ledger.ErrState, Reason: "MOLD_WITHOUT_WEIGHT", Field: "mold", Value: m.ID, Want: "has no planned weight; give its metal and gating first"}
		}
		found[m.ID] = true
		k := kin{h.Alloy, h.Owner}
		a.molds[k] = append(a.molds[k], m)
	}
	for _, id := range a.q.Molds {
		if !found[id] {
			return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "mold", Value: id, Want: "is no mold of a planned heat that waits to be poured"}
		}
	}
	if len(found) == 0 {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_MOLDS", Field: "heats", Want: "no mold of a planned heat waits to be poured"}
	}
	return nil
}

func (a *arranger) readPots(r ledger.Reader) error {
	recs, err := kept{r}.records(ledger.RecPot, "")
	if err != nil {
		return err
	}
	known := map[string]bool{}
	for _, rec := range recs {
		var p ledger.Pot
		if err := rec.Into(&p); err != nil {
			return err
		}
		known[p.ID] = p.Kind == ledger.PotCrucible
		if p.Kind != ledger.PotCrucible || p.Retired || len(a.q.Pots) > 0 && !slices.Contains(a.q.Pots, p.ID) {
			continue
		}
		if family, known, err := a.shop.Family(r, p.Family); err != nil {
			return err
		} else if known {
			p.Family = family
		}
		if p.VolumeMm3 == 0 && p.Capacity == 0 {
			a.note("crucible %s has neither a volume nor a greatest mass in the book and is left out", p.ID)
			continue
		}
		heel, err := r.Balance(ledger.Acct(ledger.Heel, p.ID))
		if err != nil {
			return err
		}
		if heel > 0 {
			a.note("crucible %s holds a heel, which is not reckoned here", p.ID)
		}
		if a.q.Fill == 0 && p.Fill > 0 {
			a.note("crucible %s is filled to %.4g %% of its usable volume at most, as the book says", p.ID, 100*part(p.Fill))
		}
		if p.Lift > 0 {
			a.note("crucible %s, which weighs %s empty, is lifted with %s at most, as the book says", p.ID, a.words(p.Empty), a.words(p.Lift))
		}
		if p.Skull > 0 {
			a.note("%s stay in crucible %s after the pour, as the book says", a.words(p.Skull), p.ID)
		}
		a.pots = append(a.pots, p)
	}
	for _, id := range a.q.Pots {
		if !known[id] {
			return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "crucible", Value: id}
		}
	}
	if len(a.pots) == 0 {
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_CRUCIBLE", Field: "crucibles", Want: "no crucible in the book says how much it may hold; give one its volume or capacity"}
	}
	return nil
}

func (a *arranger) readTemperatures(r ledger.Reader) error {
	for _, k := range a.kins() {
		if _, done := a.temps[k.alloy]; done {
			continue
		}
		al, err := a.table.Find(k.alloy)
		if err != nil {
			return scienceError("alloy", err)
		}
		var own ledger.Alloy
		if rec, found, err := r.Record(ledger.RecAlloy, al.ID); err != nil {
			return err
		} else if found {
			if err := rec.Into(&own); err != nil {
				return err
			}
		}
		if a.temps[k.alloy], err = pourTemperatures(r, al, own, a.table, a.q.PourFromC, a.q.PourToC); err != nil {
			return err
		}
		if why := a.temps[k.alloy].why; why != "" {
			a.note("%s, pouring temperatures: %s", k.alloy, why)
		}
	}
	return nil
}

// kins lists what the molds are of, in order.
func (a *arranger) kins() (out []kin) {
	for k := range a.molds {
		out = append(out, k)
	}
	slices.SortFunc(out, func(x, y kin) int { return cmp.Or(cmp.Compare(x.alloy, y.alloy), cmp.Compare(x.owner, y.owner)) })
	return out
}

// A heat more outweighs any difference in metal melted, which counts by the gram.
const (
	heatCost  = 1e11
	perKgCost = 1000
)

func (a *arranger) arrange() (out Arrangement, err error) {
	out.Proven, out.Seq = true, a.seq
	facts := alloy.Facts{Melt: true, Skimmings: true}
	for _, k := range a.kins() {
		al, err := a.table.Find(k.alloy)
		if err != nil {
			return out, scienceError("alloy", err)
		}
		facts.Alloys = append(facts.Alloys, al)
		shares, _ := usualShares(a.heats, familyOf(a.table, k.alloy))
		f, err := a.learned.Forecast(loss.Charge{Family: familyOf(a.table, k.alloy), Kg: 1, Shares: shares})
		if err != nil {
			return out, scienceError("charge", err)
		}
		g := charge.Grouping{Vessels: a.vessels(al), ChanceShort: part(a.q.ChanceShort), PourOff: int64(a.q.PourOff), Filling: a.filling, Loss: f,
			Pouring: charge.Pouring{CoolPerMinute: a.q.Cooling, MaxTapC: a.q.MaxTapC}, PerKg: perKgCost}
		if len(g.Vessels) == 0 {
			return out, &ledger.Error{Class: ledger.ErrState, Reason: "NO_CRUCIBLE", Field: "alloy", Value: k.alloy, Want: "no crucible may melt it: a crucible belongs to one family of alloys"}
		}
		molds, t := a.molds[k], a.temps[k.alloy]
		for _, m := range molds {
			low, high := t.of(isThin(m, t.density, a.q.Light, a.q.Heavy))
			fill := moldToFill(m)
			fill.MinC, fill.MaxC, fill.Takes = low, high, a.q.Takes
			g.Molds = append(g.Molds, fill)
		}
		found, err := charge.Arrange(g)
		if err != nil {
			return out, arrangeError(err)
		}
		out.Proven = out.Proven && found.Proven
		for _, gr := range found.Heats {
			h := ArrangedHeat{Alloy: k.alloy, Owner: k.owner, Crucible: gr.Vessel, Charge: ledger.Mass(math.Ceil(gr.Charge)), TapC: gr.TapC, Loss: f}
			for _, i := range gr.Molds {
				m := g.Molds[i]
				h.MoldsMass += molds[i].Metal + molds[i].Gating
				h.Molds = append(h.Molds, PlannedPour{Mold: molds[i], FromC: m.MinC, ToC: m.MaxC, Thin: isThin(molds[i], t.density, a.q.Light, a.q.Heavy)})
				facts.PourC = math.Max(facts.PourC, m.MaxC)
			}
			facts.PourC = math.Max(facts.PourC, gr.TapC)
			out.Heats = append(out.Heats, h)
		}
	}
	out.Notes, out.Cautions = a.notes, alloy.Cautions(facts)
	return out, nil
}

// vessels are the crucibles an alloy may be melted in, the smallest first: those of
// its family, and those of none that held nothing else.
func (a *arranger) vessels(al alloy.Alloy) (out []charge.Vessel) {
	density, _ := meltDensity(al)
	for _, p := range a.pots {
		used := a.used[p.ID]
		if p.Family != "" && p.Family != string(al.Family) || p.Family == "" && len(used) > 0 && !used[al.Family] {
			continue
		}
		p.Fill = cmp.Or(a.q.Fill, p.Fill)
		holds := float64(p.Holds(density))
		if holds == 0 {
			continue
		}
		out = append(out, charge.Vessel{ID: p.ID, Cost: heatCost, Lift: int64(p.Lift), Skull: int64(p.Skull),
			Crucible: charge.Crucible{Volume: holds / 1000, Fill: 1, Density: 1, Mass: int64(p.Empty)}})
	}
	slices.SortStableFunc(out, func(x, y charge.Vessel) int { return cmp.Compare(x.Crucible.Volume, y.Crucible.Volume) })
	return out
}

func arrangeError(err error) error {
	var no *charge.Ungroupable
	var field *charge.FieldError
	switch {
	case errors.As(err, &no):
		return &ledger.Error{Class: ledger.ErrState, Reason: "NO_HEAT_FOR_MOLD", Field: "mold", Value: no.Mold, Want: "no heat can be made for it: " + no.Why}
	case errors.As(err, &field):
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PLAN", Field: field.Field, Value: field.Value, Want: field.Want}
	}
	return err
}

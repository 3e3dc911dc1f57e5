package shop

import (
	"context"
	"fmt"
	"math"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/loss"
)

// Spoken says what becomes of metal that is spoken for a heat that is planned.
type Spoken int

// What is spoken for others is never planned.
const (
	SpokenPreferred Spoken = iota // it goes in if a charge with it can be
	SpokenMust                    // it goes in
	SpokenIgnored                 // it may go in like all other metal
)

// PlanQuery asks what should go into a heat. A zero field asks for nothing unless
// its comment says otherwise.
type PlanQuery struct {
	Heat        string
	ChanceShort ledger.PPM  // greatest chance that the molds take more than there is; 5 % when 0
	PourOff     ledger.Mass // wanted left over, on the average
	LeastShare  *ledger.PPM // of returns in the charge
	MostShare   *ledger.PPM
	Aim         charge.Aim
	Spoken      Spoken

	// How the heat's pots are handled. What is nil or 0 here, cooling and the hottest
	// tap below included, is as the book says of its crucible, else of its furnace; a
	// pointer to 0 asks for nothing whatever the book says.
	Fill     ledger.PPM   // part of the crucible's usable volume that may be filled; all of it when nothing says
	Lift     *ledger.Mass // the most that may be lifted, crucible and metal
	PotMass  *ledger.Mass // the empty crucible, for Lift
	Skull    *ledger.Mass // what stays in it after the pour
	Waiting  *int64       // mm³ of room for loose metal that waits preheated; as much as it takes when nothing says
	PigMold  *ledger.Mass // what one pig mold holds
	PigMolds int          // of these, dry and ready; as many as needed when nothing says

	NoLimits      bool        // leave the alloy's composition limits out
	ChanceOutside *ledger.PPM // greatest chance of being outside each; nil: 5 % where that can be had

	Deoxidiser string      // the supply; the one the shop's heats of the alloy were given when empty
	Dose       *ledger.PPM // of the melt; as in those heats when nil, none when 0
	Phosphorus ledger.PPM  // in the deoxidiser; all of it is taken to stay in the melt

	PourFromC, PourToC *float64 // pour all molds between these, °C; both or neither
	Light, Heavy       []string // molds to be poured as thin or as heavy ones, whatever their size
	Cooling            float64  // °C that the melt loses a minute while it is poured; not reckoned when nothing says
	Takes              float64  // seconds from one mold to the next; usualTakes when 0
	MaxTapC            float64  // the hottest that it may leave the furnace, °C
}

// Common practice, no source.
const (
	usualShort   = 50_000 // ppm: one heat in twenty
	usualOutside = 50_000 // ppm
	usualTakes   = 30     // seconds
)

// ChargePlan is a proposed charge and what follows from it. It says what was
// reckoned, never that a charge is safe.
type ChargePlan struct {
	Plan  *charge.Plan
	Heat  ledger.Heat
	Lots  map[string]ledger.LotView // those in Plan
	Items []ledger.ChargeItem       // the plan as the book takes it
	Heel  ledger.Mass               // in the crucible from the heat before, to be charged too
	Ready ledger.Mass               // in the crucible already, of this heat

	PotMass ledger.Mass // the empty crucible in Plan.Lift; 0 not known

	Currency   string           // of Plan.Cost; "" when no price is known and costs are only compared
	Limits     *alloy.LimitSet  // what the composition was held to; nil when none
	Contents   []PlannedContent // as Plan.Contents, with their doubt
	Filling    charge.Filling   // what was learned of how much molds take
	MoldsMass  ledger.Mass      // planned, casting and gating
	Loss       loss.Forecast    // of this very charge
	Pour       []PlannedPour    // in order
	Deoxidiser string           // the supply; "" for none
	MeltHeat   alloy.Heat       // that the charge takes up, from room temperature to the tap; 0 when no fuel is known
	Fuels      []FuelNeed       // for it, of what the heat's furnace has burned
	Left       []PlanLeft       // lots, and pieces of lots, that were not looked at
	Cautions   []alloy.Caution
	Notes      []string // what was assumed, as sentences
	Seq        int64
}

// PlannedContent is what the melt is expected to hold of an element, or of several
// that a limit counts together.
type PlannedContent struct {
	Name         string
	Elements     []string
	Min, Max     *float64 // weight %; nil: none
	Percent      float64  // what the lots do not name counted as nothing
	Most         float64  // with it counted as this element
	SD           float64
	Below, Above float64 // chances of being outside the limits, by the doubt of what was measured
	Binding      bool    // a limit, or the doubt kept from it, shapes the charge
}

// PlanLeft is metal that was not looked at: of one lot, for one reason.
type PlanLeft struct {
	Lot    string
	Mass   ledger.Mass
	Pieces int // of a lot in pieces that is not left out as a whole
	Why    string
}

// PlanCharge proposes a charge for a heat: whole ingots and pigs and handfuls of
// loose returns, of its alloy and owner, that fill its molds with the chance of
// running short that was set, within the crucible and the alloy's limits. A plan
// that cannot be is an error that says which demands conflict and by how much.
func (s *Shop) PlanCharge(ctx context.Context, q PlanQuery) (out ChargePlan, err error) {
	if q.ChanceShort == 0 {
		q.ChanceShort = usualShort
	}
	if err := q.check(); err != nil {
		return out, err
	}
	learned, heats, err := s.learned(ctx)
	if err != nil {
		return out, err
	}
	p := &planner{q: q, learned: learned, heats: heats}
	err = s.view(ctx, func(r ledger.Reader) error { return p.read(r, s) })
	if err != nil {
		return out, err
	}
	plan, err := p.solve(ctx)
	if err != nil {
		return out, err
	}
	if out, err = p.result(plan); err != nil {
		return out, err
	}
	if err := p.cautions(ctx, s); err != nil {
		return out, err
	}
	out.Cautions = p.out.Cautions
	return out, s.planFuel(ctx, &out)
}

func (q *PlanQuery) check() error {
	bad := func(field string, v any, want string) error {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_PLAN", Field: field, Value: fmt.Sprint(v), Want: want}
	}
	share := func(s *ledger.PPM) bool { return s == nil || *s >= 0 && *s <= ledger.Whole }
	switch {
	case q.ChanceShort < 0 || q.ChanceShort > ledger.Whole/2:
		return bad("chance_short_percent", q.ChanceShort, "must be above 0 and at most 50 %")
	case !share(q.LeastShare):
		return bad("least_returns_percent", *q.LeastShare, "must be between 0 and 100 %")
	case !share(q.MostShare):
		return bad("most_returns_percent", *q.MostShare, "must be between 0 and 100 %")
	case q.LeastShare != nil && q.MostShare != nil && *q.LeastShare > *q.MostShare:
		return bad("least_returns_percent", *q.LeastShare, "must not be above the most returns")
	case q.ChanceOutside != nil && (*q.ChanceOutside <= 0 || *q.ChanceOutside > ledger.Whole/2):
		return bad("chance_outside_percent", *q.ChanceOutside, "must be above 0 and at most 50 %")
	case q.Fill < 0 || q.Fill > ledger.Whole:
		return bad("fill_percent", q.Fill, "must be above 0 and at most 100 % of the usable volume")
	case q.PigMolds < 0:
		return bad("pig_molds", q.PigMolds, "must not be below 0")
	case q.Waiting != nil && *q.Waiting < 0:
		return bad("waiting_room", *q.Waiting, "must not be below 0")
	case q.Dose != nil && (*q.Dose < 0 || *q.Dose > 50_000):
		return bad("dose_percent", *q.Dose, "must be between 0 and 5 % of the melt")
	case q.Phosphorus < 0 || q.Phosphorus > ledger.Whole:
		return bad("phosphorus_percent", q.Phosphorus, "must be between 0 and 100 %")
	case (q.PourFromC == nil) != (q.PourToC == nil):
		return bad("pour_from", "", "give both pouring temperatures or neither")
	case q.PourFromC != nil && !(*q.PourFromC > 0 && *q.PourFromC <= *q.PourToC && *q.PourToC < mostC):
		return bad("pour_to", *q.PourToC, fmt.Sprintf("must be between pour_from and %d °C", mostC))
	case !(q.Cooling >= 0 && q.Cooling <= 300):
		return bad("cooling_celsius", q.Cooling, "must be between 0 and 300 °C a minute")
	case !(q.Takes >= 0 && q.Takes <= 3600):
		return bad("seconds_per_mold", q.Takes, "must be between 0 and 3600 s")
	case !(q.MaxTapC >= 0 && q.MaxTapC < mostC):
		return bad("hottest_tap", q.MaxTapC, fmt.Sprintf("must be below %d °C", mostC))
	}
	for _, m := range []struct {
		field string
		mass  ledger.Mass
	}{{"pour_off", q.PourOff}, {"lift", orZero(q.Lift)}, {"crucible_mass", orZero(q.PotMass)}, {"skull", orZero(q.Skull)}, {"pig_mold", orZero(q.PigMold)}} {
		if m.mass < 0 || m.mass > ledger.MaxMass {
			return bad(m.field, int64(m.mass), "must be a mass that is not below 0")
		}
	}
	return nil
}

// mostC bounds temperatures: nothing that is cast here is poured hotter.
const mostC = 3000

// planner makes one plan.
type planner struct {
	q       PlanQuery
	learned *loss.Model
	heats   []loss.Heat
	chargeFacts
}

// chargeFacts is what the planner reads from the book, anew at each reading.
type chargeFacts struct {
	out      ChargePlan
	settings ledger.Shop
	table    alloy.Table
	a        alloy.Alloy
	own      ledger.Alloy // what the shop says of it
	h        ledger.Heat
	crucible ledger.Pot
	as       handling
	heat     charge.Heat
	lots     []charge.Lot
	views    map[string]ledger.LotView
	comps    map[string]alloy.Composition
	heelComp alloy.Composition
	must     map[string]int64
	molds    map[string]ledger.Mold
	perKg    float64 // money of a kg, on the average
	effects  []alloy.Effect
	supply   ledger.Supply           // the deoxidiser
	byForm   [loss.NumForms]*float64 // what a charge all of this form loses
}

func (p *planner) note(format string, args ...any) {
	p.out.Notes = append(p.out.Notes, fmt.Sprintf(format, args...))
}

// read gathers the heat, its molds, its crucible, and the lots with their contents.
func (p *planner) read(r ledger.Reader, s *Shop) error {
	p.chargeFacts = chargeFacts{views: map[string]ledger.LotView{}, comps: map[string]alloy.Composition{}, must: map[string]int64{}, molds: map[string]ledger.Mold{}}
	head, err := r.Head()
	if err != nil {
		return err
	}
	p.out.Seq = head.Seq
	if p.settings, err = settingsIn(r); err != nil {
		return err
	}
	if p.table, err = tableIn(r); err != nil {
		return err
	}
	if err := p.readHeat(r); err != nil {
		return err
	}
	if err := p.readMolds(r); err != nil {
		return err
	}
	if err := p.learnFilling(r); err != nil {
		return err
	}
	if err := p.expectLoss(); err != nil {
		return err
	}
	err = s.believed.at(r, func(c *carrier) error {
		if err := p.readCrucible(r, c); err != nil {
			return err
		}
		return p.readLots(r, c)
	})
	if err != nil {
		return err
	}
	if err := p.deoxidise(r); err != nil {
		return err
	}
	p.windows()
	return p.pouring(r)
}

// settingsIn are the shop's own units and currency.
func settingsIn(r ledger.Reader) (s ledger.Shop, err error) {
	recs, err := r.Records(ledger.RecShop, "", "", 1)
	if err != nil || len(recs) == 0 {
		return s, err
	}
	return s, recs[0].Into(&s)
}

func (p *planner) readHeat(r ledger.Reader) error {
	rec, found, err := r.Record(ledger.RecHeat, p.q.Heat)
	if err != nil {
		return err
	}
	if !found {
		return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "heat", Value: p.q.Heat}
	}
	if err := rec.Into(&p.h); err != nil {
		return err
	}
	if p.h.State != ledger.Planned && p.h.State != ledger.Melting {
		return &ledger.Error{Class: ledger.ErrState, Reason: "HEAT_STATE", Field: "heat", Value: p.h.ID, Want: fmt.Sprintf("is %s; a charge is planned for a heat that is planned or melting", p.h.State)}
	}
	p.out.Heat = p.h
	if p.a, err = p.table.Find(p.h.Alloy); err != nil {
		return scienceError("alloy", err)
	}
	if rec, found, err = r.Record(ledger.RecAlloy, p.a.ID); err != nil {
		return err
	} else if found {
		if err := rec.Into(&p.own); err != nil {
			return err
		}
	}
	if err := p.handle(r); err != nil {
		return err
	}
	p.out.PotMass = orZero(p.as.empty)
	p.effects = alloy.StartingEffects(p.a.Family)
	p.heat = charge.Heat{ID: p.h.ID, ChanceShort: part(p.q.ChanceShort), PourOff: int64(p.q.PourOff), Lift: int64(orZero(p.as.lift)),
		PigMold: int64(orZero(p.as.pigMold)), PigMolds: p.as.pigMolds, Skull: int64(orZero(p.as.skull)), Returns: charge.Share{Min: partOrNil(p.q.LeastShare), Max: partOrNil(p.q.MostShare)}}
	if p.as.waiting != nil {
		ml := float64(*p.as.waiting) / 1000
		p.heat.Waiting = &ml
	}
	return nil
}

func part(s ledger.PPM) float64 { return float64(s) / float64(ledger.Whole) }

func partOrNil(s *ledger.PPM) *float64 {
	if s == nil {
		return nil
	}
	f := part(*s)
	return &f
}

// expectLoss forecasts what this shop loses of each form of charge in this heat,
// and how doubtful that is, from the shop's own heats.
func (p *planner) expectLoss() error {
	var usual [loss.NumForms]float64
	usual, _ = usualShares(p.heats, familyOf(p.table, p.h.Alloy))
	f, err := p.forecast(usual)
	if err != nil {
		return err
	}
	p.heat.Loss = f
	for form := range loss.NumForms {
		var all [loss.NumForms]float64
		all[form] = 1
		f, err := p.forecast(all)
		if err != nil {
			return err
		}
		mean := math.Min(math.Max(f.Mean, 0), 0.5)
		p.byForm[form] = &mean
	}
	return nil
}

func (p *planner) forecast(shares [loss.NumForms]float64) (loss.Forecast, error) {
	f, err := p.learned.Forecast(loss.Charge{Family: familyOf(p.table, p.h.Alloy), Crucible: p.h.Crucible, Furnace: p.h.Furnace,
		Kg: math.Max(p.out.MoldsMass.Kg(), 1), Shares: shares}) // the rate does not depend on the kg
	return f, scienceError("charge", err)
}

package server

import (
	"context"
	"fmt"
	"math"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/loss"
	"example.org/remelt/ledger/shop"
)

// usualLevel is what intervals promise unless somebody says otherwise.
const usualLevel = 0.9

func (s analysis) GetLosses(ctx context.Context, r *pb.GetLossesRequest) (*pb.GetLossesResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/losses")
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Losses(ctx)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.Losses{Name: r.GetName(), Heats: count(v.Heats), Sequence: v.Seq, Whole: d.lossModel(v.Shop.Whole), Chart: d.lossChart(v.Watch)}
	for cause, m := range v.Shop.Cause {
		part := d.lossModel(m)
		part.Path = lossPaths.show(loss.Cause(cause))
		p.Parts = append(p.Parts, part)
	}
	return reply(d, &pb.GetLossesResponse{Losses: p})
}

func rate(n loss.Normal) *pb.LossRate {
	return &pb.LossRate{Percent: 100 * n.Mean, SdPercent: 100 * n.SD}
}

func (d *desk) lossModel(m *loss.Model) *pb.LossModel {
	return &pb.LossModel{Heats: count(m.Heats), Estimator: m.Estimator,
		Effects: showAll(m.Forms, func(e loss.Effect) *pb.LossEffect {
			return &pb.LossEffect{What: e.Name, Believed: rate(e.Belief.Normal), Source: e.Belief.Source, Verified: e.Belief.Verified,
				Learned: rate(e.Learned), FromBelief: e.FromBelief}
		}),
		Levels: showAll(m.Levels, func(l loss.Level) *pb.LossLevel {
			return &pb.LossLevel{Factor: l.Factor, Level: l.Name, Heats: count(l.Heats), Effect: rate(l.Effect), Borrowed: l.Borrowed, Pooled: l.Pooled()}
		}),
		Spreads: showAll(m.Spreads, func(x loss.Spread) *pb.LossSpread { return &pb.LossSpread{Factor: x.Factor, SdPercent: 100 * x.SD} }),
		LeftOut: showAll(m.LeftOut, func(l loss.LeftOut) *pb.LeftOutHeat { return &pb.LeftOutHeat{Heat: d.name("heats", l.ID), Why: l.Why} }),
	}
}

func (d *desk) lossChart(w *loss.Watch) *pb.LossChart {
	p := &pb.LossChart{Sigma: w.Sigma, HeatsBetweenFalseAlarms: w.FalseAlarms}
	if len(w.Heats) > 1 {
		p.Autocorrelation = finite(w.Lag1)
	}
	for _, h := range w.Heats {
		p.Heats = append(p.Heats, &pb.WatchedHeat{Heat: d.name("heats", h.ID), PourTime: moment(h.Time), Weighed: rate(h.Weighed), Expected: rate(h.Expected), Z: h.Z})
	}
	if w.Individuals != nil {
		for _, s := range w.Individuals.Signals {
			p.Heats[s.At].Outside = true
		}
	}
	if w.EWMA != nil {
		for i, h := range p.Heats {
			h.Average = w.EWMA.Values[i+1]
		}
		for _, s := range w.EWMA.Signals {
			p.Heats[s.At].AverageOutside = true
		}
	}
	for _, c := range w.Changes {
		p.Changes = append(p.Changes, &pb.LossChange{Heat: d.name("heats", c.From), PourTime: moment(c.Since), AlarmHeat: d.name("heats", w.Heats[c.Alarm].ID),
			Direction: lossDirections.show(c.Direction), Shift: rate(c.Shift), Suspects: showAll(c.Suspects, changeSuspect)})
	}
	return p
}

func changeSuspect(x loss.Suspect) *pb.ChangeSuspect {
	return &pb.ChangeSuspect{Sentence: x.String(), Covariate: x.Covariate, Label: x.Label, Before: x.Before, After: x.After, Chance: x.P}
}

func (s analysis) CheckLossForecasts(ctx context.Context, r *pb.CheckLossForecastsRequest) (*pb.CheckLossForecastsResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/losses")
	first := d.atMost("first", r.GetFirst(), 20, math.MaxInt32)
	level := d.level(r.GetLevelPercent())
	if d.err != nil {
		return nil, d.err
	}
	c, err := d.HoldBackLosses(ctx, first, level)
	p := &pb.CheckLossForecastsResponse{LevelPercent: 100 * c.Level, Heats: count(c.Heats), Inside: count(c.Inside), Below: count(c.Below), Above: count(c.Above),
		InsidePercent: 100 * c.Rate, InsideFromPercent: 100 * c.Lower, InsideToPercent: 100 * c.Upper, WidthPercent: 100 * c.Width,
		ErrorPercent: 100 * c.Error, BeliefErrorPercent: 100 * c.BeliefError}
	for _, n := range c.PIT {
		p.Tenths = append(p.Tenths, count(n))
	}
	return reply(d.fail(err), p)
}

// level reads what intervals shall promise.
func (d *desk) level(text string) float64 {
	level := d.part("level_percent", text, usualLevel)
	if !(level > 0 && level < 1) {
		d.invalid("OUT_OF_RANGE", "level_percent", text, "must be above 0 and below 100 %")
	}
	return level
}

func (s analysis) ForecastLoss(ctx context.Context, r *pb.ForecastLossRequest) (*pb.ForecastLossResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	heat, alloy := d.ref("heat", r.GetHeat(), "heats"), d.ref("alloy", r.GetAlloy(), "alloys")
	level := d.level(r.GetLevelPercent())
	c := loss.Charge{Crucible: d.pot("crucible", r.GetCrucible()), Furnace: d.pot("furnace", r.GetFurnace()), Kg: d.milligrams("charge", r.GetCharge()).Kg(),
		Shares: d.chargeForms(r.GetForms()), Superheat: r.SuperheatKelvin, Hold: r.HoldMinutes}
	switch {
	case (heat == "") == (alloy == ""):
		d.invalid("EITHER_OR", "heat", r.GetHeat(), "give a heat, or an alloy with what else is known of the charge")
	case heat != "" && (c != loss.Charge{}):
		d.invalid("EITHER_OR", "heat", r.GetHeat(), "has a crucible, a furnace and a charge of its own; give them with an alloy only")
	case c.Kg < 0:
		d.invalid("NEGATIVE", "charge", r.GetCharge().GetText(), "must not be negative")
	}
	if d.err != nil {
		return nil, d.err
	}
	var v shop.LossForecast
	var err error
	if heat != "" {
		v, err = d.ForecastHeat(ctx, heat)
	} else {
		v, err = d.ForecastCharge(ctx, alloy, c)
	}
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.ForecastLossResponse{Whole: d.pathForecast(v.Whole, v.Charge.Kg, level), Family: v.Charge.Family, Crucible: d.name("pots", v.Charge.Crucible),
		Furnace: d.name("pots", v.Charge.Furnace), Forms: chargeForms(v.Charge.Shares), FormsBasis: v.Basis, LevelPercent: 100 * level,
		Unseen: v.Whole.Unseen, Heats: count(v.Heats), Estimator: v.Estimator, Sequence: v.Seq}
	if v.Charge.Kg > 0 {
		p.Charge = d.kg(v.Charge.Kg)
	}
	for cause, f := range v.ByCause {
		part := d.pathForecast(f, v.Charge.Kg, level)
		part.Path = lossPaths.show(loss.Cause(cause))
		p.Parts = append(p.Parts, part)
	}
	return reply(d, p)
}

func (d *desk) pathForecast(f loss.Forecast, kg, level float64) *pb.PathForecast {
	low, high := f.Interval(level)
	p := &pb.PathForecast{Rate: rate(loss.Normal{Mean: f.Mean, SD: f.SD}), LowPercent: 100 * low, HighPercent: 100 * high}
	if kg > 0 {
		p.Mass, p.Low, p.High = d.kg(f.Mean*kg), d.kg(low*kg), d.kg(high*kg)
	}
	return p
}

// pot reads a reference to a crucible or furnace that must be there.
func (d *desk) pot(field, value string) string {
	id := d.ref(field, value, "pots")
	load[ledger.Pot](d, ledger.RecPot, id)
	return id
}

// chargeForms reads what a charge is made of; all 0 when nothing is said.
func (d *desk) chargeForms(p *pb.ChargeForms) (out [loss.NumForms]float64) {
	sum := ledger.PPM(0)
	for form, c := range map[loss.Form]struct{ field, text string }{
		loss.Ingot: {"ingot_percent", p.GetIngotPercent()}, loss.CleanGating: {"clean_gating_percent", p.GetCleanGatingPercent()},
		loss.Pigs: {"pigs_percent", p.GetPigsPercent()}, loss.DirtyReturns: {"dirty_returns_percent", p.GetDirtyReturnsPercent()},
		loss.Grindings: {"grindings_percent", p.GetGrindingsPercent()},
	} {
		share := d.percent(sub("forms", c.field), c.text)
		sum += share
		out[form] = float64(share) / float64(ledger.Whole)
	}
	if sum != 0 && (sum < ledger.Whole-1000 || sum > ledger.Whole+1000) {
		d.invalid("NOT_THE_WHOLE", "forms", percentText(sum), fmt.Sprintf("must be %s %% together", percentText(ledger.Whole)))
	}
	return out
}

func chargeForms(shares [loss.NumForms]float64) *pb.ChargeForms {
	text := func(f loss.Form) string {
		return percentOrNone(ledger.PPM(math.Round(shares[f] * float64(ledger.Whole))))
	}
	return &pb.ChargeForms{IngotPercent: text(loss.Ingot), CleanGatingPercent: text(loss.CleanGating), PigsPercent: text(loss.Pigs),
		DirtyReturnsPercent: text(loss.DirtyReturns), GrindingsPercent: text(loss.Grindings)}
}

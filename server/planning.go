package server

import (
	"context"
	"fmt"
	"math"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/charge"
	"example.org/remelt/ledger/shop"
)

// planning proposes charges and heats.
type planning struct {
	pb.UnimplementedPlanningServiceServer
	counter
}

func (s planning) PlanCharge(ctx context.Context, r *pb.PlanChargeRequest) (*pb.PlanChargeResponse, error) {
	d := s.read(ctx, "name", r.GetName(), heatName)
	q := shop.PlanQuery{
		Heat: d.id(), ChanceShort: d.percent("chance_short_percent", r.GetChanceShortPercent()), PourOff: d.milligrams("pour_off", r.GetPourOff()),
		LeastShare: d.percentOrNil("least_returns_percent", r.GetLeastReturnsPercent()), MostShare: d.percentOrNil("most_returns_percent", r.GetMostReturnsPercent()),
		Aim: chargeAims.read(d, "aim", r.GetAim()), Spoken: spokenUses.read(d, "spoken_use", r.GetSpokenUse()),
		Fill: d.percent("fill_percent", r.GetFillPercent()), Lift: d.milligramsOrNil("lift", r.GetLift()), PotMass: d.milligramsOrNil("crucible_mass", r.GetCrucibleMass()),
		Skull: d.milligramsOrNil("skull", r.GetSkull()), PigMold: d.milligramsOrNil("pig_mold", r.GetPigMold()), PigMolds: int(r.GetPigMolds()),
		NoLimits: r.GetNoLimits(), ChanceOutside: d.percentOrNil("chance_outside_percent", r.GetChanceOutsidePercent()),
		Deoxidiser: d.ref("deoxidiser", r.GetDeoxidiser(), "supplies"), Dose: d.percentOrNil("dose_percent", r.GetDosePercent()),
		Phosphorus: d.percent("phosphorus_percent", r.GetPhosphorusPercent()), Cooling: r.GetCoolingCelsius(), Takes: r.GetSecondsPerMold(),
		PourFromC: d.celsiusOrNil("pour_from", r.GetPourFrom()), PourToC: d.celsiusOrNil("pour_to", r.GetPourTo()), MaxTapC: d.celsius("hottest_tap", r.GetHottestTap()),
		Light: d.moldRefs("light_molds", r.GetLightMolds()), Heavy: d.moldRefs("heavy_molds", r.GetHeavyMolds()),
	}
	if r.GetWaitingRoom() != nil {
		room := d.mm3("waiting_room", r.GetWaitingRoom())
		q.Waiting = &room
	}
	d.above0("chance_short_percent", r.GetChanceShortPercent(), q.ChanceShort)
	d.above0("fill_percent", r.GetFillPercent(), q.Fill)
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Shop.PlanCharge(ctx, q)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	return reply(d, d.chargePlan(v))
}

// above0 refuses a share that is given as 0 where nothing given means something else.
func (d *desk) above0(field, text string, p ledger.PPM) {
	if text != "" && p == 0 {
		d.invalid("OUT_OF_RANGE", field, text, "must be above 0")
	}
}

func (d *desk) percentOrNil(field, text string) *ledger.PPM {
	if text == "" {
		return nil
	}
	p := d.percent(field, text)
	return &p
}

func (d *desk) celsius(field string, t *pb.Temperature) float64 {
	return float64(d.milliC(field, t)) / 1000
}

func (d *desk) celsiusOrNil(field string, t *pb.Temperature) *float64 {
	if t == nil {
		return nil
	}
	c := d.celsius(field, t)
	return &c
}

// degreesC shows a temperature that a science reckoned; nil for none.
func (d *desk) degreesC(c float64) *pb.Temperature { return d.temperature(int64(math.Round(c * 1000))) }

func (d *desk) moldRefs(field string, names []string) (ids []string) {
	for i, n := range names {
		ids = append(ids, d.moldRef(indexed(field, i), n))
	}
	return ids
}

// rounded is a figure to six decimals: no plan is better known.
func rounded(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// mg shows milligrams that a science reckoned.
func (d *desk) mg(x float64) *pb.Mass { return d.kg(x / 1e6) }

func (d *desk) chargePlan(v shop.ChargePlan) *pb.PlanChargeResponse {
	p := v.Plan
	out := &pb.PlanChargeResponse{
		Heat: d.name("heats", v.Heat.ID), Heel: d.massOrNil(v.Heel), InCrucible: d.massOrNil(v.Ready), Charge: d.mass(ledger.Mass(p.Charge)), Melt: d.mg(p.Melt),
		Molds: d.mass(v.MoldsMass), Need: d.mg(p.Need.Mean), NeedStandard: d.mg(p.Need.SD), PourOff: d.mg(p.PourOff), ChanceShort: rounded(p.ChanceShort),
		ReturnsPercent: rounded(100 * p.Returns), PigMolds: count(p.PigMolds), Deoxidiser: d.name("supplies", v.Deoxidiser), Dose: d.massOrNil(ledger.Mass(math.Round(p.Deoxide))),
		Waiting: volume(int64(math.Round(p.Waiting * 1000))), Notes: v.Notes, Cautions: cautions(v.Cautions), Sequence: v.Seq, Proof: planProof(p.Proof, v.Currency != ""),
		LossPercent: rounded(100 * v.Loss.Mean), Tap: d.degreesC(p.Pour.TapC), HeatMj: rounded(v.MeltHeat.Total() / 1e6), Fuels: showAll(v.Fuels, fuelNeed),
	}
	low, high := v.Loss.Interval(0.9)
	out.LossFromPercent, out.LossToPercent = rounded(100*low), rounded(100*high)
	d.takes(out, v)
	if v.Currency != "" {
		out.Cost = money(p.Cost, v.Currency)
	}
	if p.Fill > 0 {
		fill := rounded(100 * p.Fill)
		out.FillPercent = &fill
	}
	if v.PotMass > 0 {
		out.Lift = d.mass(ledger.Mass(p.Lift))
	}
	if v.Limits != nil {
		out.LimitSet = v.Limits.ID()
	}
	for _, c := range v.Contents {
		out.Contents = append(out.Contents, &pb.PlannedContent{Title: c.Name, Symbols: c.Elements, Percent: rounded(c.Percent), SdPercent: rounded(c.SD), MostPercent: rounded(c.Most),
			MinPercent: c.Min, MaxPercent: c.Max, Below: rounded(c.Below), Above: rounded(c.Above), Binding: c.Binding})
	}
	for _, x := range v.Pour {
		out.Pours = append(out.Pours, d.pourStep(x))
	}
	for _, l := range v.Left {
		out.LeftOut = append(out.LeftOut, &pb.LeftOutLot{Lot: d.name("lots", l.Lot), Mass: d.mass(l.Mass), Pieces: count(l.Pieces), Why: l.Why})
	}
	return out
}

// takes lists what goes in, as it is fed and as the book takes it. Pieces are
// counted in the order in which they are fed: all of a lot are alike.
func (d *desk) takes(out *pb.PlanChargeResponse, v shop.ChargePlan) {
	pieces := map[string]int32{}
	for _, t := range v.Plan.Takes {
		l := v.Lots[t.Lot]
		x := &pb.ChargeTake{Lot: d.name("lots", t.Lot), Form: forms.show(l.Form), Place: d.name("places", l.Place), Label: l.Label,
			Handfuls: t.Handfuls, Mass: d.mass(ledger.Mass(t.Mass)), Feed: feeds.show(t.When)}
		if !t.Loose {
			pieces[t.Lot]++
			x.Piece = pieces[t.Lot]
		}
		out.Takes = append(out.Takes, x)
	}
	for _, it := range v.Items {
		x := &pb.ChargeItem{Lot: d.name("lots", it.Lot), Pieces: it.Pieces}
		if it.Mass.Mass > 0 {
			x.Mass = d.mass(it.Mass.Mass)
		}
		out.Items = append(out.Items, x)
	}
}

// shownGap is the smallest gap that is worth a word.
const shownGap = 1e-6

// planProof says how good a plan is known to be.
func planProof(p *charge.Proof, priced bool) *pb.PlanProof {
	s := "no charge that keeps as far from the limits is cheaper"
	switch {
	case p.Aim == charge.MostReturns:
		s = "no charge that keeps as far from the limits, and is hardly heavier than the cheapest, has more returns"
	case !priced:
		s += ", with costs as assumed,"
	}
	if p.Gap > shownGap {
		s += fmt.Sprintf(" by more than %.2g %%", 100*p.Gap)
	}
	s = strings.TrimSuffix(s, ",")
	return &pb.PlanProof{Optimal: p.Optimal, Gap: rounded(p.Gap), Sentence: s}
}

func (d *desk) pourStep(x shop.PlannedPour) *pb.PlannedPour {
	return &pb.PlannedPour{Mold: d.nameIn(x.Mold.Heat, "molds", x.Mold.ID), DisplayName: x.Mold.Name, Mass: d.mass(x.Mold.Metal + x.Mold.Gating), Thin: x.Thin,
		PourFrom: d.degreesC(x.FromC), PourTo: d.degreesC(x.ToC), WaitSeconds: rounded(x.Wait), Start: d.degreesC(x.StartC), End: d.degreesC(x.EndC),
		TooColdCelsius: rounded(x.TooCold), TooHotCelsius: rounded(x.TooHot)}
}

func (s planning) ArrangeHeats(ctx context.Context, r *pb.ArrangeHeatsRequest) (*pb.ArrangeHeatsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	q := shop.ArrangeQuery{
		ChanceShort: d.percent("chance_short_percent", r.GetChanceShortPercent()), PourOff: d.milligrams("pour_off", r.GetPourOff()),
		Fill: d.percent("fill_percent", r.GetFillPercent()), Cooling: r.GetCoolingCelsius(), Takes: r.GetSecondsPerMold(),
		PourFromC: d.celsiusOrNil("pour_from", r.GetPourFrom()), PourToC: d.celsiusOrNil("pour_to", r.GetPourTo()), MaxTapC: d.celsius("hottest_tap", r.GetHottestTap()),
		Molds: d.moldRefs("molds", r.GetMolds()), Light: d.moldRefs("light_molds", r.GetLightMolds()), Heavy: d.moldRefs("heavy_molds", r.GetHeavyMolds()),
	}
	for i, h := range r.GetHeats() {
		q.Heats = append(q.Heats, d.ref(indexed("heats", i), h, "heats"))
	}
	for i, p := range r.GetCrucibles() {
		q.Pots = append(q.Pots, d.ref(indexed("crucibles", i), p, "pots"))
	}
	d.above0("chance_short_percent", r.GetChanceShortPercent(), q.ChanceShort)
	d.above0("fill_percent", r.GetFillPercent(), q.Fill)
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Shop.ArrangeHeats(ctx, q)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	out := &pb.ArrangeHeatsResponse{Proven: v.Proven, Notes: v.Notes, Cautions: cautions(v.Cautions), Sequence: v.Seq}
	for _, h := range v.Heats {
		out.Heats = append(out.Heats, &pb.ArrangedHeat{Alloy: d.name("alloys", h.Alloy), Owner: d.name("parties", h.Owner), Crucible: d.name("pots", h.Crucible),
			Pours: showAll(h.Molds, d.pourStep), Molds: d.mass(h.MoldsMass), Charge: d.mass(h.Charge), Tap: d.degreesC(h.TapC)})
	}
	return reply(d, out)
}

package server

import (
	"context"
	"maps"
	"slices"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/shop"
)

const (
	usualReturns = 0.5
	usualMelts   = 10
	mostMelts    = 1000
	usualChance  = 0.05
)

func (s analysis) ForecastRemelts(ctx context.Context, r *pb.ForecastRemeltsRequest) (*pb.ForecastRemeltsResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/alloys/*")
	share := d.part("share_percent", r.GetSharePercent(), usualReturns)
	chance := d.part("chance_percent", r.GetChancePercent(), usualChance)
	n := d.atMost("melts", r.GetMelts(), usualMelts, mostMelts)
	if d.err == nil && !(chance > 0 && chance <= 0.5) {
		d.invalid("OUT_OF_RANGE", "chance_percent", r.GetChancePercent(), "must be above 0 and at most 50 %")
	}
	a := d.findAlloy("alloy", d.id())
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Shop.ForecastRemelts(ctx, a.ID, share, n, chance)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.ForecastRemeltsResponse{Alloy: d.name("alloys", v.Alloy), SharePercent: 100 * share, GreatestSharePercent: 100 * v.Greatest.Share,
		Possible: v.Greatest.OK, LimitingElement: v.Greatest.Element, LimitSet: v.Limits.ID(), ChancePercent: 100 * chance}
	for _, e := range slices.Sorted(maps.Keys(v.Steps)) {
		x := &pb.RemeltElement{Symbol: e}
		if l, ok := v.Limits.Limit(e); ok {
			x.Limit = limit(l)
		}
		for _, step := range v.Steps[e] {
			x.Steps = append(x.Steps, &pb.RemeltStep{Melt: count(step.N), Percent: step.Content.Mean, SdPercent: step.Content.SD})
		}
		p.Elements = append(p.Elements, x)
	}
	return reply(d, p)
}

// roomC is how warm a charge is unless somebody says otherwise.
const roomC = 20

func (s analysis) EstimateMeltEnergy(ctx context.Context, r *pb.EstimateMeltEnergyRequest) (*pb.EstimateMeltEnergyResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	m := shop.Melt{Alloy: d.ref("alloy", r.GetAlloy(), "alloys"), Mass: d.milligrams("mass", r.GetMass()), FromC: roomC,
		Efficiency: d.percent("efficiency_percent", r.GetEfficiencyPercent()), Furnace: r.GetFurnaceKind(), Own: d.ref("furnace", r.GetFurnace(), "pots")}
	if r.GetFrom() != nil {
		m.FromC = float64(d.milliC("from", r.GetFrom())) / 1000
	}
	if r.GetTo() != nil {
		to := float64(d.milliC("to", r.GetTo())) / 1000
		m.ToC = &to
	}
	if r.GetEfficiencyPercent() != "" && m.Efficiency == 0 && d.err == nil {
		d.invalid("OUT_OF_RANGE", "efficiency_percent", r.GetEfficiencyPercent(), "must be above 0 and at most 100 %")
	}
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Shop.EstimateMeltEnergy(ctx, m)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	celsius := func(c float64) *pb.Temperature { return d.temperature(int64(c * 1000)) }
	return reply(d, &pb.EstimateMeltEnergyResponse{
		Alloy: d.name("alloys", v.Alloy.ID), Mass: d.mass(m.Mass), From: celsius(v.FromC), To: celsius(v.ToC), Liquidus: celsius(v.LiquidusC),
		SensibleMj: v.Heat.Sensible / 1e6, LatentMj: v.Heat.Latent / 1e6, SuperheatMj: v.Heat.Superheat / 1e6, TotalMj: v.Heat.Total() / 1e6,
		Fuels:    showAll(v.Fuels, fuelNeed),
		Figures:  showAll(v.Used, func(f alloy.Figure) *pb.Figure { return figure(f, true) }),
		Notes:    v.Notes,
		Cautions: cautions(alloy.Cautions(alloy.Facts{Alloys: []alloy.Alloy{v.Alloy}, Melt: true, PourC: v.ToC})),
	})
}

func fuelNeed(f shop.FuelNeed) *pb.FuelNeed {
	return &pb.FuelNeed{Fuel: f.Name, Unit: f.Unit, Low: f.Low, High: f.High, MetricUnit: f.Metric, MetricLow: f.MetricLow, MetricHigh: f.MetricHigh,
		Source: f.Source, Provenance: provenances.show(f.Verified), EfficiencyFromPercent: 100 * f.Efficiency.Low, EfficiencyToPercent: 100 * f.Efficiency.High,
		FurnaceKind: f.Efficiency.Furnace, EfficiencySource: f.Efficiency.Source, EfficiencyProvenance: provenances.show(f.Efficiency.Verified)}
}

package server

import (
	"context"
	"fmt"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/cost"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/unit"
)

// costs say what the metal cost, and who bears it.
type costs struct {
	pb.UnimplementedCostServiceServer
	counter
}

func (s costs) GetHeatCost(ctx context.Context, r *pb.GetHeatCostRequest) (*pb.GetHeatCostResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/heats/*/cost")
	load[ledger.Heat](d, ledger.RecHeat, d.heatID())
	if d.err != nil {
		return nil, d.err
	}
	all, err := d.Costs(ctx, shop.AsOf{})
	if d.fail(err).err != nil {
		return nil, d.err
	}
	h := all.Heat(d.heatID())
	p := &pb.HeatCost{Name: r.GetName(), Provisional: h.Provisional, Metal: d.minor(h.Metal), Conversion: d.costLines(h.Conversion), Credits: d.costLines(h.Credits),
		AbnormalLoss: d.minor(h.Abnormal), InProcess: d.minor(h.InProcess), Charged: d.mass(ledger.Mass(h.Charged)), Lost: d.mass(ledger.Mass(h.Lost)),
		NormalLoss: d.mass(ledger.Mass(h.Normal)), Sequence: all.Seq}
	for _, c := range h.Castings {
		p.Castings = append(p.Castings, &pb.CastingCost{Casting: d.name("castings", c.ID), Mass: d.mass(ledger.Mass(c.Mass)), Cost: d.minor(c.Cost), Recovered: d.minor(c.Credit)})
	}
	return reply(d, &pb.GetHeatCostResponse{Cost: p})
}

// minor is an amount in the book's currency.
func (d *desk) minor(m int64) *pb.Money { return money(m, d.settings.Currency) }

func (d *desk) costLines(lines []cost.Line) (out []*pb.CostLine) {
	for _, l := range lines {
		out = append(out, &pb.CostLine{What: l.Name, Money: d.minor(l.Cost)})
	}
	return out
}

func (s costs) GetStockValue(ctx context.Context, r *pb.GetStockValueRequest) (*pb.GetStockValueResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/stockValue")
	at := d.asOf(r)
	if d.err != nil {
		return nil, d.err
	}
	all, err := d.Costs(ctx, at)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.StockValue{Name: r.GetName(), Total: d.minor(all.Where().Stock), Sequence: all.Seq}
	for _, x := range all.Stock() {
		if x.Pool == "" || x.Pool == "heel" && x.Cost == 0 {
			continue
		}
		p.Positions = append(p.Positions, &pb.StockCost{Alloy: d.name("alloys", x.Pool), Mass: d.mass(ledger.Mass(x.Mass)), Cost: d.minor(x.Cost),
			Rate: d.perUnit(x.Cost, x.Mass), WithoutPrice: d.mass(ledger.Mass(all.Unpriced[x.Pool]))})
	}
	for _, x := range all.Supplies() {
		p.Supplies = append(p.Supplies, &pb.CostLine{What: x.Pool, Money: d.minor(x.Cost)})
	}
	return reply(d, &pb.GetStockValueResponse{Value: p})
}

// perUnit writes what one of the shop's unit of mass costs; "" of nothing.
func (d *desk) perUnit(minor, mass int64) string {
	if mass <= 0 {
		return ""
	}
	u := unit.MassUnit(d.settings.MassUnit)
	one, err := unit.ParseMass("1", u)
	if err != nil {
		return ""
	}
	return unit.FormatMoney(cost.Part(minor, one, mass), d.settings.Currency) + "/" + string(u)
}

func (s costs) GetCostStatement(ctx context.Context, r *pb.GetCostStatementRequest) (*pb.GetCostStatementResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/costStatement")
	from, to := d.time("start_time", r.GetStartTime()), d.time("end_time", r.GetEndTime())
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.CostStatement(ctx, from, to)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	return reply(d, &pb.GetCostStatementResponse{Statement: d.statement(r.GetName(), v)})
}

func (d *desk) statement(name string, v shop.Statement) *pb.CostStatement {
	p := &pb.CostStatement{Name: name, StartTime: moment(v.From), EndTime: moment(v.To), Sequence: v.Seq}
	for _, l := range v.Figures() {
		p.Lines = append(p.Lines, &pb.CostLine{What: l.Name, Money: d.minor(l.Minor)})
	}
	for _, c := range v.Adjusted {
		for i, was := range c.Figures {
			if now := c.Now[i]; now != was {
				p.Changes = append(p.Changes, &pb.ClosedPeriodChange{EndTime: moment(c.To), What: was.Name, Reported: d.minor(was.Minor), Now: d.minor(now.Minor)})
			}
		}
	}
	return p
}

func (s costs) SetCosting(ctx context.Context, r *pb.SetCostingRequest) (*pb.SetCostingResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	c := r.GetCosting()
	set := ledger.Costing{From: d.time("costing.from_time", c.GetFromTime()), Method: costMethods.read(d, "costing.method", c.GetMethod()),
		Recovered: d.alloyPrices("costing.recovered", c.GetRecovered()), Skimmings: d.alloyPrices("costing.skimmings", c.GetSkimmings())}
	for i, n := range c.GetNormalLosses() {
		set.Normal = append(set.Normal, ledger.AlloyShare{Alloy: d.ref("costing.normal_losses", n.GetAlloy(), "alloys"), PPM: d.percent(fmt.Sprintf("costing.normal_losses[%d].percent", i), n.GetPercent())})
	}
	for _, w := range c.GetWear() {
		set.Wear = append(set.Wear, ledger.PotWear{Pot: d.ref("costing.wear", w.GetPot(), "pots"), Typed: w.GetPrice()})
	}
	e := record(d, (*shop.Shop).SetCosting, set)
	kept := mustMake[ledger.Costing](d, e, ledger.RecCosting)
	return reply(d, &pb.SetCostingResponse{Costing: d.costing(kept), Entry: d.entry(e)})
}

func (d *desk) alloyPrices(field string, all []*pb.AlloyPrice) (out []ledger.AlloyPrice) {
	for _, x := range all {
		out = append(out, ledger.AlloyPrice{Alloy: d.ref(field, x.GetAlloy(), "alloys"), Typed: x.GetPrice()})
	}
	return out
}

func (d *desk) costing(c ledger.Costing) *pb.Costing {
	p := &pb.Costing{Name: d.name("costings", c.ID), FromTime: moment(c.From), Method: costMethods.show(c.Method)}
	prices := func(all []ledger.AlloyPrice) (out []*pb.AlloyPrice) {
		for _, x := range all {
			out = append(out, &pb.AlloyPrice{Alloy: d.name("alloys", x.Alloy), Price: x.Typed})
		}
		return out
	}
	p.Recovered, p.Skimmings = prices(c.Recovered), prices(c.Skimmings)
	for _, n := range c.Normal {
		p.NormalLosses = append(p.NormalLosses, &pb.NormalLoss{Alloy: d.name("alloys", n.Alloy), Percent: percentText(n.PPM)})
	}
	for _, w := range c.Wear {
		p.Wear = append(p.Wear, &pb.CrucibleWear{Pot: d.name("pots", w.Pot), Price: w.Typed})
	}
	return p
}

func (s costs) ListCostings(ctx context.Context, r *pb.ListCostingsRequest) (*pb.ListCostingsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	got, next := list(d, r, ledger.RecCosting, "", func(v ledger.Costing) string { return v.ID }, nil)
	return reply(d, &pb.ListCostingsResponse{NextPageToken: next, Costings: showAll(got, func(v ledger.Stamped[ledger.Costing]) *pb.Costing { return d.costing(v.Value) })})
}

func (s costs) ClosePeriod(ctx context.Context, r *pb.ClosePeriodRequest) (*pb.ClosePeriodResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	from, to := d.time("start_time", r.GetStartTime()), d.time("end_time", r.GetEndTime())
	e := d.recordBy(func() (*ledger.Entry, error) { return d.CloseMonth(ctx, d.meta, from, to) })
	kept := mustMake[ledger.Closed](d, e, ledger.RecClosed)
	p := &pb.CostStatement{Name: r.GetParent() + "/costStatement", StartTime: moment(kept.From), EndTime: moment(kept.To), Sequence: kept.Seq}
	for _, l := range kept.Figures {
		p.Lines = append(p.Lines, &pb.CostLine{What: l.Name, Money: d.minor(l.Minor)})
	}
	return reply(d, &pb.ClosePeriodResponse{Statement: p, Entry: d.entry(e)})
}

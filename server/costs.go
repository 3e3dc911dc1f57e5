package server

import (
	"context"

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
	since := d.time("since_time", r.GetSinceTime())
	if d.err != nil {
		return nil, d.err
	}
	h, err := d.CostOfHeat(ctx, d.heatID(), since)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.HeatCost{Name: r.GetName(), Provisional: h.Provisional, Metal: d.minor(h.Metal), Conversion: d.costLines(h.Conversion), Credits: d.costLines(h.Credits),
		AbnormalLoss: d.minor(h.Abnormal), InProcess: d.minor(h.InProcess), Charged: d.mass(ledger.Mass(h.Charged)), Lost: d.mass(ledger.Mass(h.Lost)),
		NormalLoss: d.mass(ledger.Mass(h.Normal)), Sequence: h.Seq,
		WithoutPrice: d.mass(ledger.Mass(h.Free)), CustomersOwn: d.mass(ledger.Mass(h.Theirs)), ComparedSequence: h.Through}
	for _, c := range h.Castings {
		p.Castings = append(p.Castings, d.castingCost(c, h.Heat))
	}
	for _, c := range h.Changes() {
		p.Changes = append(p.Changes, &pb.CostChange{What: c.Name, Was: d.minor(c.Was), Now: d.minor(c.Now), Difference: d.minor(c.Now - c.Was)})
	}
	return reply(d, &pb.GetHeatCostResponse{Cost: p})
}

func (d *desk) castingCost(c cost.CastingCost, h cost.Heat) *pb.CastingCost {
	name := d.name("castings", c.ID)
	return &pb.CastingCost{Name: name + "/cost", Casting: name, Heat: d.name("heats", h.ID), Provisional: h.Provisional, Mass: d.mass(ledger.Mass(c.Mass)),
		Cost: d.minor(c.Cost), Recovered: d.minor(c.Credit), WithoutPrice: d.mass(ledger.Mass(c.Free)), Gone: c.Gone}
}

func (s costs) GetLotCost(ctx context.Context, r *pb.GetLotCostRequest) (*pb.GetLotCostResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/lots/*/cost")
	at, id := d.asOf(r), d.id()
	load[ledger.Lot](d, ledger.RecLot, id)
	if d.err != nil {
		return nil, d.err
	}
	all, err := d.Costs(ctx, at)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	l := all.Lot(id)
	return reply(d, &pb.GetLotCostResponse{Cost: &pb.LotCost{Name: r.GetName(), Alloy: d.name("alloys", l.Pool), Owner: d.name("parties", l.Owner),
		Mass: d.mass(ledger.Mass(l.Mass)), Cost: d.minor(l.Cost), Rate: d.perUnit(l.Cost, l.Mass), WithoutPrice: d.mass(ledger.Mass(l.Free)),
		Shared: l.Shared, Sequence: all.Seq}})
}

func (s costs) GetCastingCost(ctx context.Context, r *pb.GetCastingCostRequest) (*pb.GetCastingCostResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/castings/*/cost")
	id := d.id()
	k := load[ledger.Casting](d, ledger.RecCasting, id)
	if d.err != nil {
		return nil, d.err
	}
	all, err := d.Costs(ctx, shop.AsOf{})
	if d.fail(err).err != nil {
		return nil, d.err
	}
	c, h, found := all.Casting(id)
	if !found { // entered by mistake: no metal went into it
		h = all.Heat(k.Value.Heat)
	}
	return reply(d, &pb.GetCastingCostResponse{Cost: d.castingCost(c, h)})
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
		p.Positions = append(p.Positions, d.stockCost(x.Pool, x.Mass, x.Cost, x.Free))
	}
	for _, x := range all.Customers() {
		p.Customers = append(p.Customers, &pb.CustomerStock{Customer: d.name("parties", x.Owner), Alloy: d.name("alloys", x.Pool),
			Mass: d.mass(ledger.Mass(x.Mass)), Cost: d.minor(x.Cost)})
	}
	for _, x := range all.Supplies() {
		p.Supplies = append(p.Supplies, &pb.CostLine{What: x.Pool, Money: d.minor(x.Cost)})
	}
	return reply(d, &pb.GetStockValueResponse{Value: p})
}

func (d *desk) stockCost(alloy string, mass, minor, free int64) *pb.StockCost {
	return &pb.StockCost{Alloy: d.name("alloys", alloy), Mass: d.mass(ledger.Mass(mass)), Cost: d.minor(minor),
		Rate: d.perUnit(minor, mass), WithoutPrice: d.mass(ledger.Mass(free))}
}

// perUnit writes what one of the shop's unit of mass costs; "" of nothing.
func (d *desk) perUnit(minor, mass int64) string {
	if mass <= 0 {
		return ""
	}
	u := unit.MassUnit(d.settings.MassUnit).Trade()
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
	p := d.figures(name, ledger.Closed{From: v.From, To: v.To, Seq: v.Seq, Figures: v.Figures(), Stock: v.Stock})
	told := v.From // the end of the closed periods before it
	if p.Closed = v.Kept != nil; p.Closed {
		told, p.Sequence = v.To, v.Kept.Seq
	}
	for _, c := range v.Changes {
		p.Changes = append(p.Changes, &pb.ClosedPeriodChange{EndTime: moment(told), What: c.Name, Reported: d.minor(c.Was), Now: d.minor(c.Now)})
	}
	return p
}

func (d *desk) figures(name string, c ledger.Closed) *pb.CostStatement {
	p := &pb.CostStatement{Name: name, StartTime: moment(c.From), EndTime: moment(c.To), Sequence: c.Seq}
	for _, l := range c.Figures {
		p.Lines = append(p.Lines, &pb.CostLine{What: l.Name, Money: d.minor(l.Minor)})
	}
	for _, x := range c.Stock {
		p.Stock = append(p.Stock, d.stockCost(x.Alloy, int64(x.Mass), x.Minor, int64(x.Free)))
	}
	return p
}

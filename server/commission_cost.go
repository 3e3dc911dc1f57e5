package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

func (s commissions) GetCommissionCost(ctx context.Context, r *pb.GetCommissionCostRequest) (*pb.GetCommissionCostResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/commissions/*/cost")
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.CommissionCost(ctx, d.id(), r.GetQuoteVersion())
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.CommissionCost{Name: r.GetName(), Actual: d.minor(v.Cost), Copies: v.Copies, Good: v.Good, Provisional: v.Provisional, Sequence: v.Seq}
	p.WithoutPrice = d.massOrNil(v.Free)
	for _, h := range v.NoFuel {
		p.HeatsWithoutFuel = append(p.HeatsWithoutFuel, d.name("heats", h))
	}
	for _, l := range v.Lines {
		p.Lines = append(p.Lines, &pb.CommissionCostLine{What: l.What, Quoted: d.minor(l.Quoted), Actual: d.minor(l.Really)})
	}
	if q := v.Quote; q != nil {
		p.Quote, p.Quoted, p.Price = d.in(q.Commission, "quotes", q.ID), d.minor(q.Cost), d.minor(q.Likely)
	}
	for _, x := range v.Differences {
		p.Differences = append(p.Differences, &pb.CostLine{What: string(x.Reason), Money: d.minor(x.Minor)})
	}
	for _, c := range v.Castings {
		p.Castings = append(p.Castings, &pb.CommissionCasting{Casting: d.name("castings", c.ID), Heat: d.name("heats", c.Heat), DisplayName: c.Name, Mass: d.mass(c.Mass), Failed: c.Failed,
			Metal: d.minor(c.Metal), Fuel: d.minor(c.Fuel), Melt: d.minor(c.Melt), Recovered: d.minor(c.Recovered)})
	}
	return reply(d, &pb.GetCommissionCostResponse{Cost: p})
}

func (s commissions) GetChargeBack(ctx context.Context, r *pb.GetChargeBackRequest) (*pb.GetChargeBackResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/chargeBack")
	from, to, by := d.time("start_time", r.GetStartTime()), d.time("end_time", r.GetEndTime()), chargedTo.read(d, "by", r.GetBy())
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.ChargeBack(ctx, from, to, by)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.ChargeBack{Name: r.GetName(), StartTime: moment(from), EndTime: moment(to), Total: d.chargeLine(v.Total, by), BeyondNormal: d.minor(v.Beyond), InProcess: d.minor(v.InProcess), Sequence: v.Seq}
	for _, l := range v.Lines {
		p.Lines = append(p.Lines, d.chargeLine(l, by))
	}
	for _, h := range v.Heats {
		p.Heats = append(p.Heats, d.name("heats", h))
	}
	for _, h := range v.Provisional {
		p.ProvisionalHeats = append(p.ProvisionalHeats, d.name("heats", h))
	}
	return reply(d, &pb.GetChargeBackResponse{ChargeBack: p})
}

func (d *desk) chargeLine(l shop.ChargeLine, by shop.ChargedTo) *pb.ChargeLine {
	p := &pb.ChargeLine{Who: l.Who, Castings: int64(l.Castings), Heats: int64(l.Heats), Cast: d.mass(l.Cast), Lost: d.mass(l.Lost), Used: d.mass(l.Used()),
		Cost: d.minor(l.Cost), Recovered: d.minor(l.Recovered), Owed: d.minor(l.Cost - l.Recovered)}
	switch by {
	case shop.ToCustomer:
		if l.Who != "" {
			p.Who, p.DisplayName = d.name("parties", l.Who), load[ledger.Party](d, ledger.RecParty, l.Who).Value.Name
		}
	case shop.ToCommission: // what castings carry may be the name of a commission that is not kept
		if p.DisplayName = l.Who; l.Who != "" {
			v, err := ledger.Get[ledger.Commission](d.ctx, d.Book, ledger.RecCommission, l.Who)
			if err == nil {
				p.DisplayName = v.Value.Title
			}
		}
	}
	return p
}

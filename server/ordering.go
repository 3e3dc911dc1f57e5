package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/unit"
)

// ordering says what to buy.
type ordering struct {
	pb.UnimplementedOrderingServiceServer
	counter
}

func (s ordering) AdviseOrders(ctx context.Context, r *pb.AdviseOrdersRequest) (*pb.AdviseOrdersResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	q := shop.OrderQuery{Alloy: d.ref("alloy", r.GetAlloy(), "alloys"), Horizon: int(r.GetHorizonDays()), Most: d.percentOrNil("most_returns_percent", r.GetMostReturnsPercent()),
		Service: d.partOrNil("service_percent", r.GetServicePercent()), Carry: d.partOrNil("carry_percent", r.GetCarryPercent())}
	if r.LeadDays != nil {
		days := int(r.GetLeadDays())
		q.Lead = &days
	}
	if r.GetOrderCost() != "" && d.err == nil {
		minor, currency, err := unit.ParseMoney(r.GetOrderCost(), "")
		switch {
		case err != nil:
			d.unitError("order_cost", err)
		case currency != d.settings.Currency:
			d.invalid("OTHER_CURRENCY", "order_cost", r.GetOrderCost(), "must be in "+d.settings.Currency+", the shop's currency")
		}
		q.Work = &minor
	}
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Shop.AdviseOrders(ctx, q)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	return reply(d, &pb.AdviseOrdersResponse{
		Advice:  showAll(v.Advice, func(a shop.OrderAdvice) *pb.OrderAdvice { return d.orderAdvice(a, v) }),
		Surplus: showAll(v.Surplus, func(x shop.Surplus) *pb.SurplusMetal { return d.surplus(x, v.Currency) }),
		Notes:   v.Notes, Sequence: v.Seq,
	})
}

func (d *desk) partOrNil(field, text string) *float64 {
	p := d.percentOrNil(field, text)
	if p == nil {
		return nil
	}
	part := float64(*p) / float64(ledger.Whole)
	return &part
}

func (d *desk) orderAdvice(a shop.OrderAdvice, v shop.Orders) *pb.OrderAdvice {
	p := &pb.OrderAdvice{Sentence: a.Sentence, Reasons: a.Reasons, Alternatives: a.Alternatives, Alloy: d.name("alloys", a.Alloy), Supply: d.name("supplies", a.Supply),
		Order: a.Order, OrderByTime: moment(a.By), Packs: a.Packs, Supplier: d.name("parties", a.Supplier), Offer: d.name("offers", a.Offer), Here: int64(a.Here), ReorderPoint: a.Point.Amount,
		Heats: showAll(a.Heats, d.heatNeed), Coming: showAll(a.Coming, d.coming)}
	if !a.InPieces {
		p.Mass = d.mass(ledger.Mass(a.Amount))
		p.Short = d.mass(ledger.Mass(a.Short))
	}
	if a.Priced {
		p.Cost = money(a.Goods, v.Currency)
	}
	for _, day := range a.Curve {
		p.Curve = append(p.Curve, &pb.StockDay{DayTime: moment(v.From.AddDate(0, 0, day.Day)), Low: day.Low, Middle: day.Middle, High: day.High, MissingPercent: 100 * day.Out})
	}
	if t := a.Tried; t != nil {
		p.Trial = &pb.OrderingTrial{Days: count(t.Days), Deliveries: count(t.Cycles), Prompt: count(t.Kept), AverageStock: t.AverageStock}
	}
	return p
}

func (d *desk) coming(x shop.Expected) *pb.ComingOrder {
	return &pb.ComingOrder{PurchaseOrder: d.name("purchaseOrders", x.Order), Amount: x.Amount, DayTime: moment(x.Day), Overdue: x.Late}
}

func (d *desk) heatNeed(h shop.HeatNeed) *pb.HeatNeed {
	return &pb.HeatNeed{Heat: d.name("heats", h.Heat), DayTime: moment(h.Date), Charge: d.mass(ledger.Mass(h.Gross)), Returns: d.mass(ledger.Mass(h.Returns)),
		NewMetal: d.mass(ledger.Mass(h.New)), Short: d.mass(ledger.Mass(h.NetLine.Short))}
}

func (d *desk) surplus(x shop.Surplus, currency string) *pb.SurplusMetal {
	p := &pb.SurplusMetal{Sentence: x.Sentence, Alloy: d.name("alloys", x.Alloy), Skimmings: x.Dross, Mass: d.mass(x.Mass), Outlet: d.name("parties", x.Outlet), Offer: d.name("offers", x.Offer)}
	if x.Worth > 0 {
		p.Worth = money(x.Worth, currency)
	}
	return p
}

package server

import (
	"context"
	"fmt"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// learned is the word for a loss that is normal because the heats before let expect it.
const learned = "learned"

func (s costs) SetCosting(ctx context.Context, r *pb.SetCostingRequest) (*pb.SetCostingResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	c := r.GetCosting()
	set := ledger.Costing{From: d.time("costing.from_time", c.GetFromTime()), Method: costMethods.read(d, "costing.method", c.GetMethod()),
		Recovered: d.alloyPrices("costing.recovered", c.GetRecovered()), Skimmings: d.alloyPrices("costing.skimmings", c.GetSkimmings())}
	for i, n := range c.GetNormalLosses() {
		if strings.EqualFold(strings.TrimSpace(n.GetPercent()), learned) {
			set.Normal = append(set.Normal, ledger.AlloyShare{Alloy: d.ref("costing.normal_losses", n.GetAlloy(), "alloys"), Learned: true})
			continue
		}
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
		percent := percentText(n.PPM)
		if n.Learned {
			percent = learned
		}
		p.NormalLosses = append(p.NormalLosses, &pb.NormalLoss{Alloy: d.name("alloys", n.Alloy), Percent: percent})
	}
	for _, w := range c.Wear {
		p.Wear = append(p.Wear, &pb.CrucibleWear{Pot: d.name("pots", w.Pot), Price: w.Typed})
	}
	return p
}

func (s costs) ListCostings(ctx context.Context, r *pb.ListCostingsRequest) (*pb.ListCostingsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	got, next := list[ledger.Costing](d, r, ledger.RecCosting, "", func(c ledger.Costing) bool { return !c.Void })
	return reply(d, &pb.ListCostingsResponse{NextPageToken: next, Costings: showAll(got, func(v ledger.Stamped[ledger.Costing]) *pb.Costing { return d.costing(v.Value) })})
}

func (s costs) ClosePeriod(ctx context.Context, r *pb.ClosePeriodRequest) (*pb.ClosePeriodResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	from, to := d.time("start_time", r.GetStartTime()), d.time("end_time", r.GetEndTime())
	e := d.recordBy(func() (*ledger.Entry, error) { return d.CloseMonth(ctx, d.meta, from, to) })
	kept := mustMake[ledger.Closed](d, e, ledger.RecClosed)
	p := d.figures(r.GetParent()+"/costStatement", kept)
	p.Closed = true
	return reply(d, &pb.ClosePeriodResponse{Statement: p, Entry: d.entry(e)})
}

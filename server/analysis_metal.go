package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/lineage"
	"example.org/remelt/ledger/shop"
)

func (s analysis) TraceBack(ctx context.Context, r *pb.TraceBackRequest) (*pb.TraceBackResponse, error) {
	d, of := s.readMetal(ctx, r.GetName(), "")
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Shop.TraceBack(ctx, of)
	return reply(d.fail(err), &pb.TraceBackResponse{
		Mass: d.mass(v.Mass), MeanMelts: v.Age.Mean, Melts: v.Age.Melts, Sequence: v.Seq,
		Sources: showAll(v.Sources, func(x shop.Source) *pb.MetalSource {
			p := &pb.MetalSource{Account: x.Node, Subject: d.metalName(ledger.Account(x.Node)), Fraction: x.Fraction, Alloy: d.name("alloys", x.Alloy),
				Party: d.name("parties", x.From.Ref()), Certificate: x.Certificate}
			if v.Mass > 0 {
				p.Mass = d.mass(x.Mass)
			}
			return p
		}),
		Via: showAll(v.Via, func(x lineage.Share) *pb.MetalPassage {
			return &pb.MetalPassage{Account: x.Node, Subject: d.metalName(ledger.Account(x.Node)), Times: x.Fraction}
		}),
	})
}

func (s analysis) TraceForward(ctx context.Context, r *pb.TraceForwardRequest) (*pb.TraceForwardResponse, error) {
	d, of := s.readMetal(ctx, r.GetName(), "")
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Shop.TraceForward(ctx, of)
	p := &pb.TraceForwardResponse{Sequence: v.Seq}
	var total int64
	for _, h := range v.Holdings {
		total += h.Mg + h.Settled
		if a := ledger.Account(h.Node); h.Mg != 0 || a.Kind() == ledger.OfCasting || r.GetShowPassed() {
			p.Holdings = append(p.Holdings, d.metalHolding(a, h))
		}
	}
	p.Mass = d.mass(ledger.Mass(total))
	return reply(d.fail(err), p)
}

func (d *desk) metalHolding(a ledger.Account, h lineage.Holding) *pb.MetalHolding {
	p := &pb.MetalHolding{Account: h.Node, Subject: d.metalName(a), Held: d.mass(ledger.Mass(h.Mg)), Fraction: h.Fraction,
		Received: d.mass(ledger.Mass(h.Received)), Settled: d.massOrNil(ledger.Mass(h.Settled))}
	switch a.Kind() {
	case ledger.OfCasting:
		k := load[ledger.Casting](d, ledger.RecCasting, a.Ref()).Value
		p.DisplayName, p.Customer, p.Gone = k.Name, d.name("parties", k.Customer), k.Gone
	case ledger.OfLot:
		l := load[ledger.Lot](d, ledger.RecLot, a.Ref()).Value
		p.Form, p.Place = forms.show(l.Form), d.name("places", l.Place)
	}
	return p
}

func (s analysis) GetContent(ctx context.Context, r *pb.GetContentRequest) (*pb.GetContentResponse, error) {
	d, of := s.readMetal(ctx, r.GetName(), "/content")
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Content(ctx, of, r.GetEdition())
	p := &pb.Content{Name: r.GetName(), Alloy: d.name("alloys", v.Alloy), Basis: v.Basis, Sequence: v.Seq,
		OutsideAtLeast: v.Chance.AtLeast, OutsideAtMost: v.Chance.AtMost, Complete: v.Chance.Complete,
		Rows: showAll(v.Chance.Rows, func(c alloy.RowChance) *pb.LimitChance {
			return &pb.LimitChance{Limit: limit(c.Limit), Known: c.Known, Percent: c.Content.Mean, SdPercent: c.Content.SD, Below: c.Below, Above: c.Above, Standing: limitStandings.show(c.Verdict())}
		})}
	for _, e := range v.Composition.Elements() {
		x := v.Composition.Estimate(e)
		p.Elements = append(p.Elements, &pb.ElementEstimate{Symbol: e, Percent: x.Mean, SdPercent: x.SD})
	}
	if v.Limits != nil {
		p.LimitSet, p.Edition, p.Standing = v.Limits.ID(), v.Limits.Edition, limitStandings.show(v.Chance.Verdict())
		if !v.Measured && v.Chance.Verdict() != alloy.Outside {
			p.Standing = pb.LimitStanding_LIMIT_STANDING_TAKEN_TO_BE_INSIDE
		}
	}
	return reply(d.fail(err), &pb.GetContentResponse{Content: p})
}

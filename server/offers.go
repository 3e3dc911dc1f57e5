package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// offers are what others ask for metal and supplies, and pay for returns.
type offers struct {
	pb.UnimplementedOfferServiceServer
	counter
}

func (s offers) CreateOffer(ctx context.Context, r *pb.CreateOfferRequest) (*pb.CreateOfferResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	o := r.GetOffer()
	d.at, d.inside = "offer", o.ProtoReflect().Descriptor()
	c := ledger.NewOffer{ID: r.GetOfferId(), Party: d.ref("offer.party", o.GetParty(), "parties"), Buys: o.GetBuys(),
		Alloy: d.ref("offer.alloy", o.GetAlloy(), "alloys"), Form: forms.read(d, "offer.form", o.GetForm()), Supply: d.ref("offer.supply", o.GetSupply(), "supplies"),
		Freight: o.GetFreight(), Piece: d.amount(o.GetPiece()), Bundle: o.GetBundlePieces(), Least: d.amount(o.GetLeast()), LeastPieces: o.GetLeastPieces(),
		LeadOff: int(o.GetLeadOffDays()), From: o.GetFromDay(), Until: o.GetUntilDay(), Note: o.GetNote()}
	if o != nil && o.LeadDays != nil {
		days := int(o.GetLeadDays())
		c.LeadDays = &days
	}
	for _, b := range o.GetBreaks() {
		c.Breaks = append(c.Breaks, ledger.NewOfferBreak{From: d.amount(b.GetFrom()), Pieces: b.GetFromPieces(), Price: b.GetPrice()})
	}
	e := record(d, (*shop.Shop).KeepOffer, c)
	return reply(d, &pb.CreateOfferResponse{Offer: d.offer(mustMake[ledger.Offer](d, e, ledger.RecOffer)), Entry: d.entry(e)})
}

func (s offers) GetOffer(ctx context.Context, r *pb.GetOfferRequest) (*pb.GetOfferResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/offers/*")
	return reply(d, &pb.GetOfferResponse{Offer: d.offer(load[ledger.Offer](d, ledger.RecOffer, d.id()).Value)})
}

func (s offers) ListOffers(ctx context.Context, r *pb.ListOffersRequest) (*pb.ListOffersResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	p := d.page(r)
	q := shop.OfferQuery{Party: d.ref("party", r.GetParty(), "parties"), Day: r.GetDay(), After: p.after, Limit: p.limit}
	alloy, supply := d.ref("alloy", r.GetAlloy(), "alloys"), d.ref("supply", r.GetSupply(), "supplies")
	switch {
	case alloy != "" && supply != "":
		d.invalid("CONTRADICTION", "supply", supply, "no offer is for an alloy and a supply; ask for one of them")
	case alloy != "" && d.err == nil:
		id, _, err := d.ResolveAlloy(ctx, alloy)
		d.fail(err)
		q.Parent = "alloy/" + id
	case supply != "":
		q.Parent = "supply/" + supply
	}
	if q.Day == "today" {
		q.Day = d.Today(d.settings)
	}
	if d.err != nil {
		return nil, d.err
	}
	got, next, err := d.Offers(ctx, q)
	return reply(d.fail(err), &pb.ListOffersResponse{Offers: showAll(got, func(o ledger.Stamped[ledger.Offer]) *pb.Offer { return d.offer(o.Value) }), NextPageToken: p.token(next)})
}

func (s offers) WithdrawOffer(ctx context.Context, r *pb.WithdrawOfferRequest) (*pb.WithdrawOfferResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/offers/*")
	e := record(d, (*shop.Shop).WithdrawOffer, ledger.WithdrawOffer{Offer: d.id()})
	return reply(d, &pb.WithdrawOfferResponse{Offer: d.offer(mustMake[ledger.Offer](d, e, ledger.RecOffer)), Entry: d.entry(e)})
}

func (d *desk) offer(o ledger.Offer) *pb.Offer {
	p := &pb.Offer{Name: d.name("offers", o.ID), Party: d.name("parties", o.Party), Buys: o.Buys, Alloy: d.name("alloys", o.Alloy), Form: forms.show(o.Form),
		Supply: d.name("supplies", o.Supply), Piece: d.quantity(o.Piece), BundlePieces: o.Bundle, LeadOffDays: count(o.LeadOff), FromDay: o.From, UntilDay: o.Until,
		Note: o.Note, Withdrawn: o.Withdrawn, Entry: d.entryName(o.Entry)}
	if o.Freight != nil {
		p.Freight = o.Freight.Typed
	}
	if o.LeadDays != nil {
		days := count(*o.LeadDays)
		p.LeadDays = &days
	}
	if o.InPieces {
		p.LeastPieces = int64(o.Least.Mass)
	} else {
		p.Least = d.quantity(o.Least)
	}
	for _, b := range o.Breaks {
		x := &pb.OfferBreak{Price: b.Price.Typed}
		if o.InPieces {
			x.FromPieces = int64(b.From.Mass)
		} else {
			x.From = d.quantity(b.From)
		}
		p.Breaks = append(p.Breaks, x)
	}
	return p
}

package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// supplies are what is used up: flux, degasser, deoxidiser, crucibles.
type supplies struct {
	pb.UnimplementedSupplyServiceServer
	counter
}

func (s supplies) GetSupply(ctx context.Context, r *pb.GetSupplyRequest) (*pb.GetSupplyResponse, error) {
	d, p := supplySetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetSupplyResponse{Supply: p})
}

func (s supplies) ListSupplies(ctx context.Context, r *pb.ListSuppliesRequest) (*pb.ListSuppliesResponse, error) {
	d, all, next := supplySetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListSuppliesResponse{Supplies: all, NextPageToken: next})
}

func (s supplies) UpdateSupply(ctx context.Context, r *pb.UpdateSupplyRequest) (*pb.UpdateSupplyResponse, error) {
	d, p, e := supplySetting.update(ctx, s.counter, r, r.GetSupply(), r.GetSupply().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdateSupplyResponse{Supply: p, Entry: d.entry(e)})
}

func (s supplies) ReceiveSupply(ctx context.Context, r *pb.ReceiveSupplyRequest) (*pb.ReceiveSupplyResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/supplies/*")
	e := record(d, (*shop.Shop).ReceiveSupply, ledger.SupplyMove{Supply: d.id(), Amount: d.amount(r.GetAmount()), Pieces: r.GetPieces(),
		From: d.ref("supplier", r.GetSupplier(), "parties"), Price: r.GetPrice()})
	return reply(d, &pb.ReceiveSupplyResponse{Supply: supplySetting.now(d, d.id()), Entry: d.entry(e)})
}

func (s supplies) UseSupply(ctx context.Context, r *pb.UseSupplyRequest) (*pb.UseSupplyResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/supplies/*")
	e := record(d, (*shop.Shop).UseSupply, ledger.SupplyMove{Supply: d.id(), Amount: d.amount(r.GetAmount()), Pieces: r.GetPieces(), For: r.GetFor()})
	return reply(d, &pb.UseSupplyResponse{Supply: supplySetting.now(d, d.id()), Entry: d.entry(e)})
}

func (s supplies) CountSupply(ctx context.Context, r *pb.CountSupplyRequest) (*pb.CountSupplyResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), "shops/*/supplies/*")
	e := record(d, (*shop.Shop).CountSupply, ledger.SupplyMove{Supply: d.id(), Amount: d.amount(r.GetAmount()), Pieces: r.GetPieces()})
	return reply(d, &pb.CountSupplyResponse{Supply: supplySetting.now(d, d.id()), Entry: d.entry(e)})
}

var supplySetting = setting[ledger.Supply, ledger.Supply, *pb.Supply]{
	kind: ledger.RecSupply, collection: "supplies", field: "supply", set: (*shop.Shop).SetSupply,
	key:  func(v ledger.Supply) string { return v.ID },
	show: func(d *desk, v ledger.Supply, seq int64) *pb.Supply { return d.supply(v, seq) },
	read: func(d *desk, at string, p *pb.Supply, id string) ledger.Supply {
		v := ledger.Supply{ID: id, Name: p.GetDisplayName(), Purpose: p.GetPurpose(), InPieces: p.GetInPieces(),
			MetalPPM: d.percent(sub(at, "metal_percent"), p.GetMetalPercent()), Caution: p.GetCaution(),
			OrderBelow: int64(d.milligrams(sub(at, "order_below"), p.GetOrderBelow()))}
		if v.InPieces {
			v.OrderBelow = p.GetOrderBelowPieces()
		}
		return v
	},
	full: func(d *desk, p *pb.Supply, id string) { d.onHand(p, d.balance(ledger.Acct(ledger.InSupply, id))) },
}

// supply shows a supply without what is on hand.
func (d *desk) supply(v ledger.Supply, seq int64) *pb.Supply {
	p := &pb.Supply{Name: d.name("supplies", v.ID), DisplayName: v.Name, Purpose: v.Purpose, InPieces: v.InPieces,
		MetalPercent: percentOrNone(v.MetalPPM), Caution: v.Caution, Etag: etag(seq)}
	if v.InPieces {
		p.OrderBelowPieces = v.OrderBelow
	} else {
		p.OrderBelow = d.massOrNil(ledger.Mass(v.OrderBelow))
	}
	return p
}

// onHand adds what is on the shelf: milligrams or pieces.
func (d *desk) onHand(p *pb.Supply, amount ledger.Mass) {
	if p.GetInPieces() {
		p.PiecesOnHand = int64(amount)
		p.Low = p.GetPiecesOnHand() < p.GetOrderBelowPieces()
		return
	}
	p.OnHand = d.mass(amount)
	p.Low = int64(amount) < p.GetOrderBelow().GetMg()
}

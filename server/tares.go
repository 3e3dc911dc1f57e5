package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// tares are saved empty weights.
type tares struct {
	pb.UnimplementedTareServiceServer
	counter
}

func (s tares) GetTare(ctx context.Context, r *pb.GetTareRequest) (*pb.GetTareResponse, error) {
	d, p := tareSetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetTareResponse{Tare: p})
}

func (s tares) ListTares(ctx context.Context, r *pb.ListTaresRequest) (*pb.ListTaresResponse, error) {
	d, all, next := tareSetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListTaresResponse{Tares: all, NextPageToken: next})
}

func (s tares) UpdateTare(ctx context.Context, r *pb.UpdateTareRequest) (*pb.UpdateTareResponse, error) {
	d, p, e := tareSetting.update(ctx, s.counter, r, r.GetTare(), r.GetTare().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdateTareResponse{Tare: p, Entry: d.entry(e)})
}

var tareSetting = setting[ledger.Tare, ledger.Tare, *pb.Tare]{
	kind: ledger.RecTare, collection: "tares", field: "tare", set: (*shop.Shop).SetTare,
	key: func(v ledger.Tare) string { return v.ID },
	show: func(d *desk, v ledger.Tare, seq int64) *pb.Tare {
		return &pb.Tare{Name: d.name("tares", v.ID), DisplayName: v.Name, Mass: d.quantity(v.Mass), Etag: etag(seq)}
	},
	read: func(d *desk, _ string, p *pb.Tare, id string) ledger.Tare {
		return ledger.Tare{ID: id, Name: p.GetDisplayName(), Mass: d.amount(p.GetMass())}
	},
}

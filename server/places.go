package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// places are the shelves, bins and corners.
type places struct {
	pb.UnimplementedPlaceServiceServer
	counter
}

func (s places) GetPlace(ctx context.Context, r *pb.GetPlaceRequest) (*pb.GetPlaceResponse, error) {
	d, p := placeSetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetPlaceResponse{Place: p})
}

func (s places) ListPlaces(ctx context.Context, r *pb.ListPlacesRequest) (*pb.ListPlacesResponse, error) {
	d, all, next := placeSetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListPlacesResponse{Places: all, NextPageToken: next})
}

func (s places) UpdatePlace(ctx context.Context, r *pb.UpdatePlaceRequest) (*pb.UpdatePlaceResponse, error) {
	d, p, e := placeSetting.update(ctx, s.counter, r, r.GetPlace(), r.GetPlace().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdatePlaceResponse{Place: p, Entry: d.entry(e)})
}

var placeSetting = setting[ledger.Place, ledger.Place, *pb.Place]{
	kind: ledger.RecPlace, collection: "places", field: "place", set: (*shop.Shop).SetPlace,
	key: func(v ledger.Place) string { return v.ID },
	show: func(d *desk, v ledger.Place, seq int64) *pb.Place {
		return &pb.Place{Name: d.name("places", v.ID), DisplayName: v.Name, Etag: etag(seq)}
	},
	read: func(_ *desk, _ string, p *pb.Place, id string) ledger.Place {
		return ledger.Place{ID: id, Name: p.GetDisplayName()}
	},
}

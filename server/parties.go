package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// parties are suppliers, customers and melters.
type parties struct {
	pb.UnimplementedPartyServiceServer
	counter
}

func (s parties) GetParty(ctx context.Context, r *pb.GetPartyRequest) (*pb.GetPartyResponse, error) {
	d, p := partySetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetPartyResponse{Party: p})
}

func (s parties) ListParties(ctx context.Context, r *pb.ListPartiesRequest) (*pb.ListPartiesResponse, error) {
	d, all, next := partySetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListPartiesResponse{Parties: all, NextPageToken: next})
}

func (s parties) UpdateParty(ctx context.Context, r *pb.UpdatePartyRequest) (*pb.UpdatePartyResponse, error) {
	d, p, e := partySetting.update(ctx, s.counter, r, r.GetParty(), r.GetParty().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdatePartyResponse{Party: p, Entry: d.entry(e)})
}

var partySetting = setting[ledger.Party, ledger.Party, *pb.Party]{
	kind: ledger.RecParty, collection: "parties", field: "party", set: (*shop.Shop).SetParty,
	key: func(v ledger.Party) string { return v.ID },
	show: func(d *desk, v ledger.Party, seq int64) *pb.Party {
		return &pb.Party{Name: d.name("parties", v.ID), DisplayName: v.Name, Roles: showAll(v.Roles, roles.show), Etag: etag(seq)}
	},
	read: func(d *desk, at string, p *pb.Party, id string) ledger.Party {
		v := ledger.Party{ID: id, Name: p.GetDisplayName()}
		for i, r := range p.GetRoles() {
			v.Roles = append(v.Roles, roles.read(d, indexed(sub(at, "roles"), i), r))
		}
		return v
	},
}

package web

import (
	"cmp"
	"context"
	"slices"

	pb "example.org/remelt/api/remelt/v1"
)

// What forms choose from.

type named interface {
	GetName() string
	GetDisplayName() string
}

func choiceOf(x named) choice {
	id := last(x.GetName())
	return choice{id, cmp.Or(x.GetDisplayName(), id)}
}

// parties are those who play a role, by id.
func (p *Pages) parties(v *visit, role pb.Role) (out []choice, err error) {
	got, err := p.allParties(v)
	for _, x := range got {
		if slices.Contains(x.GetRoles(), role) {
			out = append(out, choiceOf(x))
		}
	}
	return out, err
}

func (p *Pages) allParties(v *visit) ([]*pb.Party, error) {
	return all(v.ctx, func(ctx context.Context, token string) ([]*pb.Party, string, error) {
		l, err := p.call.parties.ListParties(ctx, &pb.ListPartiesRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetParties(), l.GetNextPageToken(), err
	})
}

// partyNames are the names of all with whom the shop deals, for people, by resource name.
func (p *Pages) partyNames(v *visit) (map[string]string, error) {
	got, err := p.allParties(v)
	out := map[string]string{}
	for _, x := range got {
		out[x.GetName()] = choiceOf(x).Name
	}
	return out, err
}

// places are where metal lies.
func (p *Pages) places(v *visit) (out []choice, err error) {
	got, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Place, string, error) {
		l, err := p.call.places.ListPlaces(ctx, &pb.ListPlacesRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPlaces(), l.GetNextPageToken(), err
	})
	for _, x := range got {
		out = append(out, choiceOf(x))
	}
	return out, err
}

// alloys are the alloys the shop knows.
func (p *Pages) alloys(v *visit) (out []choice, err error) {
	got, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Alloy, string, error) {
		l, err := p.call.alloys.ListAlloys(ctx, &pb.ListAlloysRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetAlloys(), l.GetNextPageToken(), err
	})
	for _, a := range got {
		id := last(a.GetName())
		out = append(out, choice{id, id + " · " + a.GetFamily()})
	}
	return out, err
}

// supplies are what is bought beside metal.
func (p *Pages) supplies(v *visit) (out []choice, err error) {
	got, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Supply, string, error) {
		l, err := p.call.supplies.ListSupplies(ctx, &pb.ListSuppliesRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetSupplies(), l.GetNextPageToken(), err
	})
	for _, x := range got {
		out = append(out, choiceOf(x))
	}
	return out, err
}

// scales are what metal is weighed on.
func (p *Pages) scales(v *visit) (out []choice, err error) {
	got, err := p.allScales(v)
	for _, x := range got {
		out = append(out, choiceOf(x))
	}
	return out, err
}

func (p *Pages) allScales(v *visit) ([]*pb.Scale, error) {
	return all(v.ctx, func(ctx context.Context, token string) ([]*pb.Scale, string, error) {
		l, err := p.call.scales.ListScales(ctx, &pb.ListScalesRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetScales(), l.GetNextPageToken(), err
	})
}

func (p *Pages) allTares(v *visit) ([]*pb.Tare, error) {
	return all(v.ctx, func(ctx context.Context, token string) ([]*pb.Tare, string, error) {
		l, err := p.call.tares.ListTares(ctx, &pb.ListTaresRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetTares(), l.GetNextPageToken(), err
	})
}

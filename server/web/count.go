package web

import (
	"cmp"
	"context"
	"slices"

	pb "example.org/remelt/api/remelt/v1"
)

// countPage is for walking past the shelves: what lies at a place, without what the
// book says it weighs.
type countPage struct {
	Places []choice
	Place  string
	Lots   []*pb.Lot
	Past   []*pb.Stocktake // the latest
}

func (p *Pages) count(v *visit) (frame, error) {
	page := countPage{Place: v.r.URL.Query().Get("place")}
	var err error
	if page.Places, err = p.places(v); err != nil {
		return frame{}, err
	}
	page.Lots, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.Lot, string, error) {
		l, err := p.call.lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetLots(), l.GetNextPageToken(), err
	})
	if err != nil {
		return frame{}, err
	}
	page.Lots = slices.DeleteFunc(page.Lots, func(l *pb.Lot) bool {
		return l.GetMass().GetMg() == 0 || page.Place != "" && last(l.GetPlace()) != page.Place
	})
	slices.SortStableFunc(page.Lots, func(a, b *pb.Lot) int {
		return cmp.Or(cmp.Compare(a.GetPlace(), b.GetPlace()), cmp.Compare(a.GetAlloy(), b.GetAlloy()), cmp.Compare(a.GetName(), b.GetName()))
	})
	return frame{Title: "Stocktake", Here: "stock", Main: page}, nil
}

package web

import (
	"cmp"
	"context"
	"slices"

	pb "example.org/remelt/api/remelt/v1"
)

// stockPage shows what metal is here, and the moments that a visit may be about.
type stockPage struct {
	Seq   int64
	Rows  []position
	Total *pb.Position
	Alloy string // the one whose lots are shown, or ""
	Lots  []*pb.Lot

	Advice *buying // what the next heats need of that alloy, and how long it lasts; nil when nothing can be said
}

type position struct {
	*pb.Position
	ID     string
	Family string
}

// Owned names the customer whose own metal it is.
func (p position) Owned() string {
	if p.GetOwner() == "" {
		return ""
	}
	return last(p.GetOwner())
}

func (p *Pages) stock(v *visit) (frame, error) {
	got, err := p.call.stock.GetStock(v.ctx, &pb.GetStockRequest{Name: v.name("stock")})
	if err != nil {
		return frame{}, err
	}
	families, err := p.families(v)
	if err != nil {
		return frame{}, err
	}
	page := stockPage{Seq: got.GetStock().GetSequence(), Total: got.GetStock().GetTotal(), Alloy: v.r.URL.Query().Get("alloy")}
	for _, pos := range got.GetStock().GetPositions() {
		id := last(pos.GetAlloy())
		page.Rows = append(page.Rows, position{Position: pos, ID: id, Family: families[id]})
	}
	if page.Alloy != "" {
		page.Lots, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.Lot, string, error) {
			l, err := p.call.lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/" + v.ID, Alloy: v.name("alloys/" + page.Alloy), PageSize: 500, PageToken: token})
			return l.GetLots(), l.GetNextPageToken(), err
		})
		if err != nil {
			return frame{}, err
		}
		slices.SortStableFunc(page.Lots, func(a, b *pb.Lot) int {
			return cmp.Or(cmp.Compare(lotRank(a), lotRank(b)), -cmp.Compare(a.GetMass().GetMg(), b.GetMass().GetMg()))
		})
	}
	if page.Advice, err = p.advice(v, page.Alloy); err != nil {
		return frame{}, err
	}
	return frame{Title: "Metal here", Here: "stock", Live: true, Main: page}, nil
}

// lotRank puts lots that may be used first, then those to clean, set apart, of skimmings.
func lotRank(l *pb.Lot) int {
	switch {
	case l.GetForm() == pb.Form_FORM_SKIMMINGS:
		return 3
	case l.GetCondition() == pb.Condition_CONDITION_HELD:
		return 2
	case l.GetCondition() == pb.Condition_CONDITION_TO_BE_CLEANED:
		return 1
	}
	return 0
}

// families are the families of all alloys, by id.
func (p *Pages) families(v *visit) (map[string]string, error) {
	alloys, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Alloy, string, error) {
		l, err := p.call.alloys.ListAlloys(ctx, &pb.ListAlloysRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetAlloys(), l.GetNextPageToken(), err
	})
	out := map[string]string{}
	for _, a := range alloys {
		out[last(a.GetName())] = a.GetFamily()
	}
	return out, err
}

package web

import (
	"context"
	"slices"

	pb "example.org/remelt/api/remelt/v1"
)

// heatsPage lists the heats by what each is waiting for.
type heatsPage struct{ Groups []heatGroup }

type heatGroup struct {
	Title, What string
	Heats       []*pb.Heat
	Folded      bool
}

func (p *Pages) heats(v *visit) (frame, error) {
	heats, err := p.allHeats(v)
	if err != nil {
		return frame{}, err
	}
	groups := []heatGroup{
		{Title: "In the furnace", What: "charged and melting"},
		{Title: "Next", What: "planned"},
		{Title: "Waiting to be weighed back", What: "poured; castings and gating are still in molds, so every figure is provisional"},
		{Title: "Settled", What: "everything expected is weighed or written off", Folded: true},
		{Title: "Not melted", What: "planned and dropped", Folded: true},
	}
	place := map[pb.Heat_State]int{pb.Heat_STATE_MELTING: 0, pb.Heat_STATE_PLANNED: 1, pb.Heat_STATE_LATE: 2, pb.Heat_STATE_SETTLED: 3, pb.Heat_STATE_DROPPED: 4}
	for _, h := range heats {
		if i, ok := place[h.GetState()]; ok {
			groups[i].Heats = append(groups[i].Heats, h)
		}
	}
	for i := range groups {
		slices.SortStableFunc(groups[i].Heats, func(a, b *pb.Heat) int { return heatTime(b).Compare(heatTime(a)) })
	}
	return frame{Title: "Heats", Here: "heats", Live: true, Main: heatsPage{slices.DeleteFunc(groups, func(g heatGroup) bool { return len(g.Heats) == 0 })}}, nil
}

func (p *Pages) allHeats(v *visit, states ...pb.Heat_State) ([]*pb.Heat, error) {
	return all(v.ctx, func(ctx context.Context, token string) ([]*pb.Heat, string, error) {
		l, err := p.call.heats.ListHeats(ctx, &pb.ListHeatsRequest{Parent: "shops/" + v.ID, States: states, PageSize: 500, PageToken: token})
		return l.GetHeats(), l.GetNextPageToken(), err
	})
}

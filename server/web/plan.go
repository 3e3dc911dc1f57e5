package web

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// planPage is where a heat is planned: from molds that wait to be poured, or from
// weights that are typed.
type planPage struct {
	*heatPlan
	Waiting []waitingAlloy
	Rows    []int // more of them, to type molds in
	Alloy   string
}

// waitingAlloy is what waits to be poured of an alloy.
type waitingAlloy struct {
	Alloy string
	Molds []waiting
}

// waiting is a mold that is in no heat yet, or was not poured in the heat it was in.
type waiting struct {
	*pb.Mold
	From  string // where it waits
	Key   string // on it; nothing for one that is not made yet
	Field string
	Sent  string // the mold to be made, as the API takes it; nothing for one that is there
}

// field makes one step of a field's name of an id, which may have dots in it.
func field(id string) string { return strings.ReplaceAll(id, ".", "%2E") }

func (p *Pages) planHeat(v *visit) (frame, error) {
	lists, err := p.planLists(v)
	if err != nil {
		return frame{}, err
	}
	page := planPage{heatPlan: lists, Rows: []int{1, 2, 3, 4}, Alloy: v.r.URL.Query().Get("alloy")}
	heats, err := p.allHeats(v)
	if err != nil {
		return frame{}, err
	}
	by, given := map[string][]waiting{}, map[string]int64{}
	for _, h := range heats {
		molds, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Mold, string, error) {
			l, err := p.call.molds.ListMolds(ctx, &pb.ListMoldsRequest{Parent: h.GetName(), PageSize: 500, PageToken: token})
			return l.GetMolds(), l.GetNextPageToken(), err
		})
		if err != nil {
			return frame{}, err
		}
		for _, m := range molds {
			if from, waits := waitsIn(h, m); waits {
				by[last(h.GetAlloy())] = append(by[last(h.GetAlloy())], waiting{Mold: m, From: from, Key: last(m.GetName()), Field: field(last(m.GetName()))})
			}
			if h.GetState() != pb.Heat_STATE_DROPPED && m.GetState() != pb.Mold_STATE_SHORT && m.GetState() != pb.Mold_STATE_LEAKED {
				given[m.GetCommission()+"\x00"+m.GetDisplayName()]++
			}
		}
	}
	if err := p.toCast(v, by, given); err != nil {
		return frame{}, err
	}
	for alloy, molds := range by {
		page.Waiting = append(page.Waiting, waitingAlloy{alloy, molds})
	}
	slices.SortFunc(page.Waiting, func(a, b waitingAlloy) int { return cmp.Compare(a.Alloy, b.Alloy) })
	return frame{Title: "Plan a heat", Here: "heats", Main: page}, nil
}

// waitsIn says whether a mold of a heat waits to be poured in another one, and where
// it is now. A mold that a reversal took out of a plan is none.
func waitsIn(h *pb.Heat, m *pb.Mold) (string, bool) {
	planned, unused := m.GetState() == pb.Mold_STATE_PLANNED, m.GetState() == pb.Mold_STATE_UNUSED
	switch h.GetState() {
	case pb.Heat_STATE_PLANNED:
		return "planned in heat " + last(h.GetName()), planned
	case pb.Heat_STATE_LATE, pb.Heat_STATE_SETTLED:
		return "not poured in heat " + last(h.GetName()), planned || unused
	case pb.Heat_STATE_DROPPED:
		return "heat " + last(h.GetName()) + " was not melted", planned
	}
	return "", false
}

// toCast adds what commissions have still to be cast and is in no heat.
func (p *Pages) toCast(v *visit, by map[string][]waiting, given map[string]int64) error {
	commissions, err := p.allCommissions(v)
	if err != nil {
		return err
	}
	for _, c := range commissions {
		for i, pattern := range c.GetPatterns() {
			left := max(1, pattern.GetCopies()) - given[last(c.GetName())+"\x00"+pattern.GetDisplayName()]
			if left <= 0 {
				continue
			}
			mold := p.moldOf(v, pattern)
			mold.Commission, mold.Customer = last(c.GetName()), c.GetCustomer()
			sent, err := protojson.Marshal(mold)
			if err != nil {
				return err
			}
			alloy := last(pattern.GetAlloy())
			for n := range min(left, mostWaiting) {
				by[alloy] = append(by[alloy], waiting{mold, "still to be cast for " + last(c.GetName()), "", field(fmt.Sprintf("%s %d %d", last(c.GetName()), i, n)), string(sent)})
			}
		}
	}
	return nil
}

// mostWaiting is how many copies of one casting are listed at most.
const mostWaiting = 20

// moldOf is the mold of what is to be cast, with the likeliest of its weights. What
// cannot be reckoned is left to be typed.
func (p *Pages) moldOf(v *visit, x *pb.CommissionPattern) *pb.Mold {
	mold := &pb.Mold{DisplayName: x.GetDisplayName()}
	req := &pb.EstimateMetalRequest{Parent: "shops/" + v.ID, Alloy: last(x.GetAlloy())}
	switch {
	case x.GetMetal() != "":
		mold.Metal = massOf(v, likeliest(x.GetMetal()))
	case x.GetWax() != "":
		req.Wax = &pb.Mass{Text: likeliest(x.GetWax())}
	case x.GetVolume() != "":
		req.Volume = &pb.Volume{Text: likeliest(x.GetVolume())}
	}
	if req.GetWax() != nil || req.GetVolume() != nil {
		if got, err := p.call.molds.EstimateMetal(v.ctx, req); err == nil {
			mold.Metal, mold.How = &pb.Mass{Mg: got.GetMetal().GetMg()}, got.GetHow()
		}
	}
	mold.Gating = massOf(v, likeliest(x.GetGating()))
	return mold
}

// likeliest is the figure of a range that a plan is made with: the one in the middle, or
// of two the greater, since running short is the worse mistake.
func likeliest(typed string) string {
	parts := strings.Split(typed, "..")
	figure := strings.TrimSpace(parts[len(parts)/2])
	if unit := strings.TrimLeft(parts[len(parts)-1], "0123456789.,' "); !strings.HasSuffix(figure, unit) {
		figure += " " + unit
	}
	return figure
}

// massOf reads a weight as it was typed; nil for none.
func massOf(v *visit, typed string) *pb.Mass {
	mg, err := unit.ParseMass(typed, v.Single())
	if err != nil || mg == 0 {
		return nil
	}
	return &pb.Mass{Mg: mg}
}

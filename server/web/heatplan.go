package web

import (
	"context"
	"slices"
	"time"

	pb "example.org/remelt/api/remelt/v1"
)

// heatPlan is what is planned of a heat, as a form.
type heatPlan struct {
	Alloys, Crucibles, Furnaces, Melters, Customers, Commissions []choice

	Changes bool // the plan may be changed
	Adds    bool // a mold may be added
}

// heatWrites says what may be written of a heat now, with what its forms choose from.
func (p *Pages) heatWrites(v *visit, page *heatPage) error {
	h := page.Heat
	may := func(method string, states ...pb.Heat_State) (bool, error) {
		allowed, err := v.May(method)
		return allowed && slices.Contains(states, h.GetState()), err
	}
	plan, err := p.planLists(v)
	if err != nil {
		return err
	}
	if plan.Changes, err = may("HeatService/UpdateHeat", pb.Heat_STATE_PLANNED, pb.Heat_STATE_MELTING, pb.Heat_STATE_LATE); err != nil {
		return err
	}
	if plan.Adds, err = may("MoldService/CreateMold", pb.Heat_STATE_PLANNED, pb.Heat_STATE_MELTING, pb.Heat_STATE_LATE); err != nil {
		return err
	}
	page.Plan = plan
	pours, err := may("HeatService/PourMold", poured...)
	if err != nil {
		return err
	}
	changes, err := may("MoldService/UpdateMold", pb.Heat_STATE_PLANNED, pb.Heat_STATE_MELTING, pb.Heat_STATE_LATE)
	if err != nil {
		return err
	}
	molds := []*pb.Mold{}
	for i, m := range page.Molds {
		page.Molds[i].Pours, page.Molds[i].Changes = pours, changes && m.GetState() == pb.Mold_STATE_PLANNED
		molds = append(molds, m.Mold)
	}
	lists, err := p.deedLists(v, page)
	if err != nil {
		return err
	}
	all, err := heatDeeds(v, h, molds, lists)
	for _, d := range all {
		if d.Later || h.GetState() == pb.Heat_STATE_SETTLED {
			page.Later = append(page.Later, d)
		} else {
			page.Deeds = append(page.Deeds, d)
		}
	}
	if err != nil {
		return err
	}
	page.Lots, page.Handled = lists.Lots, map[string][]deed{}
	for _, c := range page.Castings {
		if page.Handled[c.GetName()], err = castingDeeds(v, c, plan.Customers, lists.Places); err != nil {
			return err
		}
	}
	return nil
}

// planLists are what a heat's plan chooses from.
func (p *Pages) planLists(v *visit) (*heatPlan, error) {
	plan := &heatPlan{}
	var err error
	if plan.Alloys, err = p.alloys(v); err != nil {
		return nil, err
	}
	if plan.Melters, err = p.parties(v, pb.Role_ROLE_MELTER); err != nil {
		return nil, err
	}
	if plan.Customers, err = p.parties(v, pb.Role_ROLE_CUSTOMER); err != nil {
		return nil, err
	}
	pots, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Pot, string, error) {
		l, err := p.call.pots.ListPots(ctx, &pb.ListPotsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetPots(), l.GetNextPageToken(), err
	})
	if err != nil {
		return nil, err
	}
	for _, x := range pots {
		c := choiceOf(x)
		if says := potSays(v, x); says != "" {
			c.Name += " · " + says
		}
		switch {
		case x.GetRetired():
		case x.GetKind() == pb.PotKind_POT_KIND_FURNACE:
			plan.Furnaces = append(plan.Furnaces, c)
		default:
			plan.Crucibles = append(plan.Crucibles, c)
		}
	}
	commissions, err := p.allCommissions(v)
	for _, c := range commissions {
		plan.Commissions = append(plan.Commissions, choiceOf(c))
	}
	return plan, err
}

func (p *Pages) allCommissions(v *visit) ([]*pb.Commission, error) {
	return all(v.ctx, func(ctx context.Context, token string) ([]*pb.Commission, string, error) {
		l, err := p.call.commissions.ListCommissions(ctx, &pb.ListCommissionsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
		return l.GetCommissions(), l.GetNextPageToken(), err
	})
}

// sameTime is how far apart heats may be that burned fuel together.
const sameTime = 36 * time.Hour

// weighingLists reads what a weighing chooses from, and where its metal is put.
func (p *Pages) weighingLists(v *visit, l *deedLists) (err error) {
	if l.Places, err = p.places(v); err != nil {
		return err
	}
	if l.Scales, err = p.scales(v); err != nil {
		return err
	}
	tares, err := p.allTares(v)
	for _, t := range tares {
		c := choiceOf(t)
		l.Tares = append(l.Tares, choice{c.ID, c.Name + " · " + v.Mass(t.GetMass())})
	}
	return err
}

// deedLists reads what the fields of a heat's deeds choose from.
func (p *Pages) deedLists(v *visit, page *heatPage) (l deedLists, err error) {
	if l.Supplies, err = p.supplies(v); err != nil {
		return l, err
	}
	if err := p.weighingLists(v, &l); err != nil {
		return l, err
	}
	for _, c := range page.Castings {
		if c.GetGone() == "" {
			l.Castings = append(l.Castings, choice{last(c.GetName()), last(c.GetName()) + " " + c.GetDisplayName()})
		}
	}
	heats, err := p.allHeats(v, begun...)
	if err != nil {
		return l, err
	}
	at := heatTime(page.Heat)
	for _, h := range heats {
		if apart := heatTime(h).Sub(at).Abs(); h.GetName() != page.Heat.GetName() && apart < sameTime {
			l.Heats = append(l.Heats, choice{last(h.GetName()), "heat " + last(h.GetName()) + ", " + heatDay(v, h)})
		}
	}
	if page.Heat.GetState() == pb.Heat_STATE_MELTING {
		lots, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Lot, string, error) {
			got, err := p.call.lots.ListLots(ctx, &pb.ListLotsRequest{Parent: "shops/" + v.ID, PageSize: 500, PageToken: token})
			return got.GetLots(), got.GetNextPageToken(), err
		})
		if err != nil {
			return l, err
		}
		for _, x := range lots {
			l.Lots = append(l.Lots, choice{last(x.GetName()), v.Mass(x.GetMass()) + " " + last(x.GetAlloy()) + " " + word(x.GetForm())})
		}
	}
	return l, nil
}

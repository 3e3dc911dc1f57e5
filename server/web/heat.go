package web

import (
	"context"
	"fmt"
	"time"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/web/picture"
)

// heatPage is one heat: its plan while it is planned, what is in it and what is done to
// it while it melts, and where its metal went.
type heatPage struct {
	Heat      *pb.Heat
	Balance   *pb.HeatBalance
	Content   *pb.Content // nil while it never held metal
	Flow      *picture.Flow
	Molds     []heatMold
	Wanted    *pb.Mass // that the molds not poured yet take
	Readings  []*pb.Reading
	Last      *pb.Reading // the latest that holds
	Additions []*pb.Addition
	Fuel      []*pb.FuelBurned
	Castings  []*pb.Casting
	Cost      *pb.HeatCost
	Loss      string // what it lost beside what was expected, once that can be said
	History   []*pb.Entry
	More      bool // there is more history than is shown

	Deeds, Later []deed            // what may be done to it now: often, and seldom
	Handled      map[string][]deed // what may be done to its castings, by their names
	Plan         *heatPlan
	Lots         []choice // that a charge may be typed from
}

// heatMold is a mold with what may be done to it.
type heatMold struct {
	*pb.Mold
	Pours   bool // it may be said to be poured
	Changes bool // its plan may be changed
}

func (p *Pages) heat(v *visit) (frame, error) {
	name := v.name("heats/" + v.r.PathValue("heat"))
	got, err := p.call.heats.GetHeat(v.ctx, &pb.GetHeatRequest{Name: name})
	if err != nil {
		return frame{}, err
	}
	page := heatPage{Heat: got.GetHeat()}
	bal, err := p.call.balances.GetHeatBalance(v.ctx, &pb.GetHeatBalanceRequest{Name: name + "/balance", WithSuspects: page.Heat.GetState() >= pb.Heat_STATE_LATE})
	if err != nil {
		return frame{}, err
	}
	page.Balance = bal.GetBalance()
	if page.Content, err = p.contentOf(v, name); err != nil {
		return frame{}, err
	}
	if !chargeable(page.Heat) { // while it melts there is nothing to see yet
		page.Flow = heatFlow(v, page.Balance)
	}
	if err := p.heatFacts(v, &page); err != nil {
		return frame{}, err
	}
	if page.Flow != nil {
		got, err := p.call.costs.GetHeatCost(v.ctx, &pb.GetHeatCostRequest{Name: name + "/cost"})
		if err != nil {
			return frame{}, err
		}
		if c := got.GetCost(); c.GetMetal().GetMinor() != 0 || len(c.GetConversion()) > 0 {
			page.Cost = c
		}
	}
	if page.Heat.GetState() == pb.Heat_STATE_SETTLED {
		got, err := p.call.analysis.GetLosses(v.ctx, &pb.GetLossesRequest{Name: v.name("losses")})
		if err != nil {
			return frame{}, err
		}
		page.Loss = lossOf(got.GetLosses().GetChart(), name)
	}
	if err := p.heatWrites(v, &page); err != nil {
		return frame{}, err
	}
	return frame{Title: "Heat " + last(name), Here: "heats", Live: true, Cautioned: len(page.Heat.GetCautions()) > 0, Main: page}, nil
}

// lossOf says what a heat lost beside what the heats before it made probable.
func lossOf(c *pb.LossChart, heat string) string {
	for _, h := range c.GetHeats() {
		if h.GetHeat() != heat {
			continue
		}
		low, high := forecast(c, h)
		says := fmt.Sprintf("It lost %.1f %% of its charge; by the heats before it, %.1f to %.1f %% was to be expected, 9 times in 10.", h.GetWeighed().GetPercent(), max(low, 0), high)
		if h.GetOutside() {
			says += " It stands out."
		}
		return says
	}
	return ""
}

// heatFacts reads what is written down of a heat.
func (p *Pages) heatFacts(v *visit, page *heatPage) (err error) {
	name := page.Heat.GetName()
	molds, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Mold, string, error) {
		l, err := p.call.molds.ListMolds(ctx, &pb.ListMoldsRequest{Parent: name, PageSize: 500, PageToken: token})
		return l.GetMolds(), l.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	wanted := int64(0)
	for _, m := range molds {
		page.Molds = append(page.Molds, heatMold{Mold: m})
		if m.GetState() == pb.Mold_STATE_PLANNED {
			wanted += m.GetMetal().GetMg() + m.GetGating().GetMg()
		}
	}
	page.Wanted = &pb.Mass{Mg: wanted}
	if page.Readings, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.Reading, string, error) {
		l, err := p.call.heats.ListReadings(ctx, &pb.ListReadingsRequest{Parent: name, PageSize: 500, PageToken: token})
		return l.GetReadings(), l.GetNextPageToken(), err
	}); err != nil {
		return err
	}
	for _, r := range page.Readings {
		if !r.GetVoid() && !r.GetReadTime().AsTime().Before(page.Last.GetReadTime().AsTime()) {
			page.Last = r
		}
	}
	if page.Additions, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.Addition, string, error) {
		l, err := p.call.heats.ListAdditions(ctx, &pb.ListAdditionsRequest{Parent: name, PageSize: 500, PageToken: token})
		return l.GetAdditions(), l.GetNextPageToken(), err
	}); err != nil {
		return err
	}
	if page.Fuel, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.FuelBurned, string, error) {
		l, err := p.call.heats.ListFuel(ctx, &pb.ListFuelRequest{Parent: name, PageSize: 500, PageToken: token})
		return l.GetFuels(), l.GetNextPageToken(), err
	}); err != nil {
		return err
	}
	if page.Castings, err = all(v.ctx, func(ctx context.Context, token string) ([]*pb.Casting, string, error) {
		l, err := p.call.castings.ListCastings(ctx, &pb.ListCastingsRequest{Parent: "shops/" + v.ID, Heat: name, ShowGone: true, PageSize: 500, PageToken: token})
		return l.GetCastings(), l.GetNextPageToken(), err
	}); err != nil {
		return err
	}
	past, err := p.call.entries.ListHistory(v.ctx, &pb.ListHistoryRequest{Name: name, PageSize: historyShown})
	page.History, page.More = past.GetEntries(), past.GetNextPageToken() != ""
	return err
}

// heatTime is when a heat was last something: poured, opened or planned.
func heatTime(h *pb.Heat) time.Time {
	for _, t := range []interface{ AsTime() time.Time }{h.GetPourTime(), h.GetOpenTime(), h.GetPlannedTime()} {
		if at := t.AsTime(); at.Unix() > 0 {
			return at
		}
	}
	return time.Time{}
}

// heatFlow is the picture of a heat's balance; nil while nothing is charged.
func heatFlow(v *visit, b *pb.HeatBalance) *picture.Flow {
	t := b.GetTerms()
	if t.GetMetalIn().GetMg() <= 0 {
		return nil
	}
	f := &picture.Flow{Title: "Where the metal of heat " + last(b.GetHeat().GetName()) + " went", Middle: "heat " + last(b.GetHeat().GetName()),
		Show: func(mg int64) string { return v.Mass(&pb.Mass{Mg: mg}) }}
	for _, c := range b.GetChargedByForm() {
		f.In = append(f.In, picture.Stream{Name: word(c.GetForm()), Amount: c.GetMass().GetMg()})
	}
	rest := t.GetMetalIn().GetMg()
	for _, s := range f.In {
		rest -= s.Amount
	}
	if rest > 0 {
		f.In = append(f.In, picture.Stream{Name: "additions and other", Amount: rest})
	}
	for _, o := range []struct {
		name  string
		mass  *pb.Mass
		sort  picture.Sort
		guess bool
	}{
		{"castings", t.GetCastings(), picture.Product, false},
		{"returns", t.GetReturns(), picture.Back, false},
		{"pigs", t.GetPigs(), picture.Back, false},
		{"heel", t.GetHeel(), picture.Back, false},
		{"recovered", t.GetRecovered(), picture.Back, false},
		{"swept up", t.GetSpillKept(), picture.Back, false},
		{"given away", t.GetGiven(), picture.Product, false},
		{"in the crucible", t.GetInCrucible(), picture.Waiting, true},
		{"in molds", t.GetInMolds(), picture.Waiting, true},
		{"in skimmings", t.GetTrapped(), picture.Waiting, true},
		{"oxide", t.GetOxide(), picture.Gone, true},
		{"vapour", t.GetVapour(), picture.Gone, true},
		{"spilled", t.GetSpilled(), picture.Gone, false},
		{"kerf", t.GetKerf(), picture.Gone, false},
		{"unaccounted", t.GetUnaccounted(), picture.Gone, true},
	} {
		if o.mass.GetMg() != 0 {
			f.Out = append(f.Out, picture.Stream{Name: o.name, Amount: o.mass.GetMg(), Sort: o.sort, Provisional: o.guess || b.GetProvisional() && o.sort == picture.Back})
		}
	}
	return f
}

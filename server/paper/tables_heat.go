package paper

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
)

func (p *Press) heatTable(ctx context.Context, shop string, _ Period, t *Table) error {
	t.head("heat", "alloy", "owner", "state", "provisional", "crucible", "furnace", "melter", "poured", "metal_in_UNIT", "castings_UNIT", "returns_UNIT", "pigs_UNIT",
		"spill_kept_UNIT", "recovered_UNIT", "given_UNIT", "heel_UNIT", "trapped_UNIT", "oxide_UNIT", "vapour_UNIT", "spilled_UNIT", "kerf_UNIT", "unaccounted_UNIT",
		"in_crucible_UNIT", "in_molds_UNIT", "standard_uncertainty_UNIT", "note")
	heats, err := all(func(token string) ([]*pb.Heat, string, error) {
		l, err := p.call.heats.ListHeats(ctx, &pb.ListHeatsRequest{Parent: shop, PageSize: 1000, PageToken: token})
		return l.GetHeats(), l.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	inOrder(heats, (*pb.Heat).GetName)
	for _, h := range heats {
		got, err := p.call.balances.GetHeatBalance(ctx, &pb.GetHeatBalanceRequest{Name: h.GetName() + "/balance"})
		if err != nil {
			return err
		}
		b, s := got.GetBalance(), got.GetBalance().GetTerms()
		h := b.GetHeat()
		t.add(b, last(h.GetName()), last(h.GetAlloy()), last(h.GetOwner()), dashed(h.GetState()), b.GetProvisional(), last(h.GetCrucible()), last(h.GetFurnace()), last(h.GetMelter()),
			h.GetPourTime(), s.GetMetalIn(), s.GetCastings(), s.GetReturns(), s.GetPigs(), s.GetSpillKept(), s.GetRecovered(), s.GetGiven(), s.GetHeel(), s.GetTrapped(),
			s.GetOxide(), s.GetVapour(), s.GetSpilled(), s.GetKerf(), s.GetUnaccounted(), s.GetInCrucible(), s.GetInMolds(), b.GetUncertainty().GetStandard(), h.GetNote())
	}
	return nil
}

func (p *Press) castingTable(ctx context.Context, shop string, _ Period, t *Table) error {
	t.head("casting", "name", "heat", "mold", "alloy", "customer", "commission", "stage", "as_cast_UNIT", "cut_off_UNIT", "finished_UNIT", "mass_UNIT", "gone")
	castings, err := all(func(token string) ([]*pb.Casting, string, error) {
		l, err := p.call.castings.ListCastings(ctx, &pb.ListCastingsRequest{Parent: shop, ShowGone: true, PageSize: 1000, PageToken: token})
		return l.GetCastings(), l.GetNextPageToken(), err
	})
	inOrder(castings, (*pb.Casting).GetName)
	for _, c := range castings {
		at := map[pb.Stage]any{pb.Stage_STAGE_AS_CAST: "", pb.Stage_STAGE_CUT_OFF: "", pb.Stage_STAGE_FINISHED: ""}
		for _, w := range c.GetWeights() {
			at[w.GetStage()] = w.GetMass()
		}
		t.add(c, last(c.GetName()), c.GetDisplayName(), last(c.GetHeat()), last(c.GetMold()), last(c.GetAlloy()), last(c.GetCustomer()), c.GetCommission(), dashed(c.GetStage()),
			at[pb.Stage_STAGE_AS_CAST], at[pb.Stage_STAGE_CUT_OFF], at[pb.Stage_STAGE_FINISHED], c.GetMass(), c.GetGone())
	}
	return err
}

// flows is what each alloy's metal did in a period.
func (p *Press) flows(ctx context.Context, shop string, when Period, t *Table) error {
	t.head("alloy", "from", "until", "at_first_UNIT", "here_before_UNIT", "bought_UNIT", "customers_UNIT", "additions_UNIT", "counted_UNIT", "other_alloys_UNIT", "left_UNIT", "lost_UNIT", "at_last_UNIT")
	b, err := p.periodBalance(ctx, shop, when)
	for _, f := range b.GetFlows() {
		cells := []any{last(f.GetAlloy()), b.GetStartTime(), b.GetEndTime()}
		for _, m := range flow(f) {
			cells = append(cells, m)
		}
		t.add(f, cells...)
	}
	return err
}

// money is the statement of a period's money.
func (p *Press) money(ctx context.Context, shop string, when Period, t *Table) error {
	t.head("line", "from", "until", "amount", "currency")
	s, err := p.statement(ctx, shop, when)
	for _, l := range s.GetLines() {
		amount, currency := money(l.GetMoney())
		t.add(l, l.GetWhat(), s.GetStartTime(), s.GetEndTime(), amount, currency)
	}
	return err
}

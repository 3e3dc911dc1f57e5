package paper

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// ChargeBack is a term's metal by who used it as a table, for an answer that was read
// already.
func ChargeBack(v *pb.ChargeBack, u unit.MassUnit, zone *time.Location) *Table {
	t := &Table{Name: "charge-back", unit: single(u), zone: zone}
	t.chargeBack(v)
	return t
}

func (t *Table) chargeBack(v *pb.ChargeBack) {
	t.head("who", "name", "castings", "heats", "cast_UNIT", "lost_UNIT", "used_UNIT", "cost", "recovered", "owed", "currency")
	for _, l := range v.GetLines() {
		who := last(l.GetWho())
		if who == "" {
			who = "the shop"
		}
		cost, currency := money(l.GetCost())
		recovered, _ := money(l.GetRecovered())
		owed, _ := money(l.GetOwed())
		t.add(l, who, l.GetDisplayName(), l.GetCastings(), l.GetHeats(), l.GetCast(), l.GetLost(), l.GetUsed(), cost, recovered, owed, currency)
	}
}

// chargeBack reads who used how much metal in a period.
func (p *Press) chargeBack(by pb.ChargedTo) func(context.Context, string, Period, *Table) error {
	return func(ctx context.Context, shop string, when Period, t *Table) error {
		got, err := p.call.commissions.GetChargeBack(ctx, &pb.GetChargeBackRequest{Name: shop + "/chargeBack", StartTime: timestamppb.New(when.From), EndTime: timestamppb.New(when.To), By: by})
		t.chargeBack(got.GetChargeBack())
		return err
	}
}

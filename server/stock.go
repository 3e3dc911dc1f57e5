package server

import (
	"context"
	"maps"
	"slices"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// stock is what metal is here.
type stock struct {
	pb.UnimplementedStockServiceServer
	counter
}

func (s stock) GetStock(ctx context.Context, r *pb.GetStockRequest) (*pb.GetStockResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/stock")
	at := d.asOf(r)
	alloy := d.ref("alloy", r.GetAlloy(), "alloys")
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Stock(ctx, at, alloy)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	return reply(d, &pb.GetStockResponse{Stock: d.stock(v)})
}

// asOf reads the past moment that is asked about; none is now.
func (d *desk) asOf(r interface {
	GetRecordedTime() *timestamppb.Timestamp
	GetHappenedTime() *timestamppb.Timestamp
}) shop.AsOf {
	return shop.AsOf{Recorded: d.time("recorded_time", r.GetRecordedTime()), Happened: d.time("happened_time", r.GetHappenedTime())}
}

func (d *desk) stock(v shop.Stock) *pb.Stock {
	total := d.position(v.Total)
	p := &pb.Stock{Name: "shops/" + d.shopID() + "/stock", Sequence: v.Seq, RecordedTime: moment(v.AsOf.Recorded), HappenedTime: moment(v.AsOf.Happened),
		Positions: showAll(v.Positions, d.position), Total: total}
	for _, l := range v.Supplies {
		s := d.supply(l.Supply, 0)
		d.onHand(s, l.Amount)
		p.Supplies = append(p.Supplies, s)
	}
	return p
}

func (d *desk) position(v shop.Position) *pb.Position {
	return &pb.Position{
		Alloy: d.name("alloys", v.Alloy), Owner: d.name("parties", v.Owner),
		Usable: d.mass(v.Usable), SpokenFor: d.mass(v.SpokenFor), Free: d.mass(v.Usable - v.SpokenFor),
		ToClean: d.mass(v.ToClean), SetApart: d.mass(v.SetApart), Skimmings: d.mass(v.Skimmings),
		InCrucible: d.mass(v.InCrucible), InMolds: d.mass(v.InMolds), Expected: d.mass(v.Expected), Castings: d.mass(v.Castings),
		Here: d.mass(v.Here()), Forms: d.byForm(v.ByForm), Lots: count(v.Lots),
	}
}

// byForm shows masses by form, in the order of the forms.
func (d *desk) byForm(by map[ledger.Form]ledger.Mass) []*pb.FormMass {
	var out []*pb.FormMass
	for _, f := range slices.SortedFunc(maps.Keys(by), func(a, b ledger.Form) int { return int(forms.show(a) - forms.show(b)) }) {
		out = append(out, &pb.FormMass{Form: forms.show(f), Mass: d.mass(by[f])})
	}
	return out
}

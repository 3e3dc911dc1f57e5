package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// castings are the castings of heats.
type castings struct {
	pb.UnimplementedCastingServiceServer
	counter
}

const castingName = "shops/*/castings/*"

func (s castings) GetCasting(ctx context.Context, r *pb.GetCastingRequest) (*pb.GetCastingResponse, error) {
	d := s.read(ctx, "name", r.GetName(), castingName)
	return reply(d, &pb.GetCastingResponse{Casting: d.casting(d.id())})
}

func (s castings) ListCastings(ctx context.Context, r *pb.ListCastingsRequest) (*pb.ListCastingsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	parent := ""
	if heat := d.ref("heat", r.GetHeat(), "heats"); heat != "" {
		parent = ledger.OfHeat(heat)
	}
	got, next := list(d, r, ledger.RecCasting, parent, func(k ledger.Casting) bool {
		return (r.GetShowGone() || k.Gone == "") && (r.GetCommission() == "" || k.Commission == r.GetCommission())
	})
	lookUp(d, got, func(k ledger.Casting) string { return k.ID }, ledger.OfCasting)
	return reply(d, &pb.ListCastingsResponse{Castings: showAll(got, d.castingShown), NextPageToken: next})
}

func (s castings) WeighCasting(ctx context.Context, r *pb.WeighCastingRequest) (*pb.WeighCastingResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	e := record(d, (*shop.Shop).WeighCasting, ledger.WeighCasting{
		ID: d.ref("casting", r.GetCasting(), "castings"), Heat: d.ref("heat", r.GetHeat(), "heats"), Mold: d.moldRef("mold", r.GetMold()),
		Name: r.GetDisplayName(), Customer: d.ref("customer", r.GetCustomer(), "parties"), Commission: r.GetCommission(),
		Stage: stages.read(d, "stage", r.GetStage()), Weighing: d.weighing("weighing", r.GetWeighing()),
	})
	k := mustMake[ledger.Casting](d, e, ledger.RecCasting)
	return reply(d, &pb.WeighCastingResponse{Casting: d.casting(k.ID), Entry: d.entry(e)})
}

func (s castings) BreakUpCasting(ctx context.Context, r *pb.BreakUpCastingRequest) (*pb.BreakUpCastingResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), castingName)
	e := record(d, (*shop.Shop).BreakUp, ledger.BreakUp{Casting: d.id(), Place: d.ref("place", r.GetPlace(), "places"),
		Weighing: d.weighing("weighing", r.GetWeighing())})
	return reply(d, &pb.BreakUpCastingResponse{Casting: d.casting(d.id()), Lot: d.madeLot(e), Entry: d.entry(e)})
}

func (s castings) ShipCasting(ctx context.Context, r *pb.ShipCastingRequest) (*pb.ShipCastingResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), castingName)
	e := record(d, (*shop.Shop).ShipCasting, ledger.ShipCasting{Casting: d.id(), To: d.ref("to", r.GetTo(), "parties")})
	return reply(d, &pb.ShipCastingResponse{Casting: d.casting(d.id()), Entry: d.entry(e)})
}

// casting shows a casting as it is now.
func (d *desk) casting(id string) *pb.Casting {
	v := load[ledger.Casting](d, ledger.RecCasting, id)
	if d.err != nil || id == "" {
		return nil
	}
	return d.castingShown(v)
}

func (d *desk) castingShown(s ledger.Stamped[ledger.Casting]) *pb.Casting {
	v := s.Value
	p := &pb.Casting{Name: d.name("castings", v.ID), Heat: d.name("heats", v.Heat), Mold: d.nameIn(v.Heat, "molds", v.Mold),
		DisplayName: v.Name, Customer: d.name("parties", v.Customer), Commission: v.Commission, Alloy: d.name("alloys", v.Alloy),
		Stage: stages.show(v.Stage), Mass: d.mass(d.balance(ledger.Acct(ledger.OfCasting, v.ID))), Gone: v.Gone, Etag: etag(s.Seq)}
	for _, stage := range []ledger.Stage{ledger.AsCast, ledger.CutOff, ledger.Finished} {
		if m, ok := v.Weights[stage]; ok {
			p.Weights = append(p.Weights, &pb.StageWeight{Stage: stages.show(stage), Mass: d.mass(m)})
		}
	}
	return p
}

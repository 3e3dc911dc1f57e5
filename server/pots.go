package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// pots are crucibles and furnaces.
type pots struct {
	pb.UnimplementedPotServiceServer
	counter
}

func (s pots) GetPot(ctx context.Context, r *pb.GetPotRequest) (*pb.GetPotResponse, error) {
	d, p := potSetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetPotResponse{Pot: p})
}

func (s pots) ListPots(ctx context.Context, r *pb.ListPotsRequest) (*pb.ListPotsResponse, error) {
	d, all, next := potSetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListPotsResponse{Pots: all, NextPageToken: next})
}

func (s pots) UpdatePot(ctx context.Context, r *pb.UpdatePotRequest) (*pb.UpdatePotResponse, error) {
	d, p, e := potSetting.update(ctx, s.counter, r, r.GetPot(), r.GetPot().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdatePotResponse{Pot: p, Entry: d.entry(e)})
}

var potSetting = setting[ledger.Pot, ledger.Pot, *pb.Pot]{
	kind: ledger.RecPot, collection: "pots", field: "pot", set: (*shop.Shop).SetPot,
	key: func(v ledger.Pot) string { return v.ID },
	show: func(d *desk, v ledger.Pot, seq int64) *pb.Pot {
		return &pb.Pot{Name: d.name("pots", v.ID), DisplayName: v.Name, Kind: potKinds.show(v.Kind),
			Volume: volume(v.VolumeMm3), Capacity: d.massOrNil(v.Capacity), Family: v.Family,
			Heats: v.Heats, LifeHeats: v.LifeHeats, Retired: v.Retired, Etag: etag(seq),
			EmptyMass: d.massOrNil(v.Empty), Lift: d.massOrNil(v.Lift), FillPercent: percentOrNone(v.Fill), Skull: d.massOrNil(v.Skull), WaitingRoom: volume(v.Waiting),
			PigMold: d.massOrNil(v.PigMold), PigMolds: count(int(v.PigMolds)), CoolingCelsius: degreesText(v.CoolingMC), HottestTap: d.temperature(v.MaxTapMC), Price: priceTyped(v.Price)}
	},
	read: func(d *desk, at string, p *pb.Pot, id string) ledger.Pot {
		v := ledger.Pot{ID: id, Name: p.GetDisplayName(), Kind: potKinds.read(d, sub(at, "kind"), p.GetKind()),
			VolumeMm3: d.mm3(sub(at, "volume"), p.GetVolume()), Capacity: d.milligrams(sub(at, "capacity"), p.GetCapacity()),
			Family: p.GetFamily(), Heats: p.GetHeats(), LifeHeats: p.GetLifeHeats(), Retired: p.GetRetired(), Price: priceOrNone(p.GetPrice()), Handling: ledger.Handling{
				Empty: d.milligrams(sub(at, "empty_mass"), p.GetEmptyMass()), Lift: d.milligrams(sub(at, "lift"), p.GetLift()),
				Fill: d.percent(sub(at, "fill_percent"), p.GetFillPercent()), Skull: d.milligrams(sub(at, "skull"), p.GetSkull()),
				Waiting: d.mm3(sub(at, "waiting_room"), p.GetWaitingRoom()), PigMold: d.milligrams(sub(at, "pig_mold"), p.GetPigMold()), PigMolds: int64(p.GetPigMolds()),
				CoolingMC: d.degreesApart(sub(at, "cooling_celsius"), p.GetCoolingCelsius()), MaxTapMC: d.milliC(sub(at, "hottest_tap"), p.GetHottestTap())}}
		d.above0(sub(at, "fill_percent"), p.GetFillPercent(), v.Fill)
		return v
	},
}

func priceTyped(p *ledger.Price) string {
	if p == nil {
		return ""
	}
	return p.Typed
}

func priceOrNone(typed string) *ledger.Price {
	if typed == "" {
		return nil
	}
	return &ledger.Price{Typed: typed}
}

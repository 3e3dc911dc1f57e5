package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

func (s heats) OpenHeat(ctx context.Context, r *pb.OpenHeatRequest) (*pb.OpenHeatResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).OpenHeat, d.id())
	return reply(d, &pb.OpenHeatResponse{Heat: d.heat(d.id()), Entry: d.entry(e)})
}

func (s heats) DropHeat(ctx context.Context, r *pb.DropHeatRequest) (*pb.DropHeatResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).DropHeat, d.id())
	return reply(d, &pb.DropHeatResponse{Heat: d.heat(d.id()), Entry: d.entry(e)})
}

func (s heats) ChargeHeat(ctx context.Context, r *pb.ChargeHeatRequest) (*pb.ChargeHeatResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	c := ledger.ChargeHeat{Heat: d.id(), Heel: r.GetHeel()}
	for i, it := range r.GetItems() {
		at := indexed("items", i)
		c.Items = append(c.Items, ledger.ChargeItem{Lot: d.ref(sub(at, "lot"), it.GetLot(), "lots"), Mass: d.amount(it.GetMass()),
			Weigh: d.weighingOrNil(sub(at, "weighing"), it.GetWeighing()), Pieces: it.GetPieces()})
	}
	e := record(d, (*shop.Shop).Charge, c)
	return reply(d, &pb.ChargeHeatResponse{Heat: d.heat(d.id()), Entry: d.entry(e)})
}

func (s heats) AddToHeat(ctx context.Context, r *pb.AddToHeatRequest) (*pb.AddToHeatResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).Add, ledger.AddToHeat{Heat: d.id(), Supply: d.ref("supply", r.GetSupply(), "supplies"),
		Amount: d.amount(r.GetAmount()), Pieces: r.GetPieces(), Purpose: r.GetPurpose()})
	a := mustMake[ledger.Addition](d, e, ledger.RecAddition)
	return reply(d, &pb.AddToHeatResponse{Heat: d.heat(d.id()), Addition: d.addition(a, happened(e)), Entry: d.entry(e)})
}

func (s heats) ReadTemperature(ctx context.Context, r *pb.ReadTemperatureRequest) (*pb.ReadTemperatureResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	d.milliC("temperature", r.GetTemperature()) // refuses two that contradict each other
	e := record(d, (*shop.Shop).Temperature, ledger.ReadTemperature{Heat: d.id(), Typed: d.degrees(r.GetTemperature()), What: r.GetWhat()})
	v := mustMake[ledger.Reading](d, e, ledger.RecReading)
	return reply(d, &pb.ReadTemperatureResponse{Heat: d.heat(d.id()), Reading: d.reading(v, happened(e)), Entry: d.entry(e)})
}

func (s heats) SkimHeat(ctx context.Context, r *pb.SkimHeatRequest) (*pb.SkimHeatResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	c := ledger.SkimHeat{Heat: d.id(), Weighing: d.weighing("weighing", r.GetWeighing()), Added: d.amount(r.GetAdded()), Oxide: r.GetOxide(),
		MetalPPM: d.percent("metal_in_oxide_percent", r.GetMetalInOxidePercent()), Place: d.ref("place", r.GetPlace(), "places")}
	if r.GetTrappedPercent() != "" {
		share := d.percent("trapped_percent", r.GetTrappedPercent())
		c.Trapped = &share
	}
	e := record(d, (*shop.Shop).Skim, c)
	return reply(d, &pb.SkimHeatResponse{Heat: d.heat(d.id()), Lot: d.madeLot(e), Entry: d.entry(e)})
}

func (s heats) SpillHeat(ctx context.Context, r *pb.SpillHeatRequest) (*pb.SpillHeatResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).Spill, ledger.SpillMetal{Heat: d.id(), Mold: d.moldRef("mold", r.GetMold()),
		Weighing: d.weighingOrNil("weighing", r.GetWeighing()), Lost: d.amount(r.GetLost()), Place: d.ref("place", r.GetPlace(), "places")})
	return reply(d, &pb.SpillHeatResponse{Heat: d.heat(d.id()), Lot: d.madeLot(e), Entry: d.entry(e)})
}

func (s heats) PourOff(ctx context.Context, r *pb.PourOffRequest) (*pb.PourOffResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).PourOff, ledger.PourPigs{Heat: d.id(), LotID: r.GetLotId(), Place: d.ref("place", r.GetPlace(), "places"),
		Label: r.GetLabel(), Weighing: d.weighing("weighing", r.GetWeighing())})
	return reply(d, &pb.PourOffResponse{Heat: d.heat(d.id()), Lot: d.madeLot(e), Entry: d.entry(e)})
}

func (s heats) PourMold(ctx context.Context, r *pb.PourMoldRequest) (*pb.PourMoldResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	id := d.moldRef("mold", r.GetMold())
	e := record(d, (*shop.Shop).Pour, ledger.PourMold{Heat: d.id(), Mold: id, Amount: d.amount(r.GetAmount()), Weighed: r.GetWeighed(),
		State: moldStates.read(d, "state", r.GetState())})
	return reply(d, &pb.PourMoldResponse{Heat: d.heat(d.id()), Mold: d.mold(id), Entry: d.entry(e)})
}

func (s heats) FinishPour(ctx context.Context, r *pb.FinishPourRequest) (*pb.FinishPourResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).FinishPour, ledger.FinishPour{Heat: d.id(), Heel: d.amount(r.GetHeel())})
	return reply(d, &pb.FinishPourResponse{Heat: d.heat(d.id()), Entry: d.entry(e)})
}

func (s heats) GiveMetal(ctx context.Context, r *pb.GiveMetalRequest) (*pb.GiveMetalResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).Give, ledger.GiveMetal{Heat: d.id(), To: d.ref("to", r.GetTo(), "parties"), Amount: d.amount(r.GetAmount())})
	return reply(d, &pb.GiveMetalResponse{Heat: d.heat(d.id()), Entry: d.entry(e)})
}

func (s heats) WriteOffMetal(ctx context.Context, r *pb.WriteOffMetalRequest) (*pb.WriteOffMetalResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).WriteOff, ledger.WriteOff{Heat: d.id(), Cause: causes.read(d, "cause", r.GetCause()),
		Amount: d.amount(r.GetAmount()), Weighing: d.weighingOrNil("weighing", r.GetWeighing())})
	return reply(d, &pb.WriteOffMetalResponse{Heat: d.heat(d.id()), Entry: d.entry(e)})
}

func (s heats) SettleHeat(ctx context.Context, r *pb.SettleHeatRequest) (*pb.SettleHeatResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), heatName)
	e := record(d, (*shop.Shop).Settle, d.id())
	return reply(d, &pb.SettleHeatResponse{Heat: d.heat(d.id()), Entry: d.entry(e)})
}

package server

import (
	"context"
	"math"
	"time"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/unit"
)

func (s heats) BurnFuel(ctx context.Context, r *pb.BurnFuelRequest) (*pb.BurnFuelResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	c := ledger.RecordFuel{Fuel: r.GetFuel(), Amount: r.GetAmount(), Before: r.GetMeterBefore(), After: r.GetMeterAfter(), Price: r.GetPrice()}
	for _, h := range r.GetHeats() {
		c.Heats = append(c.Heats, d.ref("heats", h, "heats"))
	}
	e := record(d, (*shop.Shop).RecordFuel, c)
	out := &pb.BurnFuelResponse{Entry: d.entry(e)}
	if d.err == nil {
		for _, rec := range e.Records {
			var f ledger.Fuel
			if rec.Kind == ledger.RecFuel {
				d.fail(rec.Into(&f))
				out.Fuels = append(out.Fuels, d.fuel(f, happened(e)))
			}
		}
	}
	return reply(d, out)
}

func (s heats) ListFuel(ctx context.Context, r *pb.ListFuelRequest) (*pb.ListFuelResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), heatName)
	load[ledger.Heat](d, ledger.RecHeat, d.id())
	got, next := list[ledger.Fuel](d, r, ledger.RecFuel, ledger.OfHeat(d.id()), nil)
	return reply(d, &pb.ListFuelResponse{NextPageToken: next, Fuels: showAll(got, func(v ledger.Stamped[ledger.Fuel]) *pb.FuelBurned {
		return d.fuel(v.Value, d.firstWritten(ledger.RecFuel, v.Value.ID))
	})})
}

func (d *desk) fuel(f ledger.Fuel, at time.Time) *pb.FuelBurned {
	p := &pb.FuelBurned{Name: d.nameIn(f.Heat, "fuels", f.ID), Fuel: f.Kind, Amount: unit.FormatFuel(f.Amount, f.Measure), BurnTime: moment(at), Void: f.Void}
	if j, ok := shop.FuelJoules(f); ok {
		p.EnergyKj = int64(math.Round(j / 1e3))
	}
	if f.Price != nil {
		p.Price = money(f.Price.Minor, f.Price.Currency)
	}
	return p
}

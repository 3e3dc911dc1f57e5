package server

import (
	"context"
	"fmt"
	"math"
	"time"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// molds are the molds of heats.
type molds struct {
	pb.UnimplementedMoldServiceServer
	counter
}

const moldName = "shops/*/heats/*/molds/*"

func (s molds) CreateMold(ctx context.Context, r *pb.CreateMoldRequest) (*pb.CreateMoldResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), heatName)
	e := record(d, (*shop.Shop).SetMold, ledger.SetMold{Heat: d.id(), Mold: d.readMold("mold", r.GetMold(), r.GetMoldId()), New: true})
	m, _ := made[ledger.Mold](d, e, ledger.RecMold)
	return reply(d, &pb.CreateMoldResponse{Mold: d.mold(m.ID), Entry: d.entry(e)})
}

func (s molds) GetMold(ctx context.Context, r *pb.GetMoldRequest) (*pb.GetMoldResponse, error) {
	d := s.read(ctx, "name", r.GetName(), moldName)
	m := d.mold(d.id())
	d.mustBeOf(m)
	return reply(d, &pb.GetMoldResponse{Mold: m})
}

// mustBeOf refuses a mold that is not of the heat in the call's name.
func (d *desk) mustBeOf(m *pb.Mold) {
	if d.err == nil && m.GetName() != d.nameIn(d.heatID(), "molds", d.id()) {
		d.fail(&ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "mold", Value: d.id(), Want: "no mold of this name in heat " + d.heatID()})
	}
}

func (s molds) ListMolds(ctx context.Context, r *pb.ListMoldsRequest) (*pb.ListMoldsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), heatName)
	load[ledger.Heat](d, ledger.RecHeat, d.id())
	got, next := list[ledger.Mold](d, r, ledger.RecMold, ledger.OfHeat(d.id()), nil)
	return reply(d, &pb.ListMoldsResponse{Molds: showAll(got, func(v ledger.Stamped[ledger.Mold]) *pb.Mold { return moldSetting.shown(d, v) }), NextPageToken: next})
}

func (s molds) UpdateMold(ctx context.Context, r *pb.UpdateMoldRequest) (*pb.UpdateMoldResponse, error) {
	d, m, e := moldSetting.update(ctx, s.counter, r, r.GetMold(), r.GetMold().GetName(), false)
	return reply(d, &pb.UpdateMoldResponse{Mold: m, Entry: d.entry(e)})
}

var moldSetting = setting[ledger.Mold, ledger.SetMold, *pb.Mold]{
	kind: ledger.RecMold, collection: "heats/*/molds", field: "mold", set: (*shop.Shop).SetMold,
	key:  func(v ledger.Mold) string { return v.ID },
	show: func(d *desk, v ledger.Mold, seq int64) *pb.Mold { return d.moldRecord(v, seq) },
	read: func(d *desk, at string, p *pb.Mold, id string) ledger.SetMold {
		return ledger.SetMold{Heat: d.heatID(), Mold: d.readMold(at, p, id)}
	},
}

// mold shows a mold as it is now.
func (d *desk) mold(id string) *pb.Mold {
	if id == "" {
		return nil
	}
	return moldSetting.now(d, id)
}

// moldsOf shows the molds that an entry made.
func (d *desk) moldsOf(e *ledger.Entry) (out []*pb.Mold) {
	if d.err != nil || e == nil {
		return nil
	}
	for _, r := range e.Records {
		if r.Kind == ledger.RecMold {
			out = append(out, d.mold(r.ID))
		}
	}
	return out
}

func (d *desk) moldRef(field, value string) string { return d.refTo(field, value, moldName) }

func (d *desk) moldRecord(v ledger.Mold, seq int64) *pb.Mold {
	p := &pb.Mold{Name: d.nameIn(v.Heat, "molds", v.ID), DisplayName: v.Name, Customer: d.name("parties", v.Customer), Commission: v.Commission,
		Volume: volume(v.VolumeMm3), Metal: d.mass(v.Metal), Gating: d.mass(v.Gating), How: v.How,
		State: moldStates.show(v.State), Poured: d.massOrNil(v.Poured), Etag: etag(seq)}
	if v.Wax != nil {
		p.Wax = d.quantity(*v.Wax)
	}
	return p
}

func (d *desk) readMold(at string, p *pb.Mold, id string) ledger.MoldPlan {
	return ledger.MoldPlan{ID: id, Name: p.GetDisplayName(), Customer: d.ref(sub(at, "customer"), p.GetCustomer(), "parties"),
		Commission: p.GetCommission(), Wax: d.amount(p.GetWax()), VolumeMm3: d.mm3(sub(at, "volume"), p.GetVolume()),
		Metal: d.amount(p.GetMetal()), Gating: d.amount(p.GetGating()), How: p.GetHow()}
}

func (s molds) EstimateMetal(ctx context.Context, r *pb.EstimateMetalRequest) (*pb.EstimateMetalResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	p := shop.Pattern{Wax: d.milligrams("wax", r.GetWax()), WaxDensity: r.GetWaxDensity(), VolumeMm3: d.mm3("volume", r.GetVolume()),
		Allowance: d.percent("allowance_percent", r.GetAllowancePercent())}
	if p.WaxDensity < 0 || math.IsNaN(p.WaxDensity) || p.WaxDensity > 25 {
		d.invalid("OUT_OF_RANGE", "wax_density", fmt.Sprint(p.WaxDensity), "must be in g/cm³, such as 0.95")
	}
	name := d.ref("alloy", r.GetAlloy(), "alloys")
	if d.err != nil {
		return nil, d.err
	}
	m, err := d.EstimateMetal(ctx, name, p)
	return reply(d.fail(err), &pb.EstimateMetalResponse{Metal: d.mass(m.Metal), How: m.How, Density: m.Density.Value, DensitySource: m.Density.Source})
}

func happened(e *ledger.Entry) time.Time {
	if e == nil {
		return time.Time{}
	}
	return e.Happened
}

package server

import (
	"context"
	"slices"
	"time"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/shop"
)

// heats are melts of one alloy in one crucible.
type heats struct {
	pb.UnimplementedHeatServiceServer
	counter
}

const heatName = "shops/*/heats/*"

func (s heats) CreateHeat(ctx context.Context, r *pb.CreateHeatRequest) (*pb.CreateHeatResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	d.at, d.inside = "heat", r.GetHeat().ProtoReflect().Descriptor()
	c := d.readHeat("heat", r.GetHeat(), r.GetHeatId())
	c.Owner = d.ref("heat.owner", r.GetHeat().GetOwner(), "parties")
	for i, m := range r.GetMolds() {
		at := indexed("molds", i)
		c.Molds = append(c.Molds, d.readMold(at, m, last(m.GetName())))
	}
	c.Take = d.moldRefs("take_molds", r.GetTakeMolds())
	e := record(d, (*shop.Shop).PlanHeat, c)
	h, _ := made[ledger.Heat](d, e, ledger.RecHeat)
	return reply(d, &pb.CreateHeatResponse{Heat: d.heat(h.ID), Molds: d.moldsOf(e), Entry: d.entry(e)})
}

func (s heats) GetHeat(ctx context.Context, r *pb.GetHeatRequest) (*pb.GetHeatResponse, error) {
	d := s.read(ctx, "name", r.GetName(), heatName)
	return reply(d, &pb.GetHeatResponse{Heat: d.heat(d.id())})
}

func (s heats) ListHeats(ctx context.Context, r *pb.ListHeatsRequest) (*pb.ListHeatsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	var states []ledger.HeatState
	for i, st := range r.GetStates() {
		states = append(states, heatStates.read(d, indexed("states", i), st))
	}
	alloy := d.alloyID("alloy", r.GetAlloy())
	got, next := list(d, r, ledger.RecHeat, "", func(h ledger.Heat) bool {
		return (len(states) == 0 || slices.Contains(states, h.State)) && (alloy == "" || h.Alloy == alloy)
	})
	lookUp(d, got, heatSetting.key, ledger.InHeat, ledger.InMolds)
	d.mind(got)
	return reply(d, &pb.ListHeatsResponse{Heats: showAll(got, func(v ledger.Stamped[ledger.Heat]) *pb.Heat { return heatSetting.shown(d, v) }), NextPageToken: next})
}

func (s heats) UpdateHeat(ctx context.Context, r *pb.UpdateHeatRequest) (*pb.UpdateHeatResponse, error) {
	d, p, e := heatSetting.update(ctx, s.counter, r, r.GetHeat(), r.GetHeat().GetName(), false)
	return reply(d, &pb.UpdateHeatResponse{Heat: p, Entry: d.entry(e)})
}

var heatSetting = setting[ledger.Heat, ledger.PlanHeat, *pb.Heat]{
	kind: ledger.RecHeat, collection: "heats", field: "heat", set: (*shop.Shop).ChangeHeat,
	key:  func(v ledger.Heat) string { return v.ID },
	show: func(d *desk, v ledger.Heat, seq int64) *pb.Heat { return d.heatRecord(v, seq) },
	read: func(d *desk, at string, p *pb.Heat, id string) ledger.PlanHeat { return d.readHeat(at, p, id) },
	full: func(d *desk, p *pb.Heat, id string) {
		p.InCrucible = d.mass(d.balance(ledger.Acct(ledger.InHeat, id)))
		p.InMolds = d.mass(d.balance(ledger.Acct(ledger.InMolds, id)))
		if d.minded != nil {
			p.Cautions = cautions(d.minded[id])
		} else if d.err == nil {
			var all []alloy.Caution
			all, d.err = d.HeatCautions(d.ctx, id, d.drafted())
			p.Cautions = cautions(all)
		}
	},
}

// mind looks up what to mind of a list of heats: of those to come. The others of many are
// read for where they are.
func (d *desk) mind(all []ledger.Stamped[ledger.Heat]) {
	toCome := []string{}
	for _, h := range all {
		if h.Value.State == ledger.Planned || h.Value.State == ledger.Melting {
			toCome = append(toCome, h.Value.ID)
		}
	}
	if d.err == nil {
		d.minded, d.err = d.CautionsOf(d.ctx, toCome, nil)
	}
}

// heat shows a heat as it is now.
func (d *desk) heat(id string) *pb.Heat {
	if id == "" {
		return nil
	}
	return heatSetting.now(d, id)
}

// heatRecord shows what the book keeps of a heat.
func (d *desk) heatRecord(v ledger.Heat, seq int64) *pb.Heat {
	return &pb.Heat{
		Name: d.name("heats", v.ID), Alloy: d.name("alloys", v.Alloy), Owner: d.name("parties", v.Owner),
		State: heatStates.show(v.State), Provisional: v.State != ledger.Settled && v.State != ledger.Dropped,
		Crucible: d.name("pots", v.Crucible), Furnace: d.name("pots", v.Furnace), Melter: d.name("parties", v.Melter),
		PlannedTime: moment(v.Planned), OpenTime: moment(v.Opened), PourTime: moment(v.Poured), SettleTime: moment(v.Settled),
		Charge: d.massOrNil(v.Charge), Note: v.Note, CastingLimits: v.Limits, Etag: etag(seq),
	}
}

func (d *desk) readHeat(at string, p *pb.Heat, id string) ledger.PlanHeat {
	return ledger.PlanHeat{
		ID: id, Alloy: d.ref(sub(at, "alloy"), p.GetAlloy(), "alloys"),
		Crucible: d.ref(sub(at, "crucible"), p.GetCrucible(), "pots"), Furnace: d.ref(sub(at, "furnace"), p.GetFurnace(), "pots"),
		Melter: d.ref(sub(at, "melter"), p.GetMelter(), "parties"), Planned: d.time(sub(at, "planned_time"), p.GetPlannedTime()),
		Charge: d.amount(p.GetCharge()), Note: p.GetNote(),
	}
}

func (s heats) ListReadings(ctx context.Context, r *pb.ListReadingsRequest) (*pb.ListReadingsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), heatName)
	load[ledger.Heat](d, ledger.RecHeat, d.id())
	got, next := list[ledger.Reading](d, r, ledger.RecReading, ledger.OfHeat(d.id()), nil)
	return reply(d, &pb.ListReadingsResponse{NextPageToken: next, Readings: showAll(got, func(v ledger.Stamped[ledger.Reading]) *pb.Reading {
		return d.reading(v.Value, d.firstWritten(ledger.RecReading, v.Value.ID))
	})})
}

func (d *desk) reading(v ledger.Reading, at time.Time) *pb.Reading {
	return &pb.Reading{Name: d.nameIn(v.Heat, "readings", v.ID), What: v.What, ReadTime: moment(at), Void: v.Void,
		Temperature: &pb.Temperature{MilliCelsius: v.MilliC, Text: v.Typed}}
}

func (s heats) ListAdditions(ctx context.Context, r *pb.ListAdditionsRequest) (*pb.ListAdditionsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), heatName)
	load[ledger.Heat](d, ledger.RecHeat, d.id())
	got, next := list[ledger.Addition](d, r, ledger.RecAddition, ledger.OfHeat(d.id()), nil)
	return reply(d, &pb.ListAdditionsResponse{NextPageToken: next, Additions: showAll(got, func(v ledger.Stamped[ledger.Addition]) *pb.Addition {
		return d.addition(v.Value, d.firstWritten(ledger.RecAddition, v.Value.ID))
	})})
}

func (d *desk) addition(v ledger.Addition, at time.Time) *pb.Addition {
	p := &pb.Addition{Name: d.nameIn(v.Heat, "additions", v.ID), Supply: d.name("supplies", v.Supply), Purpose: v.Purpose,
		AddTime: moment(at), Void: v.Void}
	if d.countedInPieces(v.Supply) {
		p.Pieces = int64(v.Amount.Mass)
	} else {
		p.Amount = d.quantity(v.Amount)
	}
	return p
}

// firstWritten is when what made a thing happened. A thing like a reading has
// one entry, and a second at most, which reversed the first.
func (d *desk) firstWritten(kind ledger.RecordKind, id string) time.Time {
	if d.err != nil {
		return time.Time{}
	}
	all, err := d.History(d.ctx, string(kind)+"/"+id, 0, ledger.MaxPage)
	if d.fail(err).err != nil || len(all) == 0 {
		return time.Time{}
	}
	return all[len(all)-1].Happened
}

package server

import (
	"context"
	"errors"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// balances say where the metal went.
type balances struct {
	pb.UnimplementedBalanceServiceServer
	counter
}

func (s balances) GetHeatBalance(ctx context.Context, r *pb.GetHeatBalanceRequest) (*pb.GetHeatBalanceResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/heats/*/balance")
	at := d.asOf(r)
	if r.GetWithSuspects() && !at.IsNow() {
		d.invalid("NOT_OF_THE_PAST", "with_suspects", "true", "weighings are held against all that the book knows now; ask without a past moment")
	}
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Balance(ctx, d.heatID(), at)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.HeatBalance{Name: r.GetName(), Heat: d.heatRecord(v.Heat, 0), Provisional: v.Provisional, Waiting: v.Waiting,
		Terms: d.terms(&v.Terms), Uncertainty: d.uncertainty(v.Uncertainty), Sequence: v.Seq, ChangeTime: moment(v.Changed),
		ChargedByForm: d.byForm(v.ChargedBy), ChargedDirty: d.mass(v.ChargeDirty)}
	for _, c := range v.ChargedLots {
		p.ChargedLots = append(p.ChargedLots, &pb.ChargedLot{Lot: d.name("lots", c.Lot.ID), Form: forms.show(c.Lot.Form), Label: c.Lot.Label, Mass: d.mass(c.Mass)})
	}
	for _, f := range v.Flags {
		p.Flagged = append(p.Flagged, &pb.FlaggedEntry{Entry: d.entryName(f.Seq), Flags: flags(f.Flags), Reason: f.Reason})
	}
	if r.GetWithSuspects() {
		p.Suspects = d.suspects(v.Heat)
	}
	return reply(d, &pb.GetHeatBalanceResponse{Balance: p})
}

func (s balances) GetPeriodBalance(ctx context.Context, r *pb.GetPeriodBalanceRequest) (*pb.GetPeriodBalanceResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/periodBalance")
	q := shop.PeriodQuery{From: d.time("start_time", r.GetStartTime()), To: d.time("end_time", r.GetEndTime()),
		By: groupings.read(d, "group_by", r.GetGroupBy()), Alloy: d.ref("alloy", r.GetAlloy(), "alloys")}
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Period(ctx, q)
	if d.fail(periodFields(err)).err != nil {
		return nil, d.err
	}
	p := &pb.PeriodBalance{Name: r.GetName(), Sequence: v.Seq, StartTime: r.GetStartTime(), EndTime: r.GetEndTime(), Total: d.group(q.By, v.Total)}
	for _, g := range v.Groups {
		p.Groups = append(p.Groups, d.group(q.By, g))
	}
	for _, f := range v.Flows {
		p.Flows = append(p.Flows, d.flow(f))
	}
	return reply(d, &pb.GetPeriodBalanceResponse{Balance: p})
}

// periodFields names the request's fields where the question has its own.
func periodFields(err error) error {
	var e *ledger.Error
	if !errors.As(err, &e) {
		return err
	}
	name, ok := map[string]string{"from": "start_time", "to": "end_time", "by": "group_by"}[e.Field]
	if !ok {
		return err
	}
	shown := *e
	shown.Field = name
	return &shown
}

func (d *desk) terms(t *shop.Terms) *pb.Terms {
	share := func(m ledger.Mass) string { return percentText(t.Share(m)) }
	return &pb.Terms{
		Charged: d.mass(t.Charged), Additives: d.mass(t.Additives), Castings: d.mass(t.Castings), Returns: d.mass(t.Returns),
		ReturnsByForm: d.byForm(t.ByForm), Pigs: d.mass(t.Pigs), SpillKept: d.mass(t.SpillKept), Recovered: d.mass(t.Recovered),
		Given: d.mass(t.Given), Heel: d.mass(t.Heel), Trapped: d.mass(t.Trapped), Oxide: d.mass(t.Oxide), Vapour: d.mass(t.Vapour),
		Spilled: d.mass(t.Spilled), Kerf: d.mass(t.Kerf), Unaccounted: d.mass(t.Unaccounted),
		InCrucible: d.mass(t.InCrucible), InMolds: d.mass(t.InMolds),
		MetalIn: d.mass(t.In()), Gone: d.mass(t.Gone()), MeltLoss: d.mass(t.MeltLoss()),
		SpillToClean: d.mass(t.SpillToClean), Reclaimed: d.mass(t.Reclaimed()), NotYetUsable: d.mass(t.NotYetUsable()), Elsewhere: d.mass(t.Elsewhere()),
		YieldPercent: share(t.Castings), ReturnedPercent: share(t.Returns + t.Pigs), GonePercent: share(t.Gone()),
		MeltLossPercent: share(t.MeltLoss()), UnaccountedPercent: share(t.Unaccounted),
	}
}

func (d *desk) uncertainty(u shop.Uncertainty) *pb.Uncertainty {
	p := &pb.Uncertainty{Standard: d.mass(u.Standard), Expanded: d.mass(u.Expanded()), Readings: count(u.Readings)}
	for _, c := range u.Parts {
		p.Parts = append(p.Parts, &pb.UncertaintyPart{Entry: d.entryName(c.Seq), What: c.What, Standard: d.mass(c.Standard)})
	}
	return p
}

// groupCollections are where the key of a group is found by name.
var groupCollections = map[shop.Grouping]string{shop.ByAlloy: "alloys", shop.ByCrucible: "pots", shop.ByMelter: "parties"}

func (d *desk) group(by shop.Grouping, g shop.Group) *pb.HeatGroup {
	key, month := d.name(groupCollections[by], g.Key), ""
	if by == shop.ByMonth {
		key, month = "", g.Key
	}
	p := &pb.HeatGroup{Key: key, Month: month, Provisional: count(g.Provisional),
		Terms: d.terms(&g.Terms), Standard: d.mass(g.Standard)}
	for _, h := range g.Heats {
		p.Heats = append(p.Heats, d.name("heats", h))
	}
	return p
}

func (d *desk) flow(f shop.Flow) *pb.Flow {
	return &pb.Flow{Alloy: d.name("alloys", f.Alloy), Opening: d.mass(f.Opening), Received: d.mass(f.Received), Customers: d.mass(f.Customers),
		HereAlready: d.mass(f.HereAlready), Additives: d.mass(f.Additives), Counted: d.mass(f.Counted), FromOtherAlloys: d.mass(f.FromOtherAlloys), Left: d.mass(f.Left),
		Lost: d.mass(f.Lost), Closing: d.mass(f.Closing)}
}

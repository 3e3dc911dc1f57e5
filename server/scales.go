package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// scales are what metal is weighed on.
type scales struct {
	pb.UnimplementedScaleServiceServer
	counter
	readings *readings
}

func (s scales) GetScale(ctx context.Context, r *pb.GetScaleRequest) (*pb.GetScaleResponse, error) {
	d, p := scaleSetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetScaleResponse{Scale: p})
}

func (s scales) ListScales(ctx context.Context, r *pb.ListScalesRequest) (*pb.ListScalesResponse, error) {
	d, all, next := scaleSetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListScalesResponse{Scales: all, NextPageToken: next})
}

func (s scales) UpdateScale(ctx context.Context, r *pb.UpdateScaleRequest) (*pb.UpdateScaleResponse, error) {
	d, p, e := scaleSetting.update(ctx, s.counter, r, r.GetScale(), r.GetScale().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdateScaleResponse{Scale: p, Entry: d.entry(e)})
}

var scaleSetting = setting[ledger.Scale, ledger.Scale, *pb.Scale]{
	kind: ledger.RecScale, collection: "scales", field: "scale", set: (*shop.Shop).SetScale,
	key: func(v ledger.Scale) string { return v.ID },
	show: func(d *desk, v ledger.Scale, seq int64) *pb.Scale {
		return &pb.Scale{
			Name: d.name("scales", v.ID), DisplayName: v.Name, Division: d.quantity(v.Division), VerificationInterval: d.quantity(v.Interval),
			AccuracyClass: classes.show(v.Class), Rule: scaleRules.show(v.Rule), Capacity: d.massOrNil(v.Capacity), CheckTime: moment(v.Checked),
			CheckLoad: d.massOrNil(v.CheckLoad), CheckError: d.massOrNil(v.CheckError), CheckUncertainty: d.massOrNil(v.CheckU),
			Repeatability: d.massOrNil(v.Repeats), RepeatabilityReadings: count(v.Readings), LinePattern: v.Line, LineSettings: v.Port, Etag: etag(seq),
		}
	},
	read: func(d *desk, at string, p *pb.Scale, id string) ledger.Scale {
		return ledger.Scale{
			ID: id, Name: p.GetDisplayName(), Division: d.amount(p.GetDivision()), Interval: d.amount(p.GetVerificationInterval()),
			Class:    classes.read(d, sub(at, "accuracy_class"), p.GetAccuracyClass()),
			Rule:     scaleRules.read(d, sub(at, "rule"), p.GetRule()),
			Capacity: d.milligrams(sub(at, "capacity"), p.GetCapacity()), Checked: d.time(sub(at, "check_time"), p.GetCheckTime()),
			CheckLoad: d.milligrams(sub(at, "check_load"), p.GetCheckLoad()), CheckError: d.signed(sub(at, "check_error"), p.GetCheckError()),
			CheckU: d.milligrams(sub(at, "check_uncertainty"), p.GetCheckUncertainty()), Repeats: d.milligrams(sub(at, "repeatability"), p.GetRepeatability()),
			Readings: int(p.GetRepeatabilityReadings()), Line: p.GetLinePattern(), Port: p.GetLineSettings(),
		}
	},
}

package server

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/balance"
	"example.org/remelt/ledger/shop"
)

// analysis is what the sciences make of the book.
type analysis struct {
	pb.UnimplementedAnalysisServiceServer
	counter
}

const (
	usualWeighings = 100
	mostWeighings  = 5000
)

func (s analysis) ReconcileWeighings(ctx context.Context, r *pb.ReconcileWeighingsRequest) (*pb.ReconcileWeighingsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	heat := d.ref("heat", r.GetHeat(), "heats")
	most := d.atMost("max_weighings", r.GetMaxWeighings(), usualWeighings, mostWeighings)
	if d.err != nil {
		return nil, d.err
	}
	v, err := d.Reconcile(ctx, heat)
	if d.fail(err).err != nil {
		return nil, d.err
	}
	p := &pb.ReconcileWeighingsResponse{
		Global:   &pb.GlobalTest{Statistic: v.Global.Statistic, DegreesOfFreedom: count(v.Global.Dof), Chance: v.Global.P},
		Suspects: showAll(v.Suspects, d.suspect), Stop: v.Stop, WeighingCount: count(len(v.Streams)), Sequence: v.Seq,
		FalseCallChance: shop.FalseCall,
		Level:           &pb.TestLevel{Alpha: v.Level.Alpha, Tests: count(v.Level.Tests), Each: v.Level.Each, Critical: finite(v.Level.Critical), Power: v.Level.Power},
	}
	if v.Level.Tests == 0 {
		p.Level.Critical = nil
	}
	surprise := func(x shop.Weighed) float64 {
		if x.Status != balance.Redundant {
			return -1
		}
		return math.Abs(x.Z)
	}
	// v is shared with all who ask: what is sorted is a copy.
	streams := slices.SortedStableFunc(slices.Values(v.Streams), func(a, b shop.Weighed) int { return cmp.Compare(surprise(b), surprise(a)) })
	p.Weighings = showAll(streams[:min(most, len(streams))], d.checked)
	return reply(d, p)
}

func (d *desk) suspect(x shop.Suspect) *pb.Suspect {
	p := &pb.Suspect{Sentence: x.Sentence, Entry: d.entryName(x.Entry), Heat: d.name("heats", x.Heat), What: x.What,
		Measured: d.kg(x.Measured), Sigma: x.Sigma, Unusual: x.Unusual, OtherHeat: d.name("heats", x.OtherHeat),
		Alike: showAll(x.Alike, d.alternative), Nearly: showAll(x.Nearly, d.alternative)}
	if x.OtherHeat == "" {
		p.Expected, p.ExpectedStandard = d.kg(x.Expected), d.kg(x.ExpectedSD)
	}
	return p
}

func (d *desk) alternative(x shop.Alternative) *pb.AlternativeWeighing {
	return &pb.AlternativeWeighing{Entry: d.entryName(x.Entry), Heat: d.name("heats", x.Heat), What: x.What}
}

func (d *desk) checked(x shop.Weighed) *pb.CheckedWeighing {
	p := &pb.CheckedWeighing{Entry: d.entryName(x.Entry), Heat: d.name("heats", x.Heat), What: x.What, Status: weighingStatuses.show(x.Status),
		Measured: d.kg(x.Measured), MeasuredStandard: d.kg(x.U), Adjusted: d.kg(x.Adjusted), AdjustedStandard: d.kg(x.SD)}
	if x.Status == balance.Redundant {
		p.Z, p.Detectable = finite(x.Z), d.kg(x.Detects)
	}
	return p
}

// suspects are the wrong weighings of a heat, if it has come far enough to have
// any.
func (d *desk) suspects(h ledger.Heat) []*pb.Suspect {
	if d.err != nil || h.State != ledger.Late && h.State != ledger.Settled {
		return nil
	}
	v, err := d.Reconcile(d.ctx, h.ID)
	d.fail(err)
	return showAll(v.Suspects, d.suspect)
}

// kg shows a mass that a science reckoned; nil when it could not.
func (d *desk) kg(x float64) *pb.Mass {
	if math.IsNaN(x) || math.Abs(x) > ledger.MaxMass.Kg() {
		return nil
	}
	return d.mass(ledger.Mass(math.Round(x * 1e6)))
}

// finite is a figure that JSON can show; nil for another.
func finite(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// atMost reads how much of something is asked for.
func (d *desk) atMost(field string, n int32, usual, most int) int {
	switch {
	case n < 0:
		d.invalid("NEGATIVE", field, fmt.Sprint(n), "must not be negative")
	case n == 0:
		return usual
	}
	return min(int(n), most)
}

// part reads a share that is asked for in per cent, as a part of one.
func (d *desk) part(field, text string, usual float64) float64 {
	if text == "" {
		return usual
	}
	return float64(d.percent(field, text)) / float64(ledger.Whole)
}

// traced are the things that hold metal, by their collections.
var traced = map[string]struct {
	account ledger.AccountKind
	record  ledger.RecordKind
}{
	"lots":     {ledger.OfLot, ledger.RecLot},
	"heats":    {ledger.InHeat, ledger.RecHeat},
	"castings": {ledger.OfCasting, ledger.RecCasting},
}

// readMetal opens the book for a question about a lot, heat or casting; tail is
// what follows its id in the name.
func (c counter) readMetal(ctx context.Context, name, tail string) (*desk, ledger.Account) {
	collection := "lots"
	if parts := strings.Split(name, "/"); len(parts) > 2 {
		collection = parts[2]
	}
	kind, ok := traced[collection]
	if !ok {
		d := &desk{ctx: ctx}
		d.invalid("BAD_NAME", "name", name, "must be a lot, a heat or a casting, such as shops/{shop}/lots/{lot}"+tail)
		return d, ""
	}
	d := c.read(ctx, "name", name, "shops/*/"+collection+"/*"+tail)
	if len(d.ids) < 2 {
		return d, ""
	}
	load[struct{}](d, kind.record, d.ids[1]) // it must be there
	return d, ledger.Acct(kind.account, d.ids[1])
}

// metalName is the lot, heat or casting that an account is of; "" for another.
func (d *desk) metalName(a ledger.Account) string {
	switch {
	case a.Heat() != "":
		return d.name("heats", a.Heat())
	case a.Kind() == ledger.OfLot:
		return d.name("lots", a.Ref())
	case a.Kind() == ledger.OfCasting:
		return d.name("castings", a.Ref())
	}
	return ""
}

package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/unit"
)

// commissions are castings made for someone, the work on them and what they cost.
type commissions struct {
	pb.UnimplementedCommissionServiceServer
	counter
}

const commissionName = "shops/*/commissions/*"

func (s commissions) GetCommission(ctx context.Context, r *pb.GetCommissionRequest) (*pb.GetCommissionResponse, error) {
	d, p := commissionSetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetCommissionResponse{Commission: p})
}

func (s commissions) ListCommissions(ctx context.Context, r *pb.ListCommissionsRequest) (*pb.ListCommissionsResponse, error) {
	d, all, next := commissionSetting.list(ctx, s.counter, r)
	return reply(d, &pb.ListCommissionsResponse{Commissions: all, NextPageToken: next})
}

func (s commissions) UpdateCommission(ctx context.Context, r *pb.UpdateCommissionRequest) (*pb.UpdateCommissionResponse, error) {
	d, p, e := commissionSetting.update(ctx, s.counter, r, r.GetCommission(), r.GetCommission().GetName(), r.GetAllowMissing())
	return reply(d, &pb.UpdateCommissionResponse{Commission: p, Entry: d.entry(e)})
}

var commissionSetting = setting[ledger.Commission, ledger.Commission, *pb.Commission]{
	kind: ledger.RecCommission, collection: "commissions", field: "commission", set: (*shop.Shop).SetCommission,
	key: func(v ledger.Commission) string { return v.ID },
	show: func(d *desk, v ledger.Commission, seq int64) *pb.Commission {
		return &pb.Commission{Name: d.name("commissions", v.ID), DisplayName: v.Title, Customer: d.name("parties", v.Customer), OwnMetal: v.OwnMetal,
			Patterns: showAll(v.Patterns, d.pattern), Note: v.Note, Etag: etag(seq)}
	},
	read: func(d *desk, at string, p *pb.Commission, id string) ledger.Commission {
		v := ledger.Commission{ID: id, Title: p.GetDisplayName(), Customer: d.ref(sub(at, "customer"), p.GetCustomer(), "parties"), OwnMetal: p.GetOwnMetal(), Note: p.GetNote()}
		for i, x := range p.GetPatterns() {
			in := indexed(sub(at, "patterns"), i)
			v.Patterns = append(v.Patterns, ledger.Pattern{Name: x.GetDisplayName(), Alloy: d.ref(sub(in, "alloy"), x.GetAlloy(), "alloys"), Copies: max(x.GetCopies(), boolInt(x.GetCopies() == 0)),
				Metal: typed(x.GetMetal()), Wax: typed(x.GetWax()), Gating: typed(x.GetGating()), VolumeMm3: d.mm3(sub(in, "volume"), &pb.Volume{Text: x.GetVolume()})})
		}
		return v
	},
}

// boolInt is 1 when it is so: what is not said of copies is one.
func boolInt(yes bool) int64 {
	if yes {
		return 1
	}
	return 0
}

// typed is a range that the book reads.
func typed(text string) ledger.Range { return ledger.Range{Typed: text} }

func (d *desk) pattern(p ledger.Pattern) *pb.CommissionPattern {
	x := &pb.CommissionPattern{DisplayName: p.Name, Alloy: d.name("alloys", p.Alloy), Copies: p.Copies, Metal: p.Metal.Typed, Wax: p.Wax.Typed, Gating: p.Gating.Typed}
	if p.VolumeMm3 > 0 {
		x.Volume = unit.FormatVolume(p.VolumeMm3, unit.Litre, 1)
	}
	return x
}

func (s commissions) SetRateCard(ctx context.Context, r *pb.SetRateCardRequest) (*pb.SetRateCardResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	p := r.GetRateCard()
	d.at, d.inside = "rate_card", p.ProtoReflect().Descriptor()
	c := ledger.Rates{From: d.time("rate_card.from_time", p.GetFromTime()), Margin: d.percent("rate_card.margin_percent", p.GetMarginPercent()),
		Mold: typed(p.GetMoldPrice()), PerMass: typed(p.GetConsumablesPrice()), Fuel: typed(p.GetFuelPrice())}
	if text := p.GetOverheadPercent(); text != "" {
		ppm, err := unit.ParseSurcharge(text)
		if err != nil {
			d.unitError("rate_card.overhead_percent", err)
		}
		c.Overhead = ledger.PPM(ppm)
	}
	for _, w := range p.GetWork() {
		c.Work = append(c.Work, ledger.WorkRate{Kind: w.GetKind(), Typed: w.GetHourPrice(), Again: w.GetAgain()})
	}
	e := record(d, (*shop.Shop).SetRates, c)
	kept := mustMake[ledger.Rates](d, e, ledger.RecRates)
	return reply(d, &pb.SetRateCardResponse{RateCard: d.rateCard(kept), Entry: d.entry(e)})
}

func (d *desk) rateCard(v ledger.Rates) *pb.RateCard {
	p := &pb.RateCard{Name: d.name("rateCards", v.ID), FromTime: moment(v.From), OverheadPercent: percentOrNone(v.Overhead), MarginPercent: percentOrNone(v.Margin),
		MoldPrice: v.Mold.Typed, ConsumablesPrice: v.PerMass.Typed, FuelPrice: v.Fuel.Typed}
	for _, w := range v.Work {
		p.Work = append(p.Work, &pb.WorkRate{Kind: w.Kind, HourPrice: w.Typed, Again: w.Again})
	}
	return p
}

func (s commissions) ListRateCards(ctx context.Context, r *pb.ListRateCardsRequest) (*pb.ListRateCardsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	got, next := list(d, r, ledger.RecRates, "", func(v ledger.Rates) bool { return !v.Void })
	return reply(d, &pb.ListRateCardsResponse{NextPageToken: next, RateCards: showAll(got, func(v ledger.Stamped[ledger.Rates]) *pb.RateCard { return d.rateCard(v.Value) })})
}

func (s commissions) RecordLabour(ctx context.Context, r *pb.RecordLabourRequest) (*pb.RecordLabourResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), commissionName)
	p := r.GetLabour()
	d.at, d.inside = "labour", p.ProtoReflect().Descriptor()
	e := record(d, (*shop.Shop).RecordLabour, ledger.RecordLabour{Commission: d.id(), Kind: p.GetKind(), Person: d.ref("labour.person", p.GetPerson(), "parties"), Hours: p.GetHours()})
	return reply(d, &pb.RecordLabourResponse{Labour: d.labour(mustMake[ledger.Labour](d, e, ledger.RecLabour), seqOf(e)), Entry: d.entry(e)})
}

// in is the resource name of a thing of a commission.
func (d *desk) in(commission, collection, id string) string {
	return d.name("commissions", commission) + "/" + collection + "/" + id
}

// seqOf is the number of an entry, if there is one.
func seqOf(e *ledger.Entry) int64 {
	if e == nil {
		return 0
	}
	return e.Seq
}

func (d *desk) labour(v ledger.Labour, seq int64) *pb.Labour {
	return &pb.Labour{Name: d.in(v.Commission, "labours", v.ID), Kind: v.Kind, Person: d.name("parties", v.Person), Hours: unit.FormatHours(v.Minutes), Minutes: v.Minutes,
		Cost: money(v.Minor, v.Currency), WorkTime: moment(v.Done), Void: v.Void, Entry: d.entryName(seq)}
}

func (s commissions) ListLabours(ctx context.Context, r *pb.ListLaboursRequest) (*pb.ListLaboursResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), commissionName)
	load[ledger.Commission](d, ledger.RecCommission, d.id())
	got, next := list[ledger.Labour](d, r, ledger.RecLabour, ledger.OfCommission(d.id()), nil)
	return reply(d, &pb.ListLaboursResponse{NextPageToken: next, Labours: showAll(got, func(v ledger.Stamped[ledger.Labour]) *pb.Labour { return d.labour(v.Value, v.Seq) })})
}

func (s commissions) BuyIn(ctx context.Context, r *pb.BuyInRequest) (*pb.BuyInResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), commissionName)
	p := r.GetBoughtIn()
	d.at, d.inside = "bought_in", p.ProtoReflect().Descriptor()
	e := record(d, (*shop.Shop).BuyIn, ledger.BuyIn{Commission: d.id(), What: p.GetWhat(), Price: p.GetPrice()})
	return reply(d, &pb.BuyInResponse{BoughtIn: d.boughtIn(mustMake[ledger.BoughtIn](d, e, ledger.RecBoughtIn), seqOf(e)), Entry: d.entry(e)})
}

func (d *desk) boughtIn(v ledger.BoughtIn, seq int64) *pb.BoughtIn {
	return &pb.BoughtIn{Name: d.in(v.Commission, "boughtIns", v.ID), What: v.What, Price: v.Price.Typed, Cost: d.minor(v.Minor), BuyTime: moment(v.Bought), Void: v.Void, Entry: d.entryName(seq)}
}

func (s commissions) ListBoughtIns(ctx context.Context, r *pb.ListBoughtInsRequest) (*pb.ListBoughtInsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), commissionName)
	load[ledger.Commission](d, ledger.RecCommission, d.id())
	got, next := list[ledger.BoughtIn](d, r, ledger.RecBoughtIn, ledger.OfCommission(d.id()), nil)
	return reply(d, &pb.ListBoughtInsResponse{NextPageToken: next, BoughtIns: showAll(got, func(v ledger.Stamped[ledger.BoughtIn]) *pb.BoughtIn { return d.boughtIn(v.Value, v.Seq) })})
}

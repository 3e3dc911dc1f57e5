package server

import (
	"context"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// lots are metal of one alloy in one form and place.
type lots struct {
	pb.UnimplementedLotServiceServer
	counter
}

const lotName = "shops/*/lots/*"

func (s lots) GetLot(ctx context.Context, r *pb.GetLotRequest) (*pb.GetLotResponse, error) {
	d := s.read(ctx, "name", r.GetName(), lotName)
	p := d.lot(d.id())
	if d.err == nil {
		all, err := d.LotCautions(ctx, d.id())
		p.Cautions, d.err = cautions(all), err
	}
	return reply(d, &pb.GetLotResponse{Lot: p})
}

func (s lots) ListLots(ctx context.Context, r *pb.ListLotsRequest) (*pb.ListLotsResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	p := d.page(r)
	q := ledger.LotQuery{
		Form: forms.read(d, "form", r.GetForm()), Condition: conditions.read(d, "condition", r.GetCondition()),
		Place: d.ref("place", r.GetPlace(), "places"), Owner: d.ref("owner", r.GetOwner(), "parties"),
		Heat: d.ref("heat", r.GetHeat(), "heats"), Alloy: d.alloyID("alloy", r.GetAlloy()),
		Empty: r.GetShowEmpty(), After: p.after, Limit: p.limit,
	}
	if d.err != nil {
		return nil, d.err
	}
	views, next, err := d.Lots(ctx, q)
	return reply(d.fail(err), &pb.ListLotsResponse{Lots: showAll(views, d.lotView), NextPageToken: p.token(next)})
}

// alloyID reads a reference to an alloy by any of its names; "" is none.
func (d *desk) alloyID(field, name string) string {
	name = d.ref(field, name, "alloys")
	if d.err != nil || name == "" {
		return ""
	}
	id, _, err := d.ResolveAlloy(d.ctx, name)
	d.fail(err)
	return id
}

// lot shows a lot as it is now.
func (d *desk) lot(id string) *pb.Lot {
	if d.err != nil || id == "" {
		return nil
	}
	var v ledger.LotView
	if d.own == nil {
		var err error
		v, err = d.GetLot(d.ctx, id)
		d.fail(err)
	} else {
		s := load[ledger.Lot](d, ledger.RecLot, id)
		v = ledger.LotView{Lot: s.Value, Seq: s.Seq, Mass: d.balance(ledger.Acct(ledger.OfLot, id))}
	}
	if d.err != nil {
		return nil
	}
	return d.lotView(v)
}

// madeLot shows the lot that an entry made; nil when it made none.
func (d *desk) madeLot(e *ledger.Entry) *pb.Lot {
	l, found := made[ledger.Lot](d, e, ledger.RecLot)
	if found && e == d.own {
		return d.lotView(ledger.LotView{Lot: l, Seq: e.Seq, Mass: d.balance(ledger.Acct(ledger.OfLot, l.ID))})
	}
	return d.lot(l.ID)
}

func (d *desk) lotView(v ledger.LotView) *pb.Lot {
	p := &pb.Lot{
		Name: d.name("lots", v.ID), Alloy: d.name("alloys", v.Alloy), AlloySure: v.AlloySure,
		Form: forms.show(v.Form), Condition: conditions.show(v.Condition), HeldWhy: v.HeldWhy, Usable: v.Usable(),
		Place: d.name("places", v.Place), Owner: d.name("parties", v.Owner), Label: v.Label, Pieces: v.Pieces,
		Mass: d.mass(v.Mass), Free: d.mass(v.Free()), Certificate: certificate(v.Certificate), Void: v.Void, Etag: etag(v.Seq),
	}
	for _, c := range v.SpokenFor {
		p.SpokenFor = append(p.SpokenFor, &pb.Claim{For: c.For, Mass: d.mass(c.Mass)})
	}
	for _, s := range v.From {
		p.Origins = append(p.Origins, &pb.Origin{Account: string(s.Account), Heat: d.name("heats", s.Account.Heat()), Mass: d.mass(s.Mass)})
	}
	for _, h := range v.Candidates {
		p.Candidates = append(p.Candidates, d.name("heats", h))
	}
	if v.Price != nil {
		paid := v.Price.InBook()
		p.Price = &pb.Price{Typed: v.Price.Typed, Money: money(paid.Minor, paid.Currency)}
	}
	if s := v.Skim; s != nil {
		p.Skimmings = &pb.SkimmingsContent{Heat: d.name("heats", s.Heat), Net: d.mass(s.Net), Added: d.mass(s.Added), Trapped: d.mass(s.Trapped),
			Oxide: d.mass(s.Oxide), MetalInOxide: d.mass(s.InOxide), MetalInOxidePercent: percentText(s.Share)}
	}
	return p
}

func certificate(c *ledger.Certificate) *pb.Certificate {
	if c == nil {
		return nil
	}
	p := &pb.Certificate{Number: c.Number, Method: c.Method, IssueTime: moment(c.Date)}
	for _, e := range c.Elements {
		p.Elements = append(p.Elements, &pb.Element{Symbol: e.Symbol, Percent: percentText(e.PPM), SdPercent: percentOrNone(e.SDPPM)})
	}
	return p
}

// certificate reads a certificate; nil is none.
func (d *desk) certificate(field string, p *pb.Certificate) *ledger.Certificate {
	if p == nil {
		return nil
	}
	c := &ledger.Certificate{Number: p.GetNumber(), Method: p.GetMethod(), Date: d.time(sub(field, "issue_time"), p.GetIssueTime())}
	for i, e := range p.GetElements() {
		at := indexed(sub(field, "elements"), i)
		c.Elements = append(c.Elements, ledger.Element{Symbol: e.GetSymbol(), PPM: d.percent(sub(at, "percent"), e.GetPercent()),
			SDPPM: d.percent(sub(at, "sd_percent"), e.GetSdPercent())})
	}
	return c
}

// heatShares reads heats with their shares.
func (d *desk) heatShares(field string, all []*pb.HeatShare) []ledger.HeatShare {
	var out []ledger.HeatShare
	for i, s := range all {
		at := indexed(field, i)
		out = append(out, ledger.HeatShare{Heat: d.ref(sub(at, "heat"), s.GetHeat(), "heats"),
			Share: d.percent(sub(at, "share_percent"), s.GetSharePercent())})
	}
	return out
}

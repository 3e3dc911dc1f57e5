package server

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/alloy"
	"example.org/remelt/ledger/shop"
)

// alloys are the alloys of the table, with what the shop says of them.
type alloys struct {
	pb.UnimplementedAlloyServiceServer
	counter
}

func (s alloys) GetAlloy(ctx context.Context, r *pb.GetAlloyRequest) (*pb.GetAlloyResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/alloys/*")
	return reply(d, &pb.GetAlloyResponse{Alloy: d.alloyFull("name", d.id())})
}

func (s alloys) ListAlloys(ctx context.Context, r *pb.ListAlloysRequest) (*pb.ListAlloysResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	p := d.page(r)
	own := d.ownAlloys()
	all := d.alloys().Alloys()
	if r.GetCalled() != "" {
		all = slices.DeleteFunc(all, func(a alloy.Alloy) bool { return !answersTo(a, r.GetCalled()) })
	}
	slices.SortFunc(all, func(a, b alloy.Alloy) int { return strings.Compare(a.ID, b.ID) })
	out := &pb.ListAlloysResponse{}
	for _, a := range all {
		mine, has := own[a.ID]
		if a.ID <= p.after || r.GetOwn() && !has {
			continue
		}
		out.Alloys = append(out.Alloys, d.alloy(a, mine, has))
		if out.NextPageToken = p.next(len(out.GetAlloys()), a.ID); out.GetNextPageToken() != "" {
			break
		}
	}
	return reply(d, out)
}

func answersTo(a alloy.Alloy, name string) bool {
	return slices.ContainsFunc(append([]string{a.ID, a.UNS}, a.Names...), func(n string) bool {
		return n != "" && strings.EqualFold(strings.Join(strings.Fields(n), " "), strings.Join(strings.Fields(name), " "))
	})
}

func (s alloys) UpdateAlloy(ctx context.Context, r *pb.UpdateAlloyRequest) (*pb.UpdateAlloyResponse, error) {
	d, _, e := alloySetting.update(ctx, s.counter, r, r.GetAlloy(), r.GetAlloy().GetName(), r.GetAllowMissing())
	if d.meta.DryRun { // the table does not know it yet
		return reply(d, &pb.UpdateAlloyResponse{Alloy: alloySetting.now(d, d.id()), Entry: d.entry(e)})
	}
	return reply(d, &pb.UpdateAlloyResponse{Alloy: d.alloyFull("alloy.name", d.id()), Entry: d.entry(e)})
}

func (s alloys) CheckMix(ctx context.Context, r *pb.CheckMixRequest) (*pb.CheckMixResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	m := alloy.MayMix(d.findAlloy("into", d.ref("into", r.GetInto(), "alloys")), d.findAlloy("from", d.ref("from", r.GetFrom(), "alloys")))
	return reply(d, &pb.CheckMixResponse{Into: d.name("alloys", m.Into), From: d.name("alloys", m.From), Ok: m.OK, Why: m.Why,
		LimitSet: m.LimitSet, Typical: mixLimit(m.Reach), Worst: mixLimit(m.Worst)})
}

func mixLimit(r alloy.Reach) *pb.MixLimit {
	if !r.Limited {
		return nil
	}
	return &pb.MixLimit{Element: r.Element, LimitPercent: r.LimitPct, ContentPercent: r.ContentPct, Least: r.Least, SharePercent: 100 * r.ReachedAtShare}
}

// findAlloy finds an alloy of the shop's table by any of its names.
func (d *desk) findAlloy(field, name string) alloy.Alloy {
	if d.err != nil {
		return alloy.Alloy{}
	}
	a, err := d.alloys().Find(name)
	var two *alloy.AmbiguousError
	switch {
	case errors.As(err, &two):
		d.invalid("AMBIGUOUS_ALLOY", field, name, "is the name of several; say which: "+strings.Join(two.Candidates, ", "))
	case err != nil:
		d.fail(&ledger.Error{Class: ledger.ErrNotFound, Reason: "UNKNOWN_ALLOY", Field: field, Value: name,
			Want: "no alloy of this name; add it to the shop's alloys, or say unknown"})
	}
	return a
}

// ownAlloys is what the shop says of alloys, by id.
func (d *desk) ownAlloys() map[string]ledger.Stamped[ledger.Alloy] {
	if d.err != nil {
		return nil
	}
	all, err := ledger.List[ledger.Alloy](d.ctx, d.Book, ledger.RecAlloy, "", "", ledger.MaxPage)
	d.fail(err)
	own := map[string]ledger.Stamped[ledger.Alloy]{}
	for _, a := range all {
		own[a.Value.ID] = a
	}
	return own
}

// alloyFull shows an alloy with what the shop says of it.
func (d *desk) alloyFull(field, name string) *pb.Alloy {
	a := d.findAlloy(field, name)
	own, has := d.ownAlloys()[a.ID]
	if d.err != nil {
		return nil
	}
	return d.alloy(a, own, has)
}

func (d *desk) alloy(a alloy.Alloy, own ledger.Stamped[ledger.Alloy], has bool) *pb.Alloy {
	p := &pb.Alloy{Name: d.name("alloys", a.ID), Uns: a.UNS, Names: a.Names, Kind: string(a.Kind), Family: string(a.Family),
		Cautions: cautions(alloy.Cautions(alloy.Facts{Alloys: []alloy.Alloy{a}, Melt: true}))}
	used := map[alloy.Property]bool{}
	for _, f := range a.Figures {
		best, _ := a.Figure(f.Property)
		use := f == best && !used[f.Property]
		used[f.Property] = used[f.Property] || use
		p.Figures = append(p.Figures, figure(f, use))
	}
	for _, s := range a.Limits {
		p.LimitSets = append(p.LimitSets, limitSet(s))
	}
	if has {
		p.Own, p.Etag = d.ownAlloy(own.Value), etag(own.Seq)
	}
	return p
}

func figure(f alloy.Figure, used bool) *pb.Figure {
	return &pb.Figure{Property: string(f.Property), Value: f.Value, High: f.High, Unit: f.Unit, Source: f.Source,
		Provenance: provenances.show(f.Verified), Suspect: f.Suspect, Note: f.Note, Used: used}
}

func limitSet(s alloy.LimitSet) *pb.LimitSet {
	p := &pb.LimitSet{Id: s.ID(), Product: string(s.Kind), Edition: s.Edition, Year: count(s.Year), Current: s.Current, Note: s.Note}
	p.Limits = showAll(s.Limits, limit)
	return p
}

func limit(l alloy.Limit) *pb.Limit {
	p := &pb.Limit{Element: l.Element, Remainder: l.Remainder, Plus: l.Plus, MayPlus: l.MayPlus, Source: l.Source,
		Provenance: provenances.show(l.Verified), Note: l.Note, Text: l.String()}
	if l.HasMin {
		p.Min = &l.Min
	}
	if l.HasMax {
		p.Max = &l.Max
	}
	return p
}

func cautions(all []alloy.Caution) []*pb.Caution {
	return showAll(all, func(c alloy.Caution) *pb.Caution { return &pb.Caution{Code: c.Code, Text: c.Text, Because: c.Because} })
}

// alloySetting is what a shop says of an alloy. The rest of an alloy comes from
// the table, where it is looked up afterwards.
var alloySetting = setting[ledger.Alloy, ledger.Alloy, *pb.Alloy]{
	kind: ledger.RecAlloy, collection: "alloys", field: "alloy", set: (*shop.Shop).SetAlloy,
	key: func(v ledger.Alloy) string { return v.ID },
	show: func(d *desk, v ledger.Alloy, seq int64) *pb.Alloy {
		return &pb.Alloy{Name: d.name("alloys", v.ID), Own: d.ownAlloy(v), Etag: etag(seq)}
	},
	absent: func(d *desk, id string) {
		if a, err := d.alloys().Find(id); err == nil && a.ID == id {
			d.fail(&ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "alloy", Value: id,
				Want: "is an alloy of the table, of which the shop has said nothing yet; send it with allow_missing to add what the shop says"})
		}
	},
	read: func(d *desk, at string, p *pb.Alloy, id string) ledger.Alloy {
		d.at, d.inside = sub(at, "own"), p.GetOwn().ProtoReflect().Descriptor()
		return d.readOwnAlloy(sub(at, "own"), p.GetOwn(), id)
	},
}

func (d *desk) ownAlloy(v ledger.Alloy) *pb.OwnAlloy {
	p := &pb.OwnAlloy{Names: v.Names, Family: v.Family, Density: float64(v.DensityMgCm3) / 1000,
		PourFrom: d.temperature(v.PourFromC), PourTo: d.temperature(v.PourToC), Source: v.Source}
	for _, l := range v.Limits {
		o := &pb.OwnLimit{Element: l.Element, MinPercent: percentOrNone(l.MinPPM), MaxPercent: percentOrNone(l.MaxPPM), Remainder: l.Rest}
		if l.None {
			o.MaxPercent = "0"
		}
		p.Limits = append(p.Limits, o)
	}
	return p
}

func (d *desk) readOwnAlloy(at string, p *pb.OwnAlloy, id string) ledger.Alloy {
	v := ledger.Alloy{ID: id, Names: p.GetNames(), Family: p.GetFamily(), DensityMgCm3: d.thousandths(sub(at, "density"), p.GetDensity()),
		PourFromC: d.milliC(sub(at, "pour_from"), p.GetPourFrom()), PourToC: d.milliC(sub(at, "pour_to"), p.GetPourTo()), Source: p.GetSource()}
	for i, l := range p.GetLimits() {
		field := indexed(sub(at, "limits"), i)
		own := ledger.Limit{Element: l.GetElement(), MinPPM: d.percent(sub(field, "min_percent"), l.GetMinPercent()),
			MaxPPM: d.percent(sub(field, "max_percent"), l.GetMaxPercent()), Rest: l.GetRemainder()}
		own.None = own.MaxPPM == 0 && l.GetMaxPercent() != "" && !own.Rest
		v.Limits = append(v.Limits, own)
	}
	return v
}

// thousandths reads a figure as a whole number of its thousandths.
func (d *desk) thousandths(field string, v float64) int64 {
	if math.IsNaN(v) || math.Abs(v) > 1e9 {
		d.invalid("OUT_OF_RANGE", field, fmt.Sprint(v), "must be an ordinary number")
		return 0
	}
	return int64(math.Round(v * 1000))
}

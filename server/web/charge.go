package web

import (
	"cmp"
	"context"
	"errors"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// chargePage is a heat's proposed charge, with pieces to tick off as they go in.
type chargePage struct {
	Heat    *pb.Heat
	Plan    *pb.PlanChargeResponse
	Takes   []take
	Refused string // why there is no proposal
	Asked   map[string]string
	In      []charged
	Seq     int64 // the last entry that the proposal was reckoned from
	Scales  []choice
}

// charged is metal that went in, as the book has it.
type charged struct {
	*pb.Entry
	Lot  string
	Mass *pb.Mass
}

// take is one line of the charge with what ticking it sends.
type take struct {
	*pb.ChargeTake
	Item   string
	Weighs bool // it is a part of its lot, and the scale may know better
}

func (p *Pages) charge(v *visit) (frame, error) {
	name := v.name("heats/" + v.r.PathValue("heat"))
	got, err := p.call.heats.GetHeat(v.ctx, &pb.GetHeatRequest{Name: name})
	if err != nil {
		return frame{}, err
	}
	q := v.r.URL.Query()
	page := chargePage{Heat: got.GetHeat(), Asked: map[string]string{"short": q.Get("short"), "left": q.Get("left"), "aim": q.Get("aim")}}
	if page.In, err = p.charged(v, name); err != nil {
		return frame{}, err
	}
	f := frame{Title: "Charge of heat " + last(name), Here: "heats", Live: true, Part: "in"}
	only := q.Get("only") == "in"
	q.Set("only", "in")
	f.From = v.r.URL.Path + "?" + q.Encode()
	if only { // what went in is read often, and planning takes its time
		f.Main = page
		return f, nil
	}
	if page.Scales, err = p.scales(v); err != nil {
		return frame{}, err
	}
	req := &pb.PlanChargeRequest{Name: name, ChanceShortPercent: q.Get("short")}
	if left := q.Get("left"); left != "" {
		req.PourOff = &pb.Mass{Text: withUnit(left, v)}
	}
	if q.Get("aim") == "returns" {
		req.Aim = pb.ChargeAim_CHARGE_AIM_MOST_RETURNS
	}
	page.Plan, err = p.call.planning.PlanCharge(v.ctx, req)
	if said, ok := refusal(err); ok {
		page.Refused = said
		f.Main = page
		return f, nil
	}
	if err != nil {
		return frame{}, err
	}
	page.Seq, f.Cautioned = page.Plan.GetSequence(), len(page.Plan.GetCautions()) > 0
	whole, takes := map[string]bool{}, map[string]int{}
	for _, i := range page.Plan.GetItems() {
		whole[i.GetLot()] = i.GetMass() == nil
	}
	for _, t := range page.Plan.GetTakes() {
		takes[t.GetLot()]++
	}
	for _, t := range page.Plan.GetTakes() {
		item := &pb.ChargeItem{Lot: t.GetLot()}
		if !whole[t.GetLot()] || takes[t.GetLot()] > 1 { // a part of the lot
			item.Mass = &pb.Mass{Mg: t.GetMass().GetMg()}
			if t.GetPiece() > 0 {
				item.Pieces = 1
			}
		}
		body, err := protojson.Marshal(item)
		if err != nil {
			return frame{}, err
		}
		page.Takes = append(page.Takes, take{t, string(body), item.GetMass() != nil})
	}
	f.Main = page
	return f, nil
}

// charged is what went into a heat, and was not taken back.
func (p *Pages) charged(v *visit, heat string) (out []charged, err error) {
	past, err := all(v.ctx, func(ctx context.Context, token string) ([]*pb.Entry, string, error) {
		l, err := p.call.entries.ListHistory(ctx, &pb.ListHistoryRequest{Name: heat, PageSize: 500, PageToken: token})
		return l.GetEntries(), l.GetNextPageToken(), err
	})
	for _, e := range past {
		if e.GetKind() != string(ledger.KindCharge) || e.GetReversedBy() != "" {
			continue
		}
		for _, post := range e.GetPostings() {
			if kind, lot, _ := strings.Cut(post.GetAccount(), "/"); kind == string(ledger.OfLot) || kind == string(ledger.Heel) {
				out = append(out, charged{e, cmp.Or(map[string]string{string(ledger.Heel): "heel"}[kind], lot), &pb.Mass{Mg: -post.GetMass().GetMg()}})
			}
		}
	}
	return out, err
}

// refusal is what the planner says when no charge can be had, or when a question is
// not one it can answer: that is shown on the page, not instead of it.
func refusal(err error) (string, bool) {
	var st interface{ GRPCStatus() *status.Status }
	if !errors.As(err, &st) {
		return "", false
	}
	switch s := st.GRPCStatus(); s.Code() {
	case codes.FailedPrecondition, codes.InvalidArgument:
		return s.Message(), true
	}
	return "", false
}

// withUnit is a typed weight with the page's unit behind it, unless it has its own.
func withUnit(typed string, v *visit) string {
	for _, r := range typed {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r == '"' {
			return typed
		}
	}
	return typed + " " + string(v.Single())
}

package web

import (
	"errors"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"

	pb "example.org/remelt/api/remelt/v1"
)

// chargePage is a heat's proposed charge, with pieces to tick off as they go in.
type chargePage struct {
	Heat    *pb.Heat
	Plan    *pb.PlanChargeResponse
	Takes   []take
	Refused string // why there is no proposal
	Asked   map[string]string
}

// take is one line of the charge with what ticking it sends.
type take struct {
	*pb.ChargeTake
	Item string
}

func (p *Pages) charge(v *visit) (frame, error) {
	name := v.name("heats/" + v.r.PathValue("heat"))
	got, err := p.call.heats.GetHeat(v.ctx, &pb.GetHeatRequest{Name: name})
	if err != nil {
		return frame{}, err
	}
	q := v.r.URL.Query()
	page := chargePage{Heat: got.GetHeat(), Asked: map[string]string{"short": q.Get("short"), "left": q.Get("left"), "aim": q.Get("aim")}}
	req := &pb.PlanChargeRequest{Name: name, ChanceShortPercent: q.Get("short")}
	if left := q.Get("left"); left != "" {
		req.PourOff = &pb.Mass{Text: withUnit(left, v)}
	}
	if q.Get("aim") == "returns" {
		req.Aim = pb.ChargeAim_CHARGE_AIM_MOST_RETURNS
	}
	f := frame{Title: "Charge of heat " + last(name), Here: "heats"}
	page.Plan, err = p.call.planning.PlanCharge(v.ctx, req)
	if said, ok := refusal(err); ok {
		page.Refused = said
		f.Main = page
		return f, nil
	}
	if err != nil {
		return frame{}, err
	}
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
		page.Takes = append(page.Takes, take{t, string(body)})
	}
	f.Main = page
	return f, nil
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

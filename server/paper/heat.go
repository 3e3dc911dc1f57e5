package paper

import (
	"context"
	"slices"
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
)

// heatSheet is what a heat's sheet is drawn from.
type heatSheet struct {
	*job
	heat      *pb.Heat
	plan      *pb.PlanChargeResponse // nil when there is none
	noPlan    string                 // why
	molds     []*pb.Mold
	balance   *pb.HeatBalance
	content   *pb.Content // nil while it never held metal
	readings  []*pb.Reading
	additions []*pb.Addition
	castings  []*pb.Casting
}

// HeatSheet makes the sheet of a heat. Before the pour it is to work by and to
// write on: what to mind, the pieces to tick, the molds in the order of pouring,
// temperatures, and boxes for what is read. After it, it says where the metal went.
func (p *Press) HeatSheet(ctx context.Context, name string, size Size) (*Document, error) {
	j, err := p.begin(ctx, name, size)
	if err != nil {
		return nil, err
	}
	h := &heatSheet{job: j}
	if err := p.readHeat(ctx, h, name); err != nil {
		return nil, err
	}
	id := last(name)
	return j.print("heat-"+id, "Heat "+id, func(s *sheet) {
		h.head(s)
		s.mind(h.cautions())
		switch h.heat.GetState() {
		case pb.Heat_STATE_PLANNED, pb.Heat_STATE_MELTING:
			h.before(s)
		case pb.Heat_STATE_DROPPED:
			s.paragraph("This heat was not melted.", 11, true, 1)
		default:
			h.after(s)
		}
	})
}

func (p *Press) readHeat(ctx context.Context, h *heatSheet, name string) error {
	got, err := p.call.heats.GetHeat(ctx, &pb.GetHeatRequest{Name: name})
	if err != nil {
		return err
	}
	h.heat = got.GetHeat()
	if h.molds, err = all(func(token string) ([]*pb.Mold, string, error) {
		l, err := p.call.molds.ListMolds(ctx, &pb.ListMoldsRequest{Parent: name, PageSize: 1000, PageToken: token})
		return l.GetMolds(), l.GetNextPageToken(), err
	}); err != nil {
		return err
	}
	bal, err := p.call.balances.GetHeatBalance(ctx, &pb.GetHeatBalanceRequest{Name: name + "/balance"})
	if err != nil {
		return err
	}
	h.balance = bal.GetBalance()
	held, err := p.call.analysis.GetContent(ctx, &pb.GetContentRequest{Name: name + "/content"})
	if err != nil && status.Code(err) != codes.NotFound {
		return err
	}
	h.content = held.GetContent()
	switch h.heat.GetState() {
	case pb.Heat_STATE_PLANNED, pb.Heat_STATE_MELTING:
		h.plan, err = p.call.planning.PlanCharge(ctx, &pb.PlanChargeRequest{Name: name})
		if c := status.Code(err); c == codes.FailedPrecondition || c == codes.InvalidArgument {
			h.plan, h.noPlan, err = nil, status.Convert(err).Message(), nil // the sheet is for writing then
		}
		return err
	case pb.Heat_STATE_DROPPED:
		return nil
	}
	if h.readings, err = all(func(token string) ([]*pb.Reading, string, error) {
		l, err := p.call.heats.ListReadings(ctx, &pb.ListReadingsRequest{Parent: name, PageSize: 1000, PageToken: token})
		return l.GetReadings(), l.GetNextPageToken(), err
	}); err != nil {
		return err
	}
	if h.additions, err = all(func(token string) ([]*pb.Addition, string, error) {
		l, err := p.call.heats.ListAdditions(ctx, &pb.ListAdditionsRequest{Parent: name, PageSize: 1000, PageToken: token})
		return l.GetAdditions(), l.GetNextPageToken(), err
	}); err != nil {
		return err
	}
	h.castings, err = all(func(token string) ([]*pb.Casting, string, error) {
		l, err := p.call.castings.ListCastings(ctx, &pb.ListCastingsRequest{Parent: "shops/" + strings.Split(name, "/")[1], Heat: name, ShowGone: true, PageSize: 1000, PageToken: token})
		return l.GetCastings(), l.GetNextPageToken(), err
	})
	return err
}

// cautions are those of the heat and of its plan, each once.
func (h *heatSheet) cautions() []*pb.Caution {
	var out []*pb.Caution
	for _, c := range slices.Concat(h.plan.GetCautions(), h.heat.GetCautions()) {
		if !slices.ContainsFunc(out, func(o *pb.Caution) bool { return o.GetCode() == c.GetCode() }) {
			out = append(out, c)
		}
	}
	return out
}

func (h *heatSheet) head(s *sheet) {
	s.font(26, true)
	s.at(s.left, s.y+8, s.fit("Heat "+last(h.heat.GetName()), 0.55*(s.right-s.left)))
	s.font(20, true)
	s.rightText(s.right, s.y+8, s.fit(last(h.heat.GetAlloy()), 0.43*(s.right-s.left)))
	s.y += 11
	s.font(9, false)
	s.at(s.left, s.y+3, s.fit(h.GetDisplayName()+" · "+h.printed()+" · "+heatState(h.heat), s.right-s.left))
	s.y += 5.5
	s.fields(4, 0,
		field{name: "metal of", value: last(h.heat.GetOwner())},
		field{name: "crucible", value: last(h.heat.GetCrucible())},
		field{name: "furnace", value: last(h.heat.GetFurnace())},
		field{name: "melter", value: last(h.heat.GetMelter())},
		field{name: "planned for", value: h.time(h.heat.GetPlannedTime())},
		field{name: "planned charge", value: h.mass(h.heat.GetCharge())},
		field{name: "poured", value: h.time(h.heat.GetPourTime())},
		field{name: "settled", value: h.day(h.heat.GetSettleTime())},
	)
	if h.heat.GetNote() != "" {
		s.paragraph("Note: "+h.heat.GetNote(), 9.5, false, 3)
	}
	if says := Holds(h.content); says != "" {
		s.paragraph("Content: "+says+".", 9.5, h.content.GetStanding() == pb.LimitStanding_LIMIT_STANDING_OUTSIDE, 4)
	}
}

// heatState is a heat's state, and whether its figures can still change.
func heatState(h *pb.Heat) string {
	state := HeatState(h)
	if h.GetProvisional() && h.GetState() > pb.Heat_STATE_MELTING {
		state += ", provisional"
	}
	return state
}

// mind draws the cautions in a frame of their own, with what comes first said once
// and in bold.
func (s *sheet) mind(all []*pb.Caution) {
	const pt = 8.5
	line := pt * mmOfPt * 1.22
	s.y += 1
	s.font(pt, false)
	var lines []string
	for _, c := range all {
		text := "– " + strings.TrimSpace(strings.TrimSuffix(c.GetText(), comesFirst))
		if c.GetBecause() != "" {
			text += " (" + c.GetBecause() + ")"
		}
		lines = append(lines, s.wrap(text, s.right-s.left-5, 3)...)
	}
	h := float64(len(lines)+1)*line + 3
	s.room(h)
	s.box(s.left, s.y, s.right-s.left, h, thick)
	y := s.y + 1 + line*0.85
	s.font(pt, true)
	first := comesFirst
	if len(all) == 0 {
		first += " That no caution is listed does not make anything safe."
	}
	s.at(s.left+2.5, y, s.fit(first, s.right-s.left-5))
	s.font(pt, false)
	for _, text := range lines {
		y += line
		s.at(s.left+2.5, y, text)
	}
	s.y += h + 1
}

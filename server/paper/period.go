package paper

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

// Period is from a moment up to, but not including, another.
type Period struct{ From, To time.Time }

// ParsePeriod reads a day such as 2026-03-02, a month such as 2026-03 or a year such as
// 2026, by the clock of a place; or the first and the last of them, such as
// 2026-01..2026-05.
func ParsePeriod(typed string, zone *time.Location) (Period, error) {
	first, final, two := strings.Cut(typed, "..")
	if !two {
		final = first
	}
	from, past := parseSpan(first, zone), parseSpan(final, zone)
	if from == (Period{}) || past == (Period{}) {
		return Period{}, refuse("UNKNOWN_PERIOD", "period", typed, "must be a day such as 2026-03-02, a month such as 2026-03, a year, or the first and the last of them such as 2026-01..2026-05")
	}
	return Period{from.From, past.To}, nil
}

// parseSpan is a day, a month or a year; nothing of what is none.
func parseSpan(typed string, zone *time.Location) Period {
	if from, err := time.ParseInLocation(time.DateOnly, typed, zone); err == nil {
		return Period{from, from.AddDate(0, 0, 1)}
	}
	if from, err := time.ParseInLocation("2006-01", typed, zone); err == nil {
		return Period{from, from.AddDate(0, 1, 0)}
	}
	if from, err := time.ParseInLocation("2006", typed, zone); err == nil {
		return Period{from, from.AddDate(1, 0, 0)}
	}
	return Period{}
}

// period is what a period's report is drawn from.
type period struct {
	*job
	balance *pb.PeriodBalance
	money   *pb.CostStatement
}

// PeriodReport makes the report of a period: what each alloy's metal did, the heats
// that were poured, what was lost to what, and the money.
func (p *Press) PeriodReport(ctx context.Context, shop string, when Period, size Size) (*Document, error) {
	j, err := p.begin(ctx, shop, size)
	if err != nil {
		return nil, err
	}
	r := &period{job: j}
	if r.balance, err = p.periodBalance(ctx, shop, when); err != nil {
		return nil, err
	}
	if r.money, err = p.statement(ctx, shop, when); err != nil {
		return nil, err
	}
	first, past := when.From.In(j.zone).Format("2006-01-02"), when.To.Add(-time.Millisecond).In(j.zone).Format("2006-01-02")
	return j.print("period-"+first+"-"+past, "Period "+first+" to "+past, func(s *sheet) {
		s.title("Period "+first+" to "+past, joined(j.GetDisplayName(), fmt.Sprintf("book at entry %d", r.balance.GetSequence()), j.printed()))
		r.metal(s)
		r.heats(s)
		r.lost(s)
		r.value(s)
	})
}

func (p *Press) periodBalance(ctx context.Context, shop string, when Period) (*pb.PeriodBalance, error) {
	got, err := p.call.balances.GetPeriodBalance(ctx, &pb.GetPeriodBalanceRequest{Name: shop + "/periodBalance", StartTime: timestamppb.New(when.From), EndTime: timestamppb.New(when.To),
		GroupBy: pb.Grouping_GROUPING_ALLOY})
	return got.GetBalance(), err
}

func (p *Press) statement(ctx context.Context, shop string, when Period) (*pb.CostStatement, error) {
	got, err := p.call.costs.GetCostStatement(ctx, &pb.GetCostStatementRequest{Name: shop + "/costStatement", StartTime: timestamppb.New(when.From), EndTime: timestamppb.New(when.To)})
	return got.GetStatement(), err
}

// metal draws metal in, out, on hand and lost by alloy. Each row adds up.
func (r *period) metal(s *sheet) {
	s.heading("Metal in the shop, in " + string(r.unit))
	g := s.grid(6, column{head: "alloy", kind: strong, share: 1.2}, column{head: "at first", kind: figure}, column{head: "here before", kind: figure}, column{head: "bought", kind: figure}, column{head: "customers’", kind: figure}, column{head: "additions", kind: figure},
		column{head: "counted", kind: figure}, column{head: "other alloys", kind: figure}, column{head: "left", kind: figure}, column{head: "lost", kind: figure}, column{head: "at last", kind: figure})
	g.pt = 8.5
	g.heads()
	var sum [10]int64
	for _, f := range r.balance.GetFlows() {
		cells := []string{last(f.GetAlloy())}
		for i, m := range flow(f) {
			cells = append(cells, r.figure(m))
			sum[i] += m.GetMg()
		}
		g.add(cells...)
	}
	cells := []string{"all"}
	for _, mg := range sum {
		cells = append(cells, r.figure(&pb.Mass{Mg: mg}))
	}
	g.total(cells...)
}

// flow are the amounts of what one alloy's metal did, in the order of the report.
func flow(f *pb.Flow) [10]*pb.Mass {
	return [10]*pb.Mass{f.GetOpening(), f.GetHereAlready(), f.GetReceived(), f.GetCustomers(), f.GetAdditives(), f.GetCounted(), f.GetFromOtherAlloys(), f.GetLeft(), f.GetLost(), f.GetClosing()}
}

// WhereMetalWent says what the columns of heats put together are, on paper, in the terminal
// and on the page.
const WhereMetalWent = "Returned is gating, castings broken up, and pigs. Reclaimed came out of skimmings, or was swept up and is clean; " +
	"not yet usable is in skimmings, or swept up and to be cleaned. Elsewhere is still in molds or in a crucible, also as a heel, or was given away. " +
	"Metal in is castings and all of these and what is gone, of which unaccounted is a part."

func (r *period) heats(s *sheet) {
	s.heading("Heats poured, in " + string(r.unit))
	total := r.balance.GetTotal()
	table := func(row func(h *pb.HeatGroup) []string, columns ...column) {
		g := s.grid(6, append([]column{{head: "alloy", kind: strong, width: 24}}, columns...)...)
		g.pt = 8.5
		g.heads()
		for _, h := range r.balance.GetGroups() {
			name := last(h.GetKey())
			if name == "" {
				name = "not known"
			}
			g.add(append([]string{name}, row(h)...)...)
		}
		g.total(append([]string{"all"}, row(total)...)...)
		s.y += 2
	}
	table(func(h *pb.HeatGroup) []string {
		t := h.GetTerms()
		return []string{fmt.Sprint(len(h.GetHeats())), r.figure(t.GetMetalIn()), r.figure(t.GetCastings()), r.figure(&pb.Mass{Mg: t.GetReturns().GetMg() + t.GetPigs().GetMg()}),
			r.figure(t.GetReclaimed()), r.figure(t.GetNotYetUsable()), r.figure(t.GetElsewhere()), r.figure(t.GetGone())}
	}, column{head: "heats", kind: figure, width: 14}, column{head: "metal in", kind: figure}, column{head: "castings", kind: figure}, column{head: "returned", kind: figure},
		column{head: "reclaimed", kind: figure}, column{head: "not yet usable", kind: figure, width: 24}, column{head: "elsewhere", kind: figure}, column{head: "gone", kind: figure})
	table(func(h *pb.HeatGroup) []string {
		t := h.GetTerms()
		return []string{r.figure(t.GetUnaccounted()), r.figure(&pb.Mass{Mg: 2 * h.GetStandard().GetMg()}), percent(t.GetYieldPercent()), percent(t.GetMeltLossPercent())}
	}, column{head: "of what is gone, unaccounted", kind: figure}, column{head: "±", kind: figure}, column{head: "yield", kind: figure}, column{head: "melt loss", kind: figure})
	note := WhereMetalWent + " ± is about 95 %."
	if n := total.GetProvisional(); n > 0 {
		note += fmt.Sprintf(" Provisional: %d of the heats still wait for something to be weighed.", n)
	}
	s.paragraph(note, 8.5, false, 6)
}

// lost draws by what the metal of the heats was lost.
func (r *period) lost(s *sheet) {
	t := r.balance.GetTotal().GetTerms()
	s.heading("Lost in those heats, in " + string(r.unit))
	g := s.grid(6, column{head: "to"}, column{head: "", kind: figure, width: 40}, column{head: "% of what went in", kind: figure, width: 40})
	g.heads()
	for _, c := range []struct {
		name string
		mass *pb.Mass
	}{{"oxide", t.GetOxide()}, {"vapour", t.GetVapour()}, {"spill that was not picked up", t.GetSpilled()}, {"kerf", t.GetKerf()}, {"nothing that was weighed", t.GetUnaccounted()}} {
		g.add(c.name, r.figure(c.mass), share(c.mass.GetMg(), t.GetMetalIn().GetMg()))
	}
	g.total("all", r.figure(t.GetGone()), share(t.GetGone().GetMg(), t.GetMetalIn().GetMg()))
}

func (r *period) value(s *sheet) {
	title := "Money"
	if r.money.GetClosed() {
		title += ", as the period was closed"
	}
	s.heading(title)
	g := s.grid(6, column{head: ""}, column{head: "", kind: figure, width: 60})
	g.heads()
	for _, l := range r.money.GetLines() {
		g.add(l.GetWhat(), l.GetMoney().GetText())
	}
	s.paragraph("The opening, its corrections if any, and what was bought and spent are together what left, was lost or used, and is here at the end. "+
		"Abnormal loss is that of heats, and what castings that were broken up had cost beyond what their metal took over.", 9, false, 3)
	if len(r.money.GetStock()) > 0 {
		s.heading("What the stock at the end has cost")
		g := s.grid(6, column{head: "alloy", kind: strong}, column{head: "mass, " + string(r.unit), kind: figure, width: 40}, column{head: "cost", kind: figure, width: 46}, column{head: "each unit", kind: figure, width: 46})
		g.heads()
		for _, c := range r.money.GetStock() {
			g.add(last(c.GetAlloy()), r.figure(c.GetMass()), c.GetCost().GetText(), c.GetRate())
		}
	}
	for _, c := range r.money.GetChanges() {
		s.paragraph(fmt.Sprintf("Of the closed period up to %s the book now says otherwise: %s was reported as %s and would be %s.",
			r.day(c.GetEndTime()), c.GetWhat(), c.GetReported().GetText(), c.GetNow().GetText()), 9, false, 3)
	}
}

package main

import (
	"cmp"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/server/paper"
)

func (a *app) periodCommand() *cobra.Command {
	req := &pb.GetPeriodBalanceRequest{}
	var by string
	c := &cobra.Command{
		Use:   "period FROM [TO]",
		Short: "A period's metal in against castings out",
		Long: "A period's metal in against castings out: the heats poured in it put together, and what each\n" +
			"alloy's metal in the shop did. One argument is a day, a month or a year; of two days the\n" +
			"last is included.",
		Example: "  remelt period 2026-03\n  remelt period 2026-01-01 2026-03-31 --by crucible",
		Args:    atLeast("FROM"),
	}
	c.Flags().StringVar(&by, "by", "alloy", "put heats together by "+strings.Join(words[pb.Grouping](), ", "))
	c.Flags().StringVar(&req.Alloy, "alloy", "", "only this alloy, by any of its names")
	complete(c, map[string]completer{"by": fixed(words[pb.Grouping]()...), "alloy": a.completeAlloys()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if req.GroupBy, err = readWord[pb.Grouping]("--by", by); err != nil {
			return err
		}
		if len(args) > 2 {
			return usagef("a period is one or two dates, not %d", len(args))
		}
		u, err := a.units(c.Context())
		if err != nil {
			return err
		}
		from, to, err := readSpan(args, u.zone)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name, req.StartTime, req.EndTime = parent+"/periodBalance", timestamppb.New(from), timestamppb.New(to)
		r, err := cl.Balances.GetPeriodBalance(c.Context(), req)
		if err != nil {
			return err
		}
		b := r.GetBalance()
		return a.show(c.Context(), b, func(p *page) { p.period(b) })
	}
	return c
}

// readSpan reads a period; its end is not included.
func readSpan(args []string, zone *time.Location) (from, to time.Time, err error) {
	when, err := paper.ParsePeriod(strings.Join(args, ".."), zone)
	if err != nil {
		return from, to, usagef("%q: must be a day such as 2026-03-02, a month such as 2026-03, or a year", strings.Join(args, " "))
	}
	if !when.From.Before(when.To) {
		return from, to, usagef("the period %s is empty: it ends before it begins", strings.Join(args, " to "))
	}
	return when.From, when.To, nil
}

func (p *page) period(b *pb.PeriodBalance) {
	p.printf("Heats poured from %s until %s, in %s (entry %d)\n\n", p.showTime(b.GetStartTime()), p.showTime(b.GetEndTime()), p.mass, b.GetSequence())
	t := newTable("", ">HEATS", ">METAL IN", ">CASTINGS", ">RETURNED", ">RECLAIMED", ">NOT YET USABLE", ">ELSEWHERE", ">GONE", ">UNACCOUNTED", ">±", ">YIELD", ">MELT LOSS", "")
	row := func(name string, g *pb.HeatGroup) {
		s := g.GetTerms()
		note := ""
		if g.GetProvisional() > 0 {
			note = plural(int(g.GetProvisional()), "heat") + " provisional"
		}
		back := &pb.Mass{Mg: s.GetReturns().GetMg() + s.GetPigs().GetMg()}
		t.add(name, itoa(int64(len(g.GetHeats()))), p.figure(s.GetMetalIn()), p.figure(s.GetCastings()), p.figure(back), p.figure(s.GetReclaimed()),
			p.figure(s.GetNotYetUsable()), p.figure(s.GetElsewhere()), p.figure(s.GetGone()),
			p.figure(s.GetUnaccounted()), p.figure(&pb.Mass{Mg: 2 * g.GetStandard().GetMg()}), percent(s.GetYieldPercent()), percent(s.GetMeltLossPercent()), note)
	}
	for _, g := range b.GetGroups() {
		row(cmp.Or(last(g.GetKey()), g.GetMonth(), "not known"), g)
	}
	row("all", b.GetTotal())
	t.write(p)
	p.printf("\n%s\n± is about 95 %%.\n", strings.ReplaceAll(paper.WhereMetalWent, ". ", ".\n"))
	if len(b.GetFlows()) == 0 {
		return
	}
	p.printf("\nMetal in the shop\n")
	f := newTable("ALLOY", ">AT FIRST", ">HERE BEFORE", ">BOUGHT", ">CUSTOMERS'", ">ADDITIONS", ">COUNTED", ">OTHER ALLOYS", ">LEFT", ">LOST", ">AT LAST")
	for _, l := range b.GetFlows() {
		f.add(last(l.GetAlloy()), p.figure(l.GetOpening()), p.figure(l.GetHereAlready()), p.figure(l.GetReceived()), p.figure(l.GetCustomers()), p.figure(l.GetAdditives()), p.figure(l.GetCounted()),
			p.figure(l.GetFromOtherAlloys()), p.figure(l.GetLeft()), p.figure(l.GetLost()), p.figure(l.GetClosing()))
	}
	f.write(p)
}

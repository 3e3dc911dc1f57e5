package main

import (
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) costStatementCommand() *cobra.Command {
	c := &cobra.Command{Use: "period FROM [TO]", Short: "A period's money: what came in, where it went, what is here",
		Long: "A period's money. What was here at first and what was bought and spent in it are together what left,\n" +
			"what was lost or used, and what is here at the end. Abnormal loss is that of heats and what castings\n" +
			"that were broken up had cost beyond what their metal took over.",
		Example: "  remelt cost period 2026-03", Args: atLeast("FROM")}
	c.RunE = func(c *cobra.Command, args []string) error {
		from, to, err := a.span(c, args)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.GetCostStatement(c.Context(), &pb.GetCostStatementRequest{Name: parent + "/costStatement", StartTime: from, EndTime: to})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetStatement(), func(p *page) { p.statement(r.GetStatement()) })
	}
	return c
}

// span reads a period as it is typed, in the shop's time zone.
func (a *app) span(c *cobra.Command, args []string) (from, to *timestamppb.Timestamp, err error) {
	if len(args) > 2 {
		return nil, nil, usagef("a period is one or two dates, not %d", len(args))
	}
	u, err := a.units(c.Context())
	if err != nil {
		return nil, nil, err
	}
	f, t, err := readSpan(args, u.zone)
	return timestamppb.New(f), timestamppb.New(t), err
}

func (p *page) statement(s *pb.CostStatement) {
	t := newTable("", ">MONEY")
	for _, l := range s.GetLines() {
		t.add(l.GetWhat(), l.GetMoney().GetText())
	}
	t.write(p)
	if len(s.GetStock()) > 0 {
		p.printf("\nMetal in stock at the end\n")
		p.stockCosts(s.GetStock(), nil)
	}
	var changes []string
	for _, c := range s.GetChanges() {
		changes = append(changes, c.GetWhat()+" was reported as "+c.GetReported().GetText()+", is "+c.GetNow().GetText()+" now")
	}
	title := "As it was reported; the book now says otherwise"
	if len(s.GetChanges()) > 0 && !s.GetClosed() {
		title = "What closed periods reported until " + p.showTime(s.GetChanges()[0].GetEndTime()) + ", since the book began, and the book now says otherwise"
	}
	p.section(title, changes)
}

func (a *app) costCloseCommand() *cobra.Command {
	req := &pb.ClosePeriodRequest{}
	c := &cobra.Command{Use: "close FROM [TO]", Short: "Keep a period's figures as they are reported",
		Long:    "Keep a period's figures as they are reported. They never change afterwards: what is learned\nlater about the period is shown beside them, and corrects the next open period.",
		Example: "  remelt cost close 2026-02", Args: atLeast("FROM")}
	w := writeFlags(c)
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if req.StartTime, req.EndTime, err = a.span(c, args); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent = parent
		r, err := send(c.Context(), a, w, cl.Costs.ClosePeriod, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.statement(r.GetStatement()) })
	}
	return c
}

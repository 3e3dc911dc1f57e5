package main

import (
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) costCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "cost",
		Short: "What the metal cost, and who bears it",
		Long: "What the metal cost, and who bears it. Cost goes with the metal: a heat's castings bear the\n" +
			"metal charged, additions, fuel and wear, less what returns and skimmings take over; loss\n" +
			"beyond what is normal is shown apart and put on no casting.",
	}
	c.AddCommand(a.costHeatCommand(), a.costStockCommand(), a.costStatementCommand(), a.costCloseCommand(), a.costPolicyCommand(), a.costPoliciesCommand())
	return c
}

func (a *app) costHeatCommand() *cobra.Command {
	c := &cobra.Command{Use: "heat HEAT", Short: "What a heat cost, and what each casting bears", Example: "  remelt cost heat 12",
		Args: cobra.ExactArgs(1), ValidArgsFunction: inOrder(a.completeHeats())}
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.GetHeatCost(c.Context(), &pb.GetHeatCostRequest{Name: named(parent, "heats", args[0]) + "/cost"})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetCost(), func(p *page) { p.heatCost(args[0], r.GetCost()) })
	}
	return c
}

func (p *page) heatCost(id string, h *pb.HeatCost) {
	lost, normal := h.GetLost().GetText()+" lost", "no loss is set as normal"
	if h.GetLost().GetMg() < 0 {
		lost = "by the book more came out of it than went in (" + h.GetLost().GetText() + " lost): a weighing is wrong"
	}
	if h.GetNormalLoss().GetMg() > 0 {
		normal = h.GetNormalLoss().GetText() + " is normal"
	}
	if h.GetProvisional() {
		normal += "; provisional, it is not settled"
	}
	p.printf("Heat %s: %s charged, %s; %s\n\n", id, h.GetCharged().GetText(), lost, normal)
	t := newTable("", ">COST")
	t.add("metal charged", h.GetMetal().GetText())
	for _, l := range h.GetConversion() {
		t.add(l.GetWhat(), l.GetMoney().GetText())
	}
	for _, l := range h.GetCredits() {
		t.add("taken over by "+l.GetWhat(), less(l.GetMoney()))
	}
	switch m := h.GetAbnormalLoss(); {
	case m.GetMinor() > 0:
		t.add("abnormal loss, on no casting", less(m))
	case m.GetMinor() < 0:
		t.add("abnormal gain, on no casting", less(m))
	}
	if h.GetInProcess().GetMinor() != 0 {
		t.add("still in molds", less(h.GetInProcess()))
	}
	t.write(p)
	if len(h.GetCastings()) > 0 {
		p.printf("\nBorne by\n")
		t = newTable("CASTING", ">MASS", ">COST")
		for _, c := range h.GetCastings() {
			t.add(last(c.GetCasting()), c.GetMass().GetText(), c.GetCost().GetText())
		}
		t.write(p)
	}
}

// less writes an amount as taken off.
func less(m *pb.Money) string {
	if off, negative := strings.CutPrefix(m.GetText(), "-"); negative {
		return off
	}
	return "-" + m.GetText()
}

func (a *app) costStockCommand() *cobra.Command {
	c := &cobra.Command{Use: "stock", Short: "What the metal in stock has cost, by alloy", Example: "  remelt cost stock", Args: cobra.NoArgs}
	c.RunE = func(c *cobra.Command, _ []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.GetStockValue(c.Context(), &pb.GetStockValueRequest{Name: parent + "/stockValue"})
		if err != nil {
			return err
		}
		v := r.GetValue()
		return a.show(c.Context(), v, func(p *page) {
			t := newTable("ALLOY", ">HERE", ">COST", ">RATE", ">CAME WITHOUT A PRICE")
			for _, x := range v.GetPositions() {
				free := "–"
				if x.GetWithoutPrice().GetMg() != 0 {
					free = x.GetWithoutPrice().GetText()
				}
				t.add(last(x.GetAlloy()), x.GetMass().GetText(), x.GetCost().GetText(), x.GetRate(), free)
			}
			t.add("all", "", v.GetTotal().GetText(), "", "")
			t.write(p)
			if len(v.GetSupplies()) > 0 {
				p.printf("\n")
				t = newTable("SUPPLY", ">COST")
				for _, x := range v.GetSupplies() {
					t.add(x.GetWhat(), x.GetMoney().GetText())
				}
				t.write(p)
			}
		})
	}
	return c
}

func (a *app) costStatementCommand() *cobra.Command {
	c := &cobra.Command{Use: "period FROM [TO]", Short: "A period's money: what came in, where it went, what is here",
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
	var changes []string
	for _, c := range s.GetChanges() {
		changes = append(changes, "the period that ended before "+p.showTime(c.GetEndTime())+": "+c.GetWhat()+" was reported as "+c.GetReported().GetText()+", is "+c.GetNow().GetText()+" now")
	}
	p.section("Closed periods of which the book now says otherwise", changes)
}

func (a *app) costCloseCommand() *cobra.Command {
	req := &pb.ClosePeriodRequest{}
	c := &cobra.Command{Use: "close FROM [TO]", Short: "Keep a period's figures as they are reported",
		Long:    "Keep a period's figures as they are reported. They never change afterwards: what is learned\nlater about the period is shown beside them.",
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

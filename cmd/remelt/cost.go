package main

import (
	"strings"

	"github.com/spf13/cobra"

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
	c.AddCommand(a.costHeatCommand(), a.costLotCommand(), a.costCastingCommand(), a.costStockCommand(), a.costStatementCommand(), a.costCloseCommand(), a.costPolicyCommand(), a.costPoliciesCommand())
	return c
}

func (a *app) costHeatCommand() *cobra.Command {
	since := ""
	c := &cobra.Command{Use: "heat HEAT", Short: "What a heat cost, and what each casting bears",
		Long: "What a heat cost, and what each casting bears. What the last entry about the heat changed of it,\n" +
			"a late weighing or a correction, is said below; with --since, all that changed since then.",
		Example: "  remelt cost heat 10\n  remelt cost heat 10 --since 2026-03-31",
		Args:    cobra.ExactArgs(1), ValidArgsFunction: inOrder(a.completeHeats())}
	c.Flags().StringVar(&since, "since", "", "compare with the book as it stood at this moment")
	noFiles(c, "since")
	c.RunE = func(c *cobra.Command, args []string) error {
		at, err := a.readTime(c.Context(), "--since", since, dayEnd)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.GetHeatCost(c.Context(), &pb.GetHeatCostRequest{Name: named(parent, "heats", args[0]) + "/cost", SinceTime: at})
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
	p.printf("Heat %s: %s charged, %s; %s\n", id, h.GetCharged().GetText(), lost, normal)
	p.noPrice("of the metal charged", h.GetWithoutPrice(), h.GetCharged())
	if h.GetCustomersOwn().GetMg() > 0 {
		p.printf("%s of the metal charged is a customer's own and costs nothing.\n", h.GetCustomersOwn().GetText())
	}
	p.printf("\n")
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
	if len(h.GetChanges()) > 0 {
		p.printf("\nChanged since entry %d\n", h.GetComparedSequence())
		t = newTable("", ">WAS", ">IS", ">BY")
		for _, c := range h.GetChanges() {
			t.add(c.GetWhat(), c.GetWas().GetText(), c.GetNow().GetText(), c.GetDifference().GetText())
		}
		t.write(p)
	}
}

// noPrice says how much metal is reckoned as free for want of a price.
func (p *page) noPrice(what string, free, of *pb.Mass) {
	switch {
	case free.GetMg() == 0:
	case free.GetMg() == of.GetMg():
		p.printf("None %s had a price: it counts as free, so the cost is too low.\n", what)
	default:
		p.printf("%s %s had no price and counts as free: the cost is too low.\n", free.GetText(), what)
	}
}

// less writes an amount as taken off.
func less(m *pb.Money) string {
	if off, negative := strings.CutPrefix(m.GetText(), "-"); negative {
		return off
	}
	return "-" + m.GetText()
}

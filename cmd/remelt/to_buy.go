package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

func (a *app) toBuyCommand() *cobra.Command {
	req := &pb.AdviseOrdersRequest{}
	var lead int32
	var curve, all bool
	c := &cobra.Command{
		Use: "to-buy [ALLOY]", Short: "What to order now, by when and why, and what could be sold",
		Long: "What to order now, by when and why: for planned heats first, net of returns as far as a charge may take them, and beyond\n" +
			"them up to a reorder point from the shop's own past. Of the offers that hold the cheapest is taken that comes in time;\n" +
			"without one the last delivery tells what the supplier would ask.",
		Example:           "  remelt to-buy\n  remelt to-buy C87300 --service 90 --lead 14 --curve",
		ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	f := c.Flags()
	f.Int32Var(&req.HorizonDays, "days", 0, "how many days to look ahead; 60 unless said")
	f.StringVar(&req.ServicePercent, "service", "", "how many deliveries are to come before anything has run out, in per cent; 95 unless said")
	f.StringVar(&req.MostReturnsPercent, "most-returns", "", "the greatest share of returns in a charge, in per cent; 50 unless said")
	f.Int32Var(&lead, "lead", 0, "how many days a delivery takes, whatever offers say; what the offer says, else 10, unless said")
	f.StringVar(&req.CarryPercent, "carry", "", "what keeping metal costs in a year, in per cent of its value; 20 unless said")
	f.StringVar(&req.OrderCost, "order-cost", "", "what an order costs the shop itself, such as \"30 USD\"; 25 of its currency unless said")
	f.BoolVar(&curve, "curve", false, "also what will be here week by week")
	f.BoolVar(&all, "all", false, "also what is not to be ordered")
	noFiles(c, "days", "service", "most-returns", "lead", "carry", "order-cost")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.Alloy = parent, strings.Join(args, " ")
		if f.Changed("lead") {
			req.LeadDays = &lead
		}
		r, err := cl.Ordering.AdviseOrders(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.toBuy(r, curve, all || req.GetAlloy() != "") })
	}
	return c
}

func (p *page) toBuy(r *pb.AdviseOrdersResponse, curve, all bool) {
	hidden := 0
	for _, x := range r.GetAdvice() {
		if !x.GetOrder() && !all {
			hidden++
			continue
		}
		p.printf("%s\n", p.strong(x.GetSentence()))
		for _, s := range x.GetReasons() {
			p.printf("  - %s\n", s)
		}
		for _, s := range x.GetAlternatives() {
			p.printf("  or %s\n", s)
		}
		if curve {
			p.stockCurve(x)
		}
	}
	switch {
	case hidden == len(r.GetAdvice()):
		p.printf("Nothing to order.\n")
	case hidden > 0:
		p.printf("\nNothing to order of %d others (--all shows them).\n", hidden)
	}
	var sell []string
	for _, s := range r.GetSurplus() {
		sell = append(sell, s.GetSentence())
	}
	p.section("Could be sold:", sell)
	p.section("Assumed:", r.GetNotes())
}

// stockCurve is the projected stock, a week a line.
func (p *page) stockCurve(x *pb.OrderAdvice) {
	figure := func(v int64) string { return unit.FormatMassNumber(v, p.mass, 0) }
	if x.GetSupply() != "" && x.GetMass() == nil {
		figure = itoa
	}
	t := newTable("  DAY", ">LOW", ">MIDDLE", ">HIGH", ">MISSING %")
	for i, d := range x.GetCurve() {
		if i%7 == 0 || i == len(x.GetCurve())-1 {
			t.add("  "+d.GetDayTime().AsTime().In(p.zone).Format("2 Jan"), figure(d.GetLow()), figure(d.GetMiddle()), figure(d.GetHigh()), itoa(int64(d.GetMissingPercent()+0.5)))
		}
	}
	t.write(p)
}

package main

import (
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) costPolicyCommand() *cobra.Command {
	req := &pb.SetCostingRequest{Costing: &pb.Costing{}}
	var method string
	var recovered, skimmings, normal, wear []string
	c := &cobra.Command{
		Use: "policy FROM", Short: "Set how cost is reckoned from a day on",
		Long: "Set how cost is reckoned from a day on. Stock is costed each lot by itself, the oldest first,\n" +
			"by the average of what is there, or by one average for each month.",
		Example: "  remelt cost policy 2026-01-01 --method moving-average --normal C87300=2 --recovered \"C87300=3.10 USD/lb\" --wear \"sil-70=4.20 USD\"",
		Args:    cobra.ExactArgs(1),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&method, "method", "by-lot", strings.Join(words[pb.Costing_Method](), ", "))
	f.StringArrayVar(&recovered, "recovered", nil, "what returns and pigs are worth, ALLOY=PRICE; the cost of the metal charged unless said; may be repeated")
	f.StringArrayVar(&skimmings, "skimmings", nil, "what the metal in skimmings would fetch, ALLOY=PRICE; nothing unless said; may be repeated")
	f.StringArrayVar(&normal, "normal", nil, "loss that is normal, in per cent of the charge, ALLOY=PERCENT, or ALLOY=learned for what the heats before a heat let expect of it; may be repeated")
	f.StringArrayVar(&wear, "wear", nil, "what a heat wears off a crucible, POT=PRICE; its price over the heats it lasts unless said; may be repeated")
	noFiles(c, "recovered", "skimmings", "normal", "wear")
	complete(c, map[string]completer{"method": fixed(words[pb.Costing_Method]()...)})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		p := req.Costing
		if p.Method, err = readWord[pb.Costing_Method]("--method", method); err != nil {
			return err
		}
		u, err := a.units(c.Context())
		if err != nil {
			return err
		}
		from, _, err := readSpan(args, u.zone)
		if err != nil {
			return err
		}
		p.FromTime = timestamppb.New(from)
		for _, x := range []struct {
			flag string
			all  []string
			add  func(key, value string)
		}{
			{"--recovered", recovered, func(k, v string) { p.Recovered = append(p.Recovered, &pb.AlloyPrice{Alloy: k, Price: v}) }},
			{"--skimmings", skimmings, func(k, v string) { p.Skimmings = append(p.Skimmings, &pb.AlloyPrice{Alloy: k, Price: v}) }},
			{"--normal", normal, func(k, v string) { p.NormalLosses = append(p.NormalLosses, &pb.NormalLoss{Alloy: k, Percent: v}) }},
			{"--wear", wear, func(k, v string) { p.Wear = append(p.Wear, &pb.CrucibleWear{Pot: k, Price: v}) }},
		} {
			for _, one := range x.all {
				key, value, ok := strings.Cut(one, "=")
				if !ok || key == "" || value == "" {
					return usagef("%s %q: write NAME=VALUE", x.flag, one)
				}
				x.add(strings.TrimSpace(key), strings.TrimSpace(value))
			}
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent = parent
		r, err := send(c.Context(), a, w, cl.Costs.SetCosting, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.costing(r.GetCosting()) })
	}
	return c
}

func (p *page) costing(c *pb.Costing) {
	p.printf("From %s: %s\n", last(c.GetName()), word(c.GetMethod()))
	for _, x := range c.GetRecovered() {
		p.printf("  returns and pigs of %s are worth %s\n", last(x.GetAlloy()), x.GetPrice())
	}
	for _, x := range c.GetSkimmings() {
		p.printf("  the metal in skimmings of %s would fetch %s\n", last(x.GetAlloy()), x.GetPrice())
	}
	for _, x := range c.GetNormalLosses() {
		if x.GetPercent() == "learned" {
			p.printf("  of %s is normally lost what the heats before let expect of each, once it is settled\n", last(x.GetAlloy()))
			continue
		}
		p.printf("  %s %% of a charge of %s is normally lost\n", x.GetPercent(), last(x.GetAlloy()))
	}
	for _, x := range c.GetWear() {
		p.printf("  a heat wears %s off %s\n", x.GetPrice(), last(x.GetPot()))
	}
}

func (a *app) costPoliciesCommand() *cobra.Command {
	c := &cobra.Command{Use: "policies", Short: "How cost has been reckoned, from which day on", Args: cobra.NoArgs}
	c.RunE = func(c *cobra.Command, _ []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.ListCostings(c.Context(), &pb.ListCostingsRequest{Parent: parent, PageSize: 1000})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			for _, x := range r.GetCostings() {
				p.costing(x)
			}
			if len(r.GetCostings()) == 0 {
				p.printf("Nothing is set: each lot has its own cost, returns go back at the cost of their metal, and no loss is normal.\n")
			}
		})
	}
	return c
}

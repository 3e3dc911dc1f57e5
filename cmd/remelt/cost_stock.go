package main

import (
	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) costStockCommand() *cobra.Command {
	c := &cobra.Command{Use: "stock", Short: "What the metal in stock has cost, by alloy", Example: "  remelt cost stock\n  remelt cost stock --as-happened 2026-03-31", Args: cobra.NoArgs}
	at := addAsOfFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		recorded, happened, err := at.read(c.Context(), a)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.GetStockValue(c.Context(), &pb.GetStockValueRequest{Name: parent + "/stockValue", RecordedTime: recorded, HappenedTime: happened})
		if err != nil {
			return err
		}
		v := r.GetValue()
		return a.show(c.Context(), v, func(p *page) {
			p.stockCosts(v.GetPositions(), v.GetTotal())
			if len(v.GetCustomers()) > 0 {
				p.printf("\n")
				t := newTable("CUSTOMER", "ALLOY", ">THEIR OWN", ">OUR METAL IN IT COST")
				for _, x := range v.GetCustomers() {
					t.add(last(x.GetCustomer()), last(x.GetAlloy()), x.GetMass().GetText(), x.GetCost().GetText())
				}
				t.write(p)
			}
			if len(v.GetSupplies()) > 0 {
				p.printf("\n")
				t := newTable("SUPPLY", ">COST")
				for _, x := range v.GetSupplies() {
					t.add(x.GetWhat(), x.GetMoney().GetText())
				}
				t.write(p)
			}
		})
	}
	return c
}

// stockCosts is what stock cost by alloy; total may be nil.
func (p *page) stockCosts(all []*pb.StockCost, total *pb.Money) {
	t := newTable("ALLOY", ">HERE", ">COST", ">RATE", ">WITHOUT A PRICE")
	for _, x := range all {
		free := "–"
		if x.GetWithoutPrice().GetMg() != 0 {
			free = x.GetWithoutPrice().GetText()
		}
		t.add(last(x.GetAlloy()), x.GetMass().GetText(), x.GetCost().GetText(), x.GetRate(), free)
	}
	if total != nil {
		t.add("all", "", total.GetText(), "", "")
	}
	t.write(p)
}

func (a *app) costLotCommand() *cobra.Command {
	c := &cobra.Command{Use: "lot LOT", Short: "What a lot has cost", Example: "  remelt cost lot L7-9",
		Args: cobra.ExactArgs(1), ValidArgsFunction: inOrder(a.completeLots())}
	at := addAsOfFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		recorded, happened, err := at.read(c.Context(), a)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.GetLotCost(c.Context(), &pb.GetLotCostRequest{Name: named(parent, "lots", args[0]) + "/cost", RecordedTime: recorded, HappenedTime: happened})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetCost(), func(p *page) { p.lotCost(args[0], r.GetCost()) })
	}
	return c
}

func (p *page) lotCost(id string, l *pb.LotCost) {
	if l.GetMass().GetMg() == 0 {
		p.printf("Lot %s holds nothing.\n", id)
		return
	}
	if l.GetOwner() != "" {
		p.printf("Lot %s: %s of %s, %s's own metal; what the shop's metal in it cost: %s\n", id, l.GetMass().GetText(), last(l.GetAlloy()), last(l.GetOwner()), l.GetCost().GetText())
		return
	}
	p.printf("Lot %s: %s of %s cost %s, %s\n", id, l.GetMass().GetText(), last(l.GetAlloy()), l.GetCost().GetText(), l.GetRate())
	if l.GetShared() {
		p.printf("That is its share by mass of all %s in stock.\n", last(l.GetAlloy()))
	}
	p.noPrice("of it", l.GetWithoutPrice(), l.GetMass())
}

func (a *app) costCastingCommand() *cobra.Command {
	c := &cobra.Command{Use: "casting CASTING", Short: "What a casting cost", Example: "  remelt cost casting C3",
		Args: cobra.ExactArgs(1), ValidArgsFunction: inOrder(a.completeCastings())}
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := cl.Costs.GetCastingCost(c.Context(), &pb.GetCastingCostRequest{Name: named(parent, "castings", args[0]) + "/cost"})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetCost(), func(p *page) { p.castingCost(args[0], r.GetCost()) })
	}
	return c
}

func (p *page) castingCost(id string, k *pb.CastingCost) {
	p.printf("Casting %s: %s of heat %s cost %s", id, k.GetMass().GetText(), last(k.GetHeat()), k.GetCost().GetText())
	if k.GetProvisional() {
		p.printf("; provisional, the heat is not settled")
	}
	p.printf("\n")
	if k.GetRecovered().GetMinor() != 0 {
		p.printf("What it was broken up into took %s of that over.\n", k.GetRecovered().GetText())
	}
	p.noPrice("of its metal", k.GetWithoutPrice(), k.GetMass())
}

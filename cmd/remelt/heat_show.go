package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/server/paper"
)

func (a *app) heatListCommand() *cobra.Command {
	var states []string
	req := &pb.ListHeatsRequest{PageSize: 1000}
	c := &cobra.Command{Use: "list", Short: "List heats", Args: cobra.NoArgs}
	c.Flags().StringArrayVar(&states, "state", nil, "only in this state: "+strings.Join(words[pb.Heat_State](), ", ")+"; late is poured and waiting to be weighed back, dropped not melted; may be said more than once")
	c.Flags().StringVar(&req.Alloy, "alloy", "", "only of this alloy, by any of its names")
	complete(c, map[string]completer{"state": fixed(words[pb.Heat_State]()...), "alloy": a.completeAlloys()})
	c.RunE = func(c *cobra.Command, _ []string) error {
		for _, typed := range states {
			s, err := readWord[pb.Heat_State]("--state", typed)
			if err != nil {
				return err
			}
			req.States = append(req.States, s)
		}
		all, err := a.heats(c.Context(), req)
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) { p.heatTable(all) })
	}
	return c
}

// heats reads every page of a list of heats.
func (a *app) heats(ctx context.Context, req *pb.ListHeatsRequest) (all []*pb.Heat, err error) {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return nil, err
	}
	req.Parent, req.PageSize = parent, 1000
	err = client.Pages(func(token string) (string, error) {
		req.PageToken = token
		r, err := cl.Heats.ListHeats(ctx, req)
		all = append(all, r.GetHeats()...)
		return r.GetNextPageToken(), err
	})
	sortByID(all, (*pb.Heat).GetName)
	return all, err
}

func (p *page) heatTable(all []*pb.Heat) {
	if len(all) == 0 {
		p.printf("No heats.\n")
		return
	}
	t := newTable("HEAT", "ALLOY", "STATE", "CRUCIBLE", "MELTER", "PLANNED", "POURED", ">CHARGE", ">IN CRUCIBLE", ">IN MOLDS", "OWNER")
	var mind []*pb.Caution
	for _, h := range all {
		t.add(last(h.GetName()), last(h.GetAlloy()), paper.HeatState(h), last(h.GetCrucible()), last(h.GetMelter()), p.showTime(h.GetPlannedTime()), p.showTime(h.GetPourTime()),
			p.figure(h.GetCharge()), p.figure(h.GetInCrucible()), p.figure(h.GetInMolds()), last(h.GetOwner()))
		if h.GetState() == pb.Heat_STATE_PLANNED || h.GetState() == pb.Heat_STATE_MELTING {
			mind = append(mind, h.GetCautions()...)
		}
	}
	t.write(p)
	p.cautions(mind...)
}

func (a *app) heatShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show HEAT", Short: "Show one heat, with what was charged, its molds, additions, temperatures and fuel",
		Args:              exactly("HEAT"),
		ValidArgsFunction: inOrder(a.completeHeats(), nil),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			name := named(parent, "heats", args[0])
			h, err := cl.Heats.GetHeat(c.Context(), &pb.GetHeatRequest{Name: name})
			if err != nil {
				return err
			}
			if a.json() {
				return writeJSON(a.out, h.GetHeat())
			}
			molds, err := cl.Molds.ListMolds(c.Context(), &pb.ListMoldsRequest{Parent: name, PageSize: 1000})
			if err != nil {
				return err
			}
			added, err := cl.Heats.ListAdditions(c.Context(), &pb.ListAdditionsRequest{Parent: name, PageSize: 1000})
			if err != nil {
				return err
			}
			read, err := cl.Heats.ListReadings(c.Context(), &pb.ListReadingsRequest{Parent: name, PageSize: 1000})
			if err != nil {
				return err
			}
			balance, err := cl.Balances.GetHeatBalance(c.Context(), &pb.GetHeatBalanceRequest{Name: name + "/balance"})
			if err != nil {
				return err
			}
			fuel, err := cl.Heats.ListFuel(c.Context(), &pb.ListFuelRequest{Parent: name, PageSize: 1000})
			if err != nil {
				return err
			}
			held, err := contentOf(c.Context(), cl, name)
			if err != nil {
				return err
			}
			return a.show(c.Context(), nil, func(p *page) {
				p.heat(h.GetHeat(), molds.GetMolds(), added.GetAdditions(), read.GetReadings())
				p.charged(balance.GetBalance())
				p.holds(held)
				p.burned(fuel.GetFuels())
				p.cautions(h.GetHeat().GetCautions()...)
			})
		},
	}
}

func (p *page) heat(h *pb.Heat, molds []*pb.Mold, added []*pb.Addition, read []*pb.Reading) {
	p.heatLine(h)
	t := newTable("", "")
	row := func(name, value string) {
		if value != "" {
			t.add("  "+name, value)
		}
	}
	row("crucible", last(h.GetCrucible()))
	row("furnace", last(h.GetFurnace()))
	row("melter", last(h.GetMelter()))
	row("planned charge", h.GetCharge().GetText())
	row("planned for", p.showTime(h.GetPlannedTime()))
	row("opened", p.showTime(h.GetOpenTime()))
	row("poured", p.showTime(h.GetPourTime()))
	row("settled", p.showTime(h.GetSettleTime()))
	row("note", h.GetNote())
	t.write(p)
	p.moldTable(molds)
	if len(added) > 0 {
		t := newTable("ADDED", "FOR", ">AMOUNT", "AT")
		for _, d := range added {
			amount := d.GetAmount().GetText()
			if d.GetPieces() > 0 {
				amount = plural(int(d.GetPieces()), "piece")
			}
			t.add(last(d.GetSupply())+struck(d.GetVoid()), d.GetPurpose(), amount, p.showTime(d.GetAddTime()))
		}
		t.write(p)
	}
	if len(read) > 0 {
		t := newTable(">TEMPERATURE", "OF", "AT")
		for _, r := range read {
			t.add(paper.Degrees(r.GetTemperature(), p.temp)+struck(r.GetVoid()), r.GetWhat(), p.showTime(r.GetReadTime()))
		}
		t.write(p)
	}
}

// charged lists what of which lot went in.
func (p *page) charged(b *pb.HeatBalance) {
	if len(b.GetChargedLots()) == 0 {
		return
	}
	t := newTable("CHARGED", "WHAT", ">"+string(p.mass), "MARKED")
	heel := b.GetTerms().GetCharged().GetMg()
	for _, c := range b.GetChargedLots() {
		t.add(last(c.GetLot()), word(c.GetForm()), p.figure(c.GetMass()), c.GetLabel())
		heel -= c.GetMass().GetMg()
	}
	if heel > 0 {
		t.add("", "heel", p.figure(&pb.Mass{Mg: heel}), "")
	}
	t.write(p)
}

// burned lists the fuel.
func (p *page) burned(all []*pb.FuelBurned) {
	if len(all) == 0 {
		return
	}
	t := newTable("FUEL", ">AMOUNT", ">COST", "AT")
	for _, f := range all {
		t.add(f.GetFuel()+struck(f.GetVoid()), f.GetAmount(), f.GetPrice().GetText(), p.showTime(f.GetBurnTime()))
	}
	t.write(p)
}

func struck(void bool) string {
	if void {
		return " (reversed)"
	}
	return ""
}

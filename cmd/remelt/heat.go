package main

import (
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/server/paper"
)

func (a *app) heatCommand() *cobra.Command {
	return group("heat", "Plan, melt, pour and settle heats, and where their metal went",
		a.heatPlanCommand(), a.heatChangeCommand(), a.heatMoldCommand(), a.heatProposeCommand(), a.heatOpenCommand(), a.heatChargeCommand(), a.heatAddCommand(),
		a.heatTemperatureCommand(), a.heatFuelCommand(), a.heatSkimCommand(), a.heatSpillCommand(), a.heatPourCommand(), a.heatPourOffCommand(),
		a.heatFinishCommand(), a.heatGiveCommand(), a.heatWriteOffCommand(), a.heatSettleCommand(), a.heatDropCommand(),
		a.heatShowCommand(), a.heatListCommand(), a.heatBalanceCommand())
}

// heatAnswer is the answer of a write to a heat.
type heatAnswer interface {
	proto.Message
	GetHeat() *pb.Heat
	GetEntry() *pb.Entry
}

// changeHeat finishes a command that writes to a heat: do sends the request.
func (a *app) changeHeat(c *cobra.Command, w *write, do func(c *cobra.Command, cl *client.Client, name, parent string, args []string) (heatAnswer, error)) *cobra.Command {
	if c.ValidArgsFunction == nil {
		c.ValidArgsFunction = inOrder(a.completeHeats(), nil)
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := do(c, cl, named(parent, "heats", args[0]), parent, args[1:])
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.heatLine(r.GetHeat())
			if made, ok := r.(interface{ GetLot() *pb.Lot }); ok && made.GetLot() != nil {
				p.lotLine(made.GetLot())
			}
			if poured, ok := r.(interface{ GetMold() *pb.Mold }); ok && poured.GetMold() != nil {
				p.printf("Mold %s: %s\n", last(poured.GetMold().GetName()), word(poured.GetMold().GetState()))
			}
			p.recorded(w, r.GetEntry())
			p.cautions(r.GetHeat().GetCautions()...)
		})
	}
	return c
}

// heatLine is a heat in one line.
func (p *page) heatLine(h *pb.Heat) {
	s := "Heat " + last(h.GetName()) + ": " + last(h.GetAlloy()) + ", " + paper.HeatState(h)
	if h.GetOwner() != "" {
		s += ", of " + last(h.GetOwner()) + "'s own metal"
	}
	if h.GetInCrucible().GetMg() != 0 {
		s += ", in crucible " + h.GetInCrucible().GetText()
	}
	if h.GetInMolds().GetMg() != 0 {
		s += ", in molds " + h.GetInMolds().GetText()
	}
	if h.GetInMolds().GetMg() < 0 {
		s += " (more came back than was poured)"
	}
	if h.GetProvisional() && h.GetState() == pb.Heat_STATE_LATE {
		s += "; " + p.strong("provisional")
	}
	p.printf("%s\n", s)
}

// simple is a write to a heat that says nothing but which.
func (a *app) simpleHeat(use, short string, do func(c *cobra.Command, cl *client.Client, w *write, name string) (heatAnswer, error)) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, Args: exactly("HEAT")}
	w := writeFlags(c)
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, _ []string) (heatAnswer, error) {
		return do(c, cl, w, name)
	})
}

func (a *app) heatOpenCommand() *cobra.Command {
	return a.simpleHeat("open HEAT", "Say that a planned heat is being melted", func(c *cobra.Command, cl *client.Client, w *write, name string) (heatAnswer, error) {
		return send(c.Context(), a, w, cl.Heats.OpenHeat, &pb.OpenHeatRequest{Name: name})
	})
}

func (a *app) heatDropCommand() *cobra.Command {
	return a.simpleHeat("drop HEAT", "Say that a planned heat will not be melted", func(c *cobra.Command, cl *client.Client, w *write, name string) (heatAnswer, error) {
		return send(c.Context(), a, w, cl.Heats.DropHeat, &pb.DropHeatRequest{Name: name})
	})
}

func (a *app) heatSettleCommand() *cobra.Command {
	c := a.simpleHeat("settle HEAT", "Close a heat: what is still in its molds is unaccounted for", func(c *cobra.Command, cl *client.Client, w *write, name string) (heatAnswer, error) {
		return send(c.Context(), a, w, cl.Heats.SettleHeat, &pb.SettleHeatRequest{Name: name})
	})
	c.Long = "Close a heat: everything expected is weighed or written off, and what is still in its\nmolds is unaccounted for. Metal found later comes out of that and is flagged."
	return c
}

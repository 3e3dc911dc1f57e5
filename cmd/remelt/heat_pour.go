package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) heatSpillCommand() *cobra.Command {
	req := &pb.SpillHeatRequest{}
	var lost string
	c := &cobra.Command{
		Use: "spill HEAT [WEIGHT]", Short: "Book metal that ran out or splashed",
		Long:    "Book metal that ran out or splashed: what was swept up and weighed makes a lot to be\ncleaned, what could not be picked up is lost.",
		Example: "  remelt heat spill 41 240 g\n  remelt heat spill 41 3 kg --lost \"0.5 kg\" --mold 41-2",
		Args:    atLeast("HEAT"),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	f := c.Flags()
	f.StringVar(&lost, "lost", "", "what could not be picked up, estimated")
	f.StringVar(&req.Mold, "mold", "", "the mold that leaked; from the crucible unless said")
	f.StringVar(&req.Place, "place", "", "where it is put")
	noFiles(c, "lost", "mold")
	complete(c, map[string]completer{"place": a.completePlaces()})
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, args []string) (r heatAnswer, err error) {
		req.Name, req.Lost = name, mass(lost)
		if req.Weighing, err = weigh.read(strings.Join(args, " ")); err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Heats.SpillHeat, req)
	})
}

func (a *app) heatPourOffCommand() *cobra.Command {
	req := &pb.PourOffRequest{}
	c := &cobra.Command{
		Use: "pour-off HEAT WEIGHT", Short: "Book what was left over and poured off into pigs",
		Example: "  remelt heat pour-off 41 6.3 kg 2 pcs --place rack",
		Args:    atLeast("HEAT"),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	f := c.Flags()
	f.StringVar(&req.LotId, "lot", "", "the new lot's id; the next number unless said")
	f.StringVar(&req.Place, "place", "", "where it is put")
	f.StringVar(&req.Label, "label", "", "a label for people")
	noFiles(c, "lot", "label")
	complete(c, map[string]completer{"place": a.completePlaces()})
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, args []string) (r heatAnswer, err error) {
		req.Name = name
		if req.Weighing, err = weigh.need(args); err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Heats.PourOff, req)
	})
}

func (a *app) heatPourCommand() *cobra.Command {
	req := &pb.PourMoldRequest{}
	var became string
	c := &cobra.Command{
		Use: "pour HEAT MOLD [WEIGHT]", Short: "Book a mold poured",
		Long: "Book a mold poured. The metal in it may be left out: what is not booked elsewhere is in the\n" +
			"molds when the pour is finished. A weight is an estimate unless --weighed.",
		Example: "  remelt heat pour 41 41-1\n  remelt heat pour 41 41-2 --as short",
		Args:    atLeast("HEAT", "MOLD"),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.BoolVar(&req.Weighed, "weighed", false, "the weight was read off a scale")
	f.StringVar(&became, "as", "", "what became of the mold: poured, short, leaked, unused")
	complete(c, map[string]completer{"as": fixed("poured", "short", "leaked", "unused")})
	c.ValidArgsFunction = inOrder(a.completeHeats(), nil)
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, args []string) (r heatAnswer, err error) {
		req.Name, req.Mold, req.Amount = name, args[0], mass(strings.Join(args[1:], " "))
		if !strings.HasPrefix(req.GetMold(), "shops/") {
			req.Mold = name + "/molds/" + args[0]
		}
		if req.State, err = readWord[pb.Mold_State]("--as", became); err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Heats.PourMold, req)
	})
}

func (a *app) heatFinishCommand() *cobra.Command {
	var heel string
	c := &cobra.Command{
		Use: "finish HEAT", Short: "Close the pour: what is not booked elsewhere is in the molds",
		Example: "  remelt heat finish 41\n  remelt heat finish 41 --heel \"0.7 kg\"",
		Args:    exactly("HEAT"),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&heel, "heel", "", "heel or skull left in the crucible, estimated")
	noFiles(c, "heel")
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, _ []string) (heatAnswer, error) {
		return send(c.Context(), a, w, cl.Heats.FinishPour, &pb.FinishPourRequest{Name: name, Heel: mass(heel)})
	})
}

func (a *app) heatGiveCommand() *cobra.Command {
	req := &pb.GiveMetalRequest{}
	c := &cobra.Command{
		Use: "give HEAT WEIGHT", Short: "Book metal that left at once: poured into a visitor's mold and taken home",
		Example: "  remelt heat give 41 1.5 kg --to \"open day\"",
		Args:    atLeast("HEAT", "WEIGHT"),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&req.To, "to", "", "who took it")
	noFiles(c, "to")
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, args []string) (heatAnswer, error) {
		req.Name, req.Amount = name, mass(strings.Join(args, " "))
		return send(c.Context(), a, w, cl.Heats.GiveMetal, req)
	})
}

func (a *app) heatWriteOffCommand() *cobra.Command {
	req := &pb.WriteOffMetalRequest{}
	var weighed bool
	c := &cobra.Command{
		Use: "write-off HEAT CAUSE WEIGHT", Short: "Book a loss of a known kind: " + strings.Join(words[pb.LossCause](), ", "),
		Long:    "Book a loss of a known kind: sweepings of the saw, zinc gone as vapour. The weight is an\nestimate unless --weighed or read on a --scale.",
		Example: "  remelt heat write-off 41 kerf 120 g --weighed",
		Args:    atLeast("HEAT", "CAUSE"),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	c.ValidArgsFunction = inOrder(a.completeHeats(), fixed(words[pb.LossCause]()...), nil)
	c.Flags().BoolVar(&weighed, "weighed", false, "the weight was read off a scale")
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, args []string) (r heatAnswer, err error) {
		if req.Cause, err = readWord[pb.LossCause]("cause", args[0]); err != nil {
			return nil, err
		}
		req.Name = name
		weighing, err := weigh.need(args[1:])
		if err != nil {
			return nil, err
		}
		if weighed || weighing.GetScale() != "" || weighing.GetGross() != nil {
			req.Weighing = weighing
		} else {
			req.Amount = weighing.GetNet()
		}
		return send(c.Context(), a, w, cl.Heats.WriteOffMetal, req)
	})
}

package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) heatChargeCommand() *cobra.Command {
	req := &pb.ChargeHeatRequest{}
	c := &cobra.Command{
		Use:   "charge HEAT LOT[=WEIGHT]...",
		Short: "Book lots, whole or in part, into the crucible",
		Long: `Book lots, whole or in part, into the crucible. A lot alone goes in whole; a part is its
weight after =, as read off a scale, or after ~ as estimated, with a number of pieces
if they are counted. What must not go together is asked about before it is recorded.`,
		Example: "  remelt heat charge 41 L1042-3 \"L1050-1=14.62 kg\" \"L1051-7=18 kg 2 pcs\" \"L1060-4~3 kg\" --scale floor",
		Args:    atLeast("HEAT"),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	c.ValidArgsFunction = inOrder(a.completeHeats(), a.completeLots())
	c.Flags().BoolVar(&req.Heel, "heel", false, "also what the last heat left in this heat's crucible")
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, parent string, args []string) (heatAnswer, error) {
		req.Name = name
		if len(args) == 0 && !req.GetHeel() {
			return nil, usagef("name the lots that went in, or --heel")
		}
		for _, typed := range args {
			item, err := readItem(parent, typed, weigh)
			if err != nil {
				return nil, err
			}
			req.Items = append(req.Items, item)
		}
		return send(c.Context(), a, w, cl.Heats.ChargeHeat, req)
	})
}

// readItem reads a lot to be charged as typed: "L7-9", "L7-9=18 kg 2 pcs", "L7-9~3 kg".
func readItem(parent, typed string, weigh *weighingFlags) (*pb.ChargeItem, error) {
	at := strings.IndexAny(typed, "=~")
	if at < 0 {
		return &pb.ChargeItem{Lot: named(parent, "lots", typed)}, nil
	}
	item := &pb.ChargeItem{Lot: named(parent, "lots", typed[:at])}
	weight, pieces, err := readPieces(typed[at+1:])
	if err != nil {
		return nil, err
	}
	item.Pieces = pieces
	if weight == "" {
		return nil, usagef("%q: say the weight after %c", typed, typed[at])
	}
	if typed[at] == '~' {
		item.Mass = mass(weight)
		return item, nil
	}
	if item.Weighing, err = weigh.need([]string{weight}); err != nil {
		return nil, err
	}
	item.Weighing.Pieces = pieces
	return item, nil
}

func (a *app) heatAddCommand() *cobra.Command {
	req := &pb.AddToHeatRequest{}
	c := &cobra.Command{
		Use: "add HEAT SUPPLY AMOUNT", Short: "Book flux, degasser or deoxidiser given to the melt",
		Example: "  remelt heat add 41 borax 200 g\n  remelt heat add 41 degasser 1 pc --purpose degas",
		Args:    atLeast("HEAT", "SUPPLY", "AMOUNT"),
	}
	w := writeFlags(c)
	c.ValidArgsFunction = inOrder(a.completeHeats(), a.completeSupplies(), nil)
	c.Flags().StringVar(&req.Purpose, "purpose", "", "what it is for; what the supply is for unless said")
	noFiles(c, "purpose")
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, parent string, args []string) (r heatAnswer, err error) {
		req.Name, req.Supply = name, named(parent, "supplies", args[0])
		if req.Amount, req.Pieces, err = readAmount(args[1:]); err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Heats.AddToHeat, req)
	})
}

func (a *app) heatTemperatureCommand() *cobra.Command {
	req := &pb.ReadTemperatureRequest{}
	c := &cobra.Command{
		Use: "temperature HEAT TEMPERATURE", Short: "Note a temperature",
		Example: "  remelt heat temperature 41 2050 F --of pour",
		Args:    atLeast("HEAT", "TEMPERATURE"),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&req.What, "of", "", "of what: melt, pour, mold, …")
	complete(c, map[string]completer{"of": fixed("melt", "pour", "mold")})
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, args []string) (heatAnswer, error) {
		req.Name, req.Temperature = name, &pb.Temperature{Text: strings.Join(args, " ")}
		return send(c.Context(), a, w, cl.Heats.ReadTemperature, req)
	})
}

func (a *app) heatSkimCommand() *cobra.Command {
	req := &pb.SkimHeatRequest{}
	var added string
	c := &cobra.Command{
		Use: "skim HEAT WEIGHT", Short: "Book skimmings taken off",
		Long: "Book skimmings taken off. What was added is not metal; of the rest a share is metal\n" +
			"trapped in it, not yet usable, and the oxide holds metal that is gone.",
		Example: "  remelt heat skim 41 1150 g --added \"200 g\" --scale floor",
		Args:    atLeast("HEAT"),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	f := c.Flags()
	f.StringVar(&added, "added", "", "flux and grit that had been added and are in it")
	f.StringVar(&req.TrappedPercent, "trapped", "", "share of the rest that is trapped metal, in per cent; the shop's own unless said")
	f.StringVar(&req.Oxide, "oxide", "", "formula of the oxide, such as CuO; the alloy's unless said")
	f.StringVar(&req.MetalInOxidePercent, "metal-in-oxide", "", "share of metal in the oxide, if the shop reckons with its own")
	f.StringVar(&req.Place, "place", "", "where it is put")
	noFiles(c, "added", "trapped", "oxide", "metal-in-oxide")
	complete(c, map[string]completer{"place": a.completePlaces()})
	return a.changeHeat(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, args []string) (r heatAnswer, err error) {
		req.Name, req.Added = name, mass(added)
		if req.Weighing, err = weigh.need(args); err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Heats.SkimHeat, req)
	})
}

package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) heatFuelCommand() *cobra.Command {
	req := &pb.BurnFuelRequest{}
	c := &cobra.Command{
		Use: "fuel HEAT...", Short: "Note the fuel that a heat burned, or several heats together",
		Long: "Note the fuel that a heat burned. What several heats of a day burned together is\n" +
			"shared by the metal charged to each. A meter may be read before and after instead.",
		Example: "  remelt heat fuel 41 --fuel propane --amount \"14.2 lb\" --price \"0.95 USD/lb\"\n" +
			"  remelt heat fuel 41 42 --fuel \"natural gas\" --before \"1042.7 m3\" --after \"1051.2 m3\"",
		Args:              atLeast("HEAT"),
		ValidArgsFunction: a.completeHeats(),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&req.Fuel, "fuel", "", "which: propane, natural gas, electricity, fuel oil no. 2")
	f.StringVar(&req.Amount, "amount", "", "how much, such as \"14.2 lb\", \"31 kWh\" or \"6.4 m3\"")
	f.StringVar(&req.MeterBefore, "before", "", "or what the meter read before, with its unit")
	f.StringVar(&req.MeterAfter, "after", "", "what it read after")
	f.StringVar(&req.Price, "price", "", "what it cost: a total or a rate")
	noFiles(c, "amount", "before", "after", "price")
	complete(c, map[string]completer{"fuel": fixed("propane", "natural gas", "electricity", "fuel oil no. 2")})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.Heats = parent, nil
		for _, h := range args {
			req.Heats = append(req.Heats, named(parent, "heats", h))
		}
		r, err := send(c.Context(), a, w, cl.Heats.BurnFuel, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			t := newTable("HEAT", "FUEL", ">AMOUNT", ">MJ", ">COST")
			for _, x := range r.GetFuels() {
				t.add(strings.Split(x.GetName(), "/")[3], x.GetFuel(), x.GetAmount(), threeDigits(float64(x.GetEnergyKj())/1e3), x.GetPrice().GetText())
			}
			t.write(p)
		})
	}
	return c
}

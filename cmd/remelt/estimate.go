package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) estimateCommand() *cobra.Command {
	req := &pb.EstimateMetalRequest{}
	var wax, volume string
	c := &cobra.Command{
		Use: "estimate ALLOY", Short: "Reckon the metal a pattern wants, from its wax or its volume",
		Example:           "  remelt estimate C87300 --wax \"310 g\"\n  remelt estimate 356 --volume \"1.2 l\" --allowance 5",
		Args:              atLeast("ALLOY"),
		ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	f := c.Flags()
	f.StringVar(&wax, "wax", "", "the weight of the wax or pattern")
	f.StringVar(&volume, "volume", "", "instead: the volume of the casting")
	f.Float64Var(&req.WaxDensity, "wax-density", 0, "density of the wax or pattern in g/cm³; that of casting wax unless said")
	f.StringVar(&req.AllowancePercent, "allowance", "", "added for what the pattern does not show, in per cent")
	noFiles(c, "wax", "volume", "wax-density", "allowance")
	c.RunE = func(c *cobra.Command, args []string) error {
		if (wax == "") == (volume == "") {
			return usagef("give --wax or --volume")
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.Alloy, req.Wax = parent, strings.Join(args, " "), mass(wax)
		if volume != "" {
			req.Volume = &pb.Volume{Text: volume}
		}
		r, err := cl.Molds.EstimateMetal(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.printf("About %s of metal, without gating.\n%s\n", r.GetMetal().GetText(), r.GetHow())
			p.cautions()
		})
	}
	return c
}

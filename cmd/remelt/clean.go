package main

import (
	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) cleanCommand() *cobra.Command {
	req := &pb.CleanLotRequest{}
	c := &cobra.Command{
		Use:   "clean LOT WEIGHT",
		Short: "Weigh a lot again after cleaning",
		Long: "Weigh a lot again after cleaning. The clean weight takes the place of the dirty one; what\n" +
			"is less was never metal of the lot and goes back to where the lot came from.",
		Example:           "  remelt clean L1042-3 24.79 kg --scale floor --place rack",
		Args:              atLeast("LOT"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	c.Flags().StringVar(&req.Place, "place", "", "where it is put")
	complete(c, map[string]completer{"place": a.completePlaces()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if req.Weighing, err = weigh.need(args[1:]); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "lots", args[0])
		r, err := send(c.Context(), a, w, cl.Lots.CleanLot, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.lotLine(r.GetLot()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

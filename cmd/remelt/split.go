package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) splitCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "split LOT PART...",
		Short: "Take parts out of a lot as lots of their own",
		Long: "Take parts out of a lot as lots of their own. A part is its weight, with a place after @\n" +
			"and a chosen id before = if wanted; quote it when it holds spaces.",
		Example:           "  remelt split L1042-3 \"3.2 kg\" \"5 kg 2 pcs@bin-3\" \"BELL-1=1.1 kg\"",
		Args:              atLeast("LOT", "PART"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req := &pb.SplitLotRequest{Name: named(parent, "lots", args[0])}
		for _, typed := range args[1:] {
			part := &pb.LotPart{}
			rest, place, _ := strings.Cut(typed, "@")
			if id, weight, found := strings.Cut(rest, "="); found {
				part.LotId, rest = id, weight
			}
			if part.Weighing, err = weigh.need([]string{rest}); err != nil {
				return err
			}
			if place != "" {
				part.Place = named(parent, "places", place)
			}
			req.Parts = append(req.Parts, part)
		}
		r, err := send(c.Context(), a, w, cl.Lots.SplitLot, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			for _, l := range r.GetParts() {
				p.lotLine(l)
			}
			p.printf("What is left: ")
			p.lotLine(r.GetLot())
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

func (a *app) workUpCommand() *cobra.Command {
	req := &pb.WorkUpLotRequest{}
	c := &cobra.Command{
		Use:   "work-up LOT WEIGHT",
		Short: "Book skimmings crushed and screened, with the metal that came out",
		Long: "Book skimmings crushed and screened. The metal that came out makes a lot; what was\n" +
			"guessed to be trapped is replaced by it, and the rest was oxide all along.",
		Args:              atLeast("LOT"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	c.Flags().StringVar(&req.Place, "place", "", "where the metal is put")
	complete(c, map[string]completer{"place": a.completePlaces()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if req.Recovered, err = weigh.need(args[1:]); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "lots", args[0])
		r, err := send(c.Context(), a, w, cl.Lots.WorkUpLot, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.lotLine(r.GetRecovered()); p.lotLine(r.GetLot()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

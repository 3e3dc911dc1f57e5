package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) stocktakeCommand() *cobra.Command {
	return group("stocktake", "Walk past the shelves: counts, and what the book said", a.stocktakeCountCommand(), a.stocktakeListCommand(), a.stocktakeShowCommand())
}

func (a *app) stocktakeCountCommand() *cobra.Command {
	var place string
	c := &cobra.Command{
		Use:               "count LOT=WEIGHT...",
		Short:             "Record what was counted, and post the differences from the book",
		Long:              "Record what was counted, and post the differences from the book. A weight of 0 says that\nthe lot is not there.",
		Example:           "  remelt stocktake count \"L1042-3=24.8 kg\" \"L1043-1=0\" --place rack --scale floor",
		Args:              atLeast("LOT=WEIGHT"),
		ValidArgsFunction: inOrder(a.completeLots()),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	c.Flags().StringVar(&place, "place", "", "where it was taken")
	complete(c, map[string]completer{"place": a.completePlaces()})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		take := &pb.Stocktake{Place: place}
		for _, typed := range args {
			lot, weight, found := strings.Cut(typed, "=")
			if !found {
				return usagef("%q: must be a lot and what it weighs, such as \"L1042-3=24.8 kg\"", typed)
			}
			line := &pb.StocktakeLine{Lot: named(parent, "lots", lot)}
			if line.Weighing, err = weigh.need([]string{weight}); err != nil {
				return err
			}
			take.Lines = append(take.Lines, line)
		}
		r, err := send(c.Context(), a, w, cl.Stocktakes.CreateStocktake, &pb.CreateStocktakeRequest{Parent: parent, Stocktake: take})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.stocktake(r.GetStocktake()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (p *page) stocktake(s *pb.Stocktake) {
	p.printf("Stocktake %s", last(s.GetName()))
	if s.GetPlace() != "" {
		p.printf(" at %s", last(s.GetPlace()))
	}
	p.printf("%s, in %s\n", struck(s.GetVoid()), p.mass)
	t := newTable("LOT", ">FOUND", ">BOOK", ">DIFFERENCE")
	for _, l := range s.GetLines() {
		t.add(last(l.GetLot()), p.figure(l.GetFound()), p.figure(l.GetBook()), p.figure(l.GetDifference()))
	}
	t.write(p)
}

func (a *app) stocktakeListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List stocktakes", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			var all []*pb.Stocktake
			err = client.Pages(func(token string) (string, error) {
				r, err := cl.Stocktakes.ListStocktakes(c.Context(), &pb.ListStocktakesRequest{Parent: parent, PageSize: 1000, PageToken: token})
				all = append(all, r.GetStocktakes()...)
				return r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showEach(c.Context(), a, all, func(p *page) {
				if len(all) == 0 {
					p.printf("No stocktakes.\n")
					return
				}
				t := newTable("STOCKTAKE", "PLACE", ">LOTS", "ENTRY")
				for _, s := range all {
					t.add(last(s.GetName())+struck(s.GetVoid()), last(s.GetPlace()), itoa(int64(len(s.GetLines()))), last(s.GetEntry()))
				}
				t.write(p)
			})
		},
	}
}

func (a *app) stocktakeShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show STOCKTAKE", Short: "Show one stocktake", Args: exactly("STOCKTAKE"),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			r, err := cl.Stocktakes.GetStocktake(c.Context(), &pb.GetStocktakeRequest{Name: named(parent, "stocktakes", args[0])})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r.GetStocktake(), func(p *page) { p.stocktake(r.GetStocktake()) })
		},
	}
}

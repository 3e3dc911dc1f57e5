package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) castingCommand() *cobra.Command {
	return group("casting", "Castings: weigh at each stage, ship, break up",
		a.castingWeighCommand(), a.castingListCommand(), a.castingShowCommand(), a.castingBreakUpCommand(), a.castingShipCommand())
}

func (a *app) castingWeighCommand() *cobra.Command {
	req := &pb.WeighCastingRequest{}
	c := &cobra.Command{
		Use:   "weigh STAGE WEIGHT",
		Short: "Put a casting on the scale, for the first time or at a later stage",
		Long: "Put a casting on the scale: as-cast with its gating on, cut-off without it, finished when it\n" +
			"is ground and chased. The first time says which heat it is of, later times which casting.",
		Example: "  remelt casting weigh cut-off 27.41 kg --heat 41 --mold 41-1 --scale floor\n" +
			"  remelt casting weigh finished 26.9 kg --casting 7",
		Args:              atLeast("STAGE"),
		ValidArgsFunction: inOrder(fixed(words[pb.Stage]()...), nil),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	f := c.Flags()
	f.StringVar(&req.Casting, "casting", "", "an existing casting, or a chosen id for a new one")
	f.StringVar(&req.Heat, "heat", "", "the heat of a new one")
	f.StringVar(&req.Mold, "mold", "", "the mold of a new one; its name, customer and commission go for the casting")
	f.StringVar(&req.DisplayName, "name", "", "the name of a new one for people")
	f.StringVar(&req.Customer, "customer", "", "who a new one is for")
	f.StringVar(&req.Commission, "commission", "", "the commission a new one is for")
	noFiles(c, "mold", "name", "commission")
	complete(c, map[string]completer{"casting": a.completeCastings(), "heat": a.completeHeats(), "customer": a.completeParties()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if req.Stage, err = readWord[pb.Stage]("stage", args[0]); err != nil {
			return err
		}
		if req.Weighing, err = weigh.need(args[1:]); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent = parent
		r, err := send(c.Context(), a, w, cl.Castings.WeighCasting, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.casting(r.GetCasting()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (p *page) casting(k *pb.Casting) {
	s := "Casting " + last(k.GetName())
	if k.GetDisplayName() != "" {
		s += ", " + k.GetDisplayName()
	}
	s += ": " + last(k.GetAlloy()) + " of heat " + last(k.GetHeat())
	if k.GetGone() != "" {
		s += ", " + k.GetGone()
	} else {
		s += ", " + word(k.GetStage()) + " " + k.GetMass().GetText()
	}
	if f := castingFor(k); f != "" {
		s += ", for " + f
	}
	p.printf("%s\n", s)
	if len(k.GetWeights()) > 1 {
		for _, at := range k.GetWeights() {
			p.printf("  %-9s %s\n", word(at.GetStage()), at.GetMass().GetText())
		}
	}
}

func castingFor(k *pb.Casting) string {
	return strings.TrimSpace(strings.Join([]string{k.GetCommission(), last(k.GetCustomer())}, " "))
}

func (a *app) castings(ctx context.Context, req *pb.ListCastingsRequest) (all []*pb.Casting, err error) {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return nil, err
	}
	req.Parent, req.PageSize = parent, 1000
	err = client.Pages(func(token string) (string, error) {
		req.PageToken = token
		r, err := cl.Castings.ListCastings(ctx, req)
		all = append(all, r.GetCastings()...)
		return r.GetNextPageToken(), err
	})
	sortByID(all, (*pb.Casting).GetName)
	return all, err
}

func (a *app) castingListCommand() *cobra.Command {
	req := &pb.ListCastingsRequest{}
	c := &cobra.Command{Use: "list", Short: "List castings that are here", Args: cobra.NoArgs}
	f := c.Flags()
	f.StringVar(&req.Heat, "heat", "", "only of this heat")
	f.StringVar(&req.Commission, "commission", "", "only of this commission")
	f.BoolVar(&req.ShowGone, "gone", false, "also castings that are gone")
	noFiles(c, "commission")
	complete(c, map[string]completer{"heat": a.completeHeats()})
	c.RunE = func(c *cobra.Command, _ []string) error {
		all, err := a.castings(c.Context(), req)
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) {
			if len(all) == 0 {
				p.printf("No castings.\n")
				return
			}
			t := newTable("CASTING", "NAME", "HEAT", "ALLOY", "STAGE", ">"+string(p.mass), "FOR", "GONE")
			for _, k := range all {
				t.add(last(k.GetName()), k.GetDisplayName(), last(k.GetHeat()), last(k.GetAlloy()), word(k.GetStage()), p.figure(k.GetMass()), castingFor(k), k.GetGone())
			}
			t.write(p)
		})
	}
	return c
}

func (a *app) castingShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show CASTING", Short: "Show one casting", Args: exactly("CASTING"),
		ValidArgsFunction: inOrder(a.completeCastings(), nil),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			r, err := cl.Castings.GetCasting(c.Context(), &pb.GetCastingRequest{Name: named(parent, "castings", args[0])})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r.GetCasting(), func(p *page) { p.casting(r.GetCasting()) })
		},
	}
}

func (a *app) castingBreakUpCommand() *cobra.Command {
	req := &pb.BreakUpCastingRequest{}
	c := &cobra.Command{
		Use: "break-up CASTING WEIGHT", Short: "Book a casting broken up for remelting",
		Args:              atLeast("CASTING"),
		ValidArgsFunction: inOrder(a.completeCastings(), nil),
	}
	w, weigh := writeFlags(c), a.addWeighingFlags(c)
	c.Flags().StringVar(&req.Place, "place", "", "where the pieces are put")
	complete(c, map[string]completer{"place": a.completePlaces()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if req.Weighing, err = weigh.need(args[1:]); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "castings", args[0])
		r, err := send(c.Context(), a, w, cl.Castings.BreakUpCasting, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.casting(r.GetCasting()); p.lotLine(r.GetLot()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (a *app) castingShipCommand() *cobra.Command {
	req := &pb.ShipCastingRequest{}
	c := &cobra.Command{
		Use: "ship CASTING", Short: "Book a casting out", Args: exactly("CASTING"),
		ValidArgsFunction: inOrder(a.completeCastings(), nil),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&req.To, "to", "", "who it goes to")
	complete(c, map[string]completer{"to": a.completeParties()})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "castings", args[0])
		r, err := send(c.Context(), a, w, cl.Castings.ShipCasting, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.casting(r.GetCasting()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

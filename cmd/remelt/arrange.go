package main

import (
	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) arrangeCommand() *cobra.Command {
	req := &pb.ArrangeHeatsRequest{}
	var pourOff string
	c := &cobra.Command{
		Use: "arrange [HEAT]...", Short: "Group the molds that wait into as few heats as can be",
		Long: `Group the molds of planned heats anew, by alloy, owner, pouring temperature and
crucible: as few heats as can be, and then the least metal melted. All planned heats
unless some are named. It changes nothing; plan the heats as you like them.`,
		Example:           "  remelt arrange\n  remelt arrange 41 42 43 --crucible A60 --cooling 12",
		ValidArgsFunction: inOrder(a.completeHeats()),
	}
	pour := addPourFlags(c, "10 unless said")
	f := c.Flags()
	f.StringArrayVar(&req.Molds, "mold", nil, "only this mold; may be said more than once")
	f.StringArrayVar(&req.Crucibles, "crucible", nil, "a crucible that may be used; may be said more than once; all that are not retired unless said")
	f.StringVar(&req.ChanceShortPercent, "short", "", "greatest chance that the molds of a heat take more than there is, in per cent; 5 unless said")
	f.StringVar(&pourOff, "pour-off", "", "wanted left over of each heat, on the average")
	f.StringVar(&req.FillPercent, "fill", "", "part of a crucible's usable volume that may be filled, in per cent; 100 unless said")
	noFiles(c, "mold", "short", "pour-off", "fill")
	complete(c, map[string]completer{"crucible": a.completePots()})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.PourOff = parent, mass(pourOff)
		for _, h := range args {
			req.Heats = append(req.Heats, named(parent, "heats", h))
		}
		req.PourFrom, req.PourTo, req.HottestTap = degrees(pour.from), degrees(pour.to), degrees(pour.hottest)
		req.LightMolds, req.HeavyMolds, req.CoolingCelsius, req.SecondsPerMold = pour.thin, pour.heavy, pour.cooling, pour.seconds
		r, err := cl.Planning.ArrangeHeats(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.arrangement(r) })
	}
	return c
}

func (p *page) arrangement(r *pb.ArrangeHeatsResponse) {
	p.printf("%s", plural(len(r.GetHeats()), "heat"))
	if r.GetProven() {
		p.printf("; no way with fewer, or with as many and less metal, exists")
	} else {
		p.printf("; a better way may exist")
	}
	p.printf("\n\n")
	for i, h := range r.GetHeats() {
		p.printf("%d. %s", i+1, last(h.GetAlloy()))
		if h.GetOwner() != "" {
			p.printf(" of %s's own metal", last(h.GetOwner()))
		}
		p.printf(" in %s: charge %s for molds of %s", last(h.GetCrucible()), h.GetCharge().GetText(), h.GetMolds().GetText())
		if t := h.GetTap(); t != nil {
			p.printf(", from the furnace at %s or more", t.GetText())
		}
		p.pours("", h.GetPours())
	}
	p.section("Taken for granted", r.GetNotes())
	p.printf("\n")
	p.cautions(r.GetCautions()...)
}

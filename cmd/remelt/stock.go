package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

// asOf are the flags that ask for a past moment by one of the two dates.
type asOf struct{ recorded, happened string }

func addAsOfFlags(c *cobra.Command) *asOf {
	v := &asOf{}
	c.Flags().StringVar(&v.recorded, "as-recorded", "", "as the book stood at this moment; a date alone is the end of that day")
	c.Flags().StringVar(&v.happened, "as-happened", "", "as of what had happened by this moment, as known now")
	noFiles(c, "as-recorded", "as-happened")
	return v
}

func (v *asOf) read(ctx context.Context, a *app) (recorded, happened *timestamppb.Timestamp, err error) {
	if v.recorded != "" && v.happened != "" {
		return nil, nil, usagef("ask --as-recorded or --as-happened, not both at once")
	}
	if recorded, err = a.readTime(ctx, "--as-recorded", v.recorded, dayEnd); err != nil {
		return nil, nil, err
	}
	happened, err = a.readTime(ctx, "--as-happened", v.happened, dayEnd)
	return recorded, happened, err
}

// asked says which past moment figures are of; "" for now.
func (u units) asked(recorded, happened *timestamppb.Timestamp) string {
	switch {
	case recorded != nil:
		return "as the book stood on " + u.showTime(recorded)
	case happened != nil:
		return "as of what had happened by " + u.showTime(happened) + ", as known now"
	}
	return ""
}

func (a *app) stockCommand() *cobra.Command {
	var alloy string
	c := &cobra.Command{
		Use:   "stock",
		Short: "What metal is here, by alloy, now or on a past date",
		Long: `What metal is here, by alloy: usable (clean, of a known alloy, not set apart), what of
it is free, what is to be cleaned or set apart, in skimmings, in crucibles, still in
molds, and in castings.

Every fact has two dates, when it happened and when it was recorded. A past day can
be asked for by either: as the book stood then, or as it was by all that is known now.`,
		Example: "  remelt stock\n  remelt stock --alloy \"silicon bronze\" --as-happened 2026-03-31",
		Args:    cobra.NoArgs,
	}
	c.Flags().StringVar(&alloy, "alloy", "", "only this alloy, by any of its names")
	complete(c, map[string]completer{"alloy": a.completeAlloys()})
	at := addAsOfFlags(c)
	c.RunE = func(c *cobra.Command, _ []string) error {
		s, err := a.stockAt(c.Context(), alloy, at)
		if err != nil {
			return err
		}
		return a.show(c.Context(), s, func(p *page) { p.stock(s) })
	}
	return c
}

func (a *app) stockAt(ctx context.Context, alloy string, at *asOf) (*pb.Stock, error) {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return nil, err
	}
	req := &pb.GetStockRequest{Name: parent + "/stock", Alloy: alloy}
	if req.RecordedTime, req.HappenedTime, err = at.read(ctx, a); err != nil {
		return nil, err
	}
	r, err := cl.Stock.GetStock(ctx, req)
	return r.GetStock(), err
}

func (p *page) stock(s *pb.Stock) {
	title := "Metal in " + string(p.mass)
	if at := p.asked(s.GetRecordedTime(), s.GetHappenedTime()); at != "" {
		title += ", " + at
	}
	p.printf("%s (entry %d)\n\n", title, s.GetSequence())
	if len(s.GetPositions()) == 0 {
		p.printf("No metal.\n")
	} else {
		t := newTable("ALLOY", "OWNER", ">USABLE", ">FREE", ">TO CLEAN", ">SET APART", ">SKIMMINGS", ">IN CRUCIBLE", ">IN MOLDS", ">EXPECTED", ">CASTINGS", ">LOTS")
		row := func(name string, o *pb.Position) {
			t.add(name, last(o.GetOwner()), p.figure(o.GetUsable()), p.figure(o.GetFree()), p.figure(o.GetToClean()), p.figure(o.GetSetApart()),
				p.figure(o.GetSkimmings()), p.figure(o.GetInCrucible()), p.figure(o.GetInMolds()), p.figure(o.GetExpected()), p.figure(o.GetCastings()), count(int64(o.GetLots())))
		}
		for _, o := range s.GetPositions() {
			row(last(o.GetAlloy()), o)
		}
		if len(s.GetPositions()) > 1 {
			row("all", s.GetTotal())
		}
		t.write(p)
		for _, o := range s.GetPositions() {
			if o.GetInMolds().GetMg() < 0 {
				p.printf("%s: more came back from molds than was poured; look for a wrong weighing.\n", last(o.GetAlloy()))
			}
			if below(o) {
				p.printf("%s: below zero on that day; a later entry took metal that was not booked in yet.\n", last(o.GetAlloy()))
			}
		}
		p.printf("\nExpected is what of the metal in molds, and on castings not cut off yet, should come back as gating, by the plans.\n")
	}
	if len(s.GetSupplies()) > 0 {
		p.printf("\n")
		p.supplyTable(s.GetSupplies())
	}
}

func below(o *pb.Position) bool {
	for _, m := range []*pb.Mass{o.GetUsable(), o.GetToClean(), o.GetSetApart(), o.GetSkimmings(), o.GetCastings()} {
		if m.GetMg() < 0 {
			return true
		}
	}
	return false
}

func (p *page) supplyTable(all []*pb.Supply) {
	t := newTable("SUPPLY", "NAME", "FOR", ">ON HAND", "")
	for _, s := range all {
		low := ""
		if s.GetLow() {
			low = "low"
		}
		t.add(last(s.GetName()), s.GetDisplayName(), s.GetPurpose(), onHand(s), low)
	}
	t.write(p)
	for _, s := range all {
		if s.GetCaution() != "" {
			p.printf("%s: %s\n", last(s.GetName()), strings.TrimSpace(s.GetCaution()))
		}
	}
}

func onHand(s *pb.Supply) string {
	if s.GetInPieces() {
		return plural(int(s.GetPiecesOnHand()), "piece")
	}
	return s.GetOnHand().GetText()
}

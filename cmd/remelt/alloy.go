package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) alloyCommand() *cobra.Command {
	return group("alloy", "The alloy table: figures with their sources, limits, and what must not mix",
		a.alloyListCommand(), a.alloyShowCommand(), a.alloyMayMixCommand())
}

func (a *app) alloyListCommand() *cobra.Command {
	req := &pb.ListAlloysRequest{PageSize: 1000}
	c := &cobra.Command{Use: "list", Short: "List alloys", Args: cobra.NoArgs}
	c.Flags().StringVar(&req.Called, "called", "", "only those that are called so")
	c.Flags().BoolVar(&req.Own, "own", false, "only those that the shop itself says something of")
	noFiles(c, "called")
	c.RunE = func(c *cobra.Command, _ []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent = parent
		var all []*pb.Alloy
		err = client.Pages(func(token string) (string, error) {
			req.PageToken = token
			r, err := cl.Alloys.ListAlloys(c.Context(), req)
			all = append(all, r.GetAlloys()...)
			return r.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) {
			if len(all) == 0 {
				p.printf("No alloys.\n")
				return
			}
			t := newTable("ALLOY", "UNS", "FAMILY", "CALLED")
			for _, l := range all {
				t.add(last(l.GetName()), l.GetUns(), l.GetFamily(), strings.Join(l.GetNames(), ", "))
			}
			t.write(p)
		})
	}
	return c
}

func (a *app) alloyShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show ALLOY", Short: "Show one alloy: figures, limits, cautions, with their sources",
		Args:              exactly("ALLOY"),
		ValidArgsFunction: inOrder(a.completeAlloys(), nil),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			r, err := cl.Alloys.GetAlloy(c.Context(), &pb.GetAlloyRequest{Name: named(parent, "alloys", args[0])})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r.GetAlloy(), func(p *page) { p.alloy(r.GetAlloy()) })
		},
	}
}

func (p *page) alloy(l *pb.Alloy) {
	uns := l.GetUns()
	if uns == last(l.GetName()) {
		uns = ""
	}
	p.printf("%s: %s, %s\n", strings.TrimSpace(last(l.GetName())+" "+uns), l.GetKind(), l.GetFamily())
	p.printf("  called %s\n", strings.Join(l.GetNames(), ", "))
	t := newTable("FIGURE", ">VALUE", "UNIT", "USED", "HOW SURE", "SOURCE")
	for _, f := range l.GetFigures() {
		value := fmt.Sprintf("%g", f.GetValue())
		if f.GetHigh() != 0 {
			value += fmt.Sprintf("–%g", f.GetHigh())
		}
		used := ""
		if f.GetUsed() {
			used = "yes"
		}
		sure := word(f.GetProvenance())
		if f.GetSuspect() {
			sure += ", doubted"
		}
		t.add(f.GetProperty(), value, f.GetUnit(), used, sure, strings.TrimSpace(f.GetSource()+" "+f.GetNote()))
	}
	if len(t.rows) > 0 {
		t.write(p)
	}
	for _, s := range l.GetLimitSets() {
		current := ""
		if s.GetCurrent() {
			current = ", used when none is named"
		}
		p.printf("Limits of a %s, %s%s\n", s.GetProduct(), s.GetEdition(), current)
		var of []string
		for _, m := range s.GetLimits() {
			of = append(of, m.GetText())
		}
		p.printf("  %s\n", strings.Join(of, ", "))
		if s.GetNote() != "" {
			p.printf("  %s\n", s.GetNote())
		}
	}
	p.cautions(l.GetCautions()...)
}

func (a *app) alloyMayMixCommand() *cobra.Command {
	return &cobra.Command{
		Use: "may-mix INTO FROM", Short: "Ask whether metal of one alloy may go into a melt of another",
		Long: "Ask whether metal of one alloy may go into a melt of another, with the number behind the\n" +
			"answer. It judges the alloy only, never the safety.",
		Example:           "  remelt alloy may-mix C87300 C83600",
		Args:              exactly("INTO", "FROM"),
		ValidArgsFunction: inOrder(a.completeAlloys(), a.completeAlloys(), nil),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			r, err := cl.Alloys.CheckMix(c.Context(), &pb.CheckMixRequest{Parent: parent, Into: args[0], From: args[1]})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r, func(p *page) { p.mix(r) })
		},
	}
}

func (p *page) mix(r *pb.CheckMixResponse) {
	answer := "may go into"
	if !r.GetOk() {
		answer = "must not go into"
	}
	p.printf("%s %s %s.\n", last(r.GetFrom()), answer, last(r.GetInto()))
	if r.GetWhy() != "" {
		p.printf("%s\n", r.GetWhy())
	}
	for _, m := range []struct {
		what string
		*pb.MixLimit
	}{{"typical metal", r.GetTypical()}, {"metal at its limits", r.GetWorst()}} {
		if m.GetElement() != "" {
			p.printf("  %s: %s at %.4g %% of it reaches the limit of %.4g %% at a share of %.3g %%\n", m.what, m.GetElement(), m.GetContentPercent(), m.GetLimitPercent(), m.GetSharePercent())
		}
	}
	if r.GetLimitSet() != "" {
		p.printf("  reckoned with %s\n", r.GetLimitSet())
	}
	p.cautions()
}

func (a *app) setAlloyCommand() *cobra.Command {
	own := &pb.OwnAlloy{}
	var limits []string
	var from, to string
	c := &cobra.Command{Use: "alloy ID", Short: "An alloy of the shop's own, or more about a built-in one", Args: exactly("ID"),
		Example:           "  remelt set alloy HOUSE-1 --family \"silicon bronze\" --name \"house bronze\" --density 8.36 --limit \"Si=3.5-4.5\" --limit \"Cu=rest\"",
		ValidArgsFunction: inOrder(a.completeAlloys(), nil)}
	w := writeFlags(c)
	f := c.Flags()
	f.StringArrayVar(&own.Names, "name", nil, "a name it is called here; may be said more than once")
	f.StringVar(&own.Family, "family", "", "the family, of an alloy of its own")
	f.Float64Var(&own.Density, "density", 0, "density in g/cm³ at 20 °C")
	f.StringVar(&from, "pour-from", "", "pour from this temperature")
	f.StringVar(&to, "pour-to", "", "pour up to this temperature")
	f.StringArrayVar(&limits, "limit", nil, "a range in per cent: \"Si=3.5-4.5\", \"Fe=-0.2\", \"Mn=0.5-\", \"Cu=rest\"; may be said more than once")
	f.StringVar(&own.Source, "source", "", "where these figures come from")
	noFiles(c, "name", "family", "density", "pour-from", "pour-to", "limit", "source")
	fields := map[string]string{"name": "own.names", "family": "own.family", "density": "own.density", "pour-from": "own.pour_from", "pour-to": "own.pour_to", "limit": "own.limits", "source": "own.source"}
	return a.setThing(c, w, fields, func(c *cobra.Command, cl *client.Client, parent, id, _ string, mask *fieldmaskpb.FieldMask) (_ entryAnswer, err error) {
		if own.Limits, err = readLimits(limits); err != nil {
			return nil, err
		}
		if from != "" {
			own.PourFrom = &pb.Temperature{Text: from}
		}
		if to != "" {
			own.PourTo = &pb.Temperature{Text: to}
		}
		slices.Sort(mask.GetPaths())
		return send(c.Context(), a, w, cl.Alloys.UpdateAlloy, &pb.UpdateAlloyRequest{AllowMissing: true, UpdateMask: mask,
			Alloy: &pb.Alloy{Name: named(parent, "alloys", id), Own: own}})
	})
}

func readLimits(typed []string) ([]*pb.OwnLimit, error) {
	var out []*pb.OwnLimit
	for _, t := range typed {
		element, span, found := strings.Cut(t, "=")
		l := &pb.OwnLimit{Element: strings.TrimSpace(element)}
		low, high, ranged := strings.Cut(strings.TrimSpace(span), "-")
		switch {
		case strings.TrimSpace(span) == "rest":
			l.Remainder = true
		case !found || !ranged || low == "" && high == "":
			return nil, usagef("--limit %q: must be such as \"Si=3.5-4.5\", \"Fe=-0.2\", \"Mn=0.5-\" or \"Cu=rest\"", t)
		default:
			l.MinPercent, l.MaxPercent = strings.TrimSpace(low), strings.TrimSpace(high)
		}
		out = append(out, l)
	}
	return out, nil
}

package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
	"example.org/remelt/server/paper"
)

// metals are the things that hold metal, in the order in which an id alone is
// looked up.
var metals = []string{"lot", "heat", "casting"}

// metalCommand is a command about a lot, a heat or a casting.
func (a *app) metalCommand(c *cobra.Command, run func(c *cobra.Command, cl *client.Client, name string) error) *cobra.Command {
	c.Args = atLeast("ID")
	c.ValidArgsFunction = func(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
		of := map[string]completer{"heat": a.completeHeats(), "casting": a.completeCastings(), "lot": a.completeLots()}
		switch len(args) {
		case 0:
			lots, d := a.completeLots()(c, args, typed)
			for _, kind := range metals {
				if strings.HasPrefix(kind, typed) {
					lots = append(lots, kind)
				}
			}
			return lots, d
		case 1:
			if f := of[args[0]]; f != nil {
				return f(c, args, typed)
			}
		}
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		kind, id := "", args[0]
		if len(args) == 2 {
			if kind, id = args[0], args[1]; !slices.Contains(metals, kind) {
				return usagef("%q: must be lot, heat or casting", kind)
			}
		}
		if len(args) > 2 {
			return usagef("%s is about one thing; the form is: remelt %s", c.Name(), c.Use)
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		name := named(parent, kind+"s", id)
		if kind == "" {
			if name, err = findMetal(c.Context(), cl, parent, id); err != nil {
				return err
			}
		}
		return run(c, cl, name)
	}
	return c
}

// findMetal finds the lot, heat or casting of an id.
func findMetal(ctx context.Context, cl *client.Client, parent, id string) (string, error) {
	if strings.HasPrefix(id, "shops/") {
		return id, nil
	}
	var lost error
	for _, kind := range metals {
		name := named(parent, kind+"s", id)
		var err error
		switch kind {
		case "lot":
			_, err = cl.Lots.GetLot(ctx, &pb.GetLotRequest{Name: name})
			lost = err
		case "heat":
			_, err = cl.Heats.GetHeat(ctx, &pb.GetHeatRequest{Name: name})
		case "casting":
			_, err = cl.Castings.GetCasting(ctx, &pb.GetCastingRequest{Name: name})
		}
		if err == nil || !errors.Is(err, ledger.ErrNotFound) && !errors.Is(err, ledger.ErrInvalid) {
			return name, err
		}
	}
	return "", lost
}

// sourceWord names what metal entered the book by.
func sourceWord(s *pb.MetalSource) string {
	kind, ref, _ := strings.Cut(s.GetAccount(), "/")
	switch kind {
	case "before":
		return "here before the book began"
	case "origin":
		return "not known"
	case "heat":
		return "added to heat " + ref
	case "molds":
		return "more came back of heat " + ref + " than was poured"
	}
	return metalWord(s.GetSubject(), s.GetAccount())
}

// metalWord names a lot, heat or casting by its resource name: "heat 41"; another
// account as it is.
func metalWord(subject, account string) string {
	kind, ref, _ := strings.Cut(account, "/")
	switch {
	case kind == "left":
		return "left the shop: " + ref
	case kind == "molds":
		return "molds of heat " + ref
	case strings.Contains(subject, "/heats/") && kind != "heat":
		return kind + " of heat " + ref
	}
	return kind + " " + ref
}

func (a *app) traceCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "trace [lot|heat|casting] ID", Short: "Where metal came from: suppliers' lots, with fractions",
		Long: `Where the metal of a lot, a heat or a casting came from, through all remelts: by what it
entered the book, with fractions by mass that add up to one, what it came through, and
how often it was melted here.`,
		Example: "  remelt trace L12-8\n  remelt trace heat 41\n  remelt trace casting C7",
	}
	return a.metalCommand(c, func(c *cobra.Command, cl *client.Client, name string) error {
		r, err := cl.Analysis.TraceBack(c.Context(), &pb.TraceBackRequest{Name: name})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.trace(name, r) })
	})
}

func (p *page) trace(name string, r *pb.TraceBackResponse) {
	p.printf("The metal of %s, %s, came from\n\n", metalOf(name), r.GetMass().GetText())
	t := newTable("", "ALLOY", "SUPPLIED BY", "CERTIFICATE", ">%", ">"+strings.ToUpper(string(p.mass)))
	for _, s := range r.GetSources() {
		t.add(sourceWord(s), last(s.GetAlloy()), last(s.GetParty()), s.GetCertificate(), fmt.Sprintf("%.2f", 100*s.GetFraction()), p.figure(s.GetMass()))
	}
	t.write(p)
	var via []string
	for _, v := range r.GetVia() {
		if s := metalWord(v.GetSubject(), v.GetAccount()); strings.HasPrefix(s, "heat ") && v.GetSubject() != name {
			via = append(via, fmt.Sprintf("%s (%.0f %%)", s, 100*v.GetTimes()))
		}
	}
	if len(via) > 0 {
		p.printf("\nIt came through %s.\n", strings.Join(via, ", "))
	}
	p.printf("\nMelted here %.2f times on average", r.GetMeanMelts())
	var times []string
	for n, f := range r.GetMelts() {
		if f >= 0.0005 {
			times = append(times, fmt.Sprintf("%d× %.1f %%", n, 100*f))
		}
	}
	p.printf(": %s.\n", strings.Join(times, ", "))
}

// metalOf names a thing by its resource name: "heat 41".
func metalOf(name string) string {
	parts := strings.Split(name, "/")
	if len(parts) < 4 {
		return name
	}
	return strings.TrimSuffix(parts[2], "s") + " " + parts[3]
}

func (a *app) recallCommand() *cobra.Command {
	req := &pb.TraceForwardRequest{}
	c := &cobra.Command{
		Use: "recall [lot|heat|casting] ID", Short: "What contains metal of a lot, and how much",
		Long: `What contains metal of a lot, a heat or a casting, and how much of it, through all remelts:
lots and castings in the shop, castings that were shipped, and what was lost.`,
		Example: "  remelt recall L4-3\n  remelt recall heat 41",
	}
	c.Flags().BoolVar(&req.ShowPassed, "all", false, "also what only passed it on")
	return a.metalCommand(c, func(c *cobra.Command, cl *client.Client, name string) error {
		req.Name = name
		r, err := cl.Analysis.TraceForward(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.recall(name, r) })
	})
}

func (p *page) recall(name string, r *pb.TraceForwardResponse) {
	p.printf("Of the metal that was in %s, %s,\n\n", metalOf(name), r.GetMass().GetText())
	t := newTable("WHERE", ">HOLDS "+strings.ToUpper(string(p.mass)), ">% OF IT", ">RECEIVED", "WHAT", "CUSTOMER", "AT")
	for _, h := range r.GetHoldings() {
		part := ""
		if h.GetHeld().GetMg() != 0 {
			part = fmt.Sprintf("%.2f", 100*h.GetFraction())
		}
		t.add(metalWord(h.GetSubject(), h.GetAccount()), p.figure(h.GetHeld()), part, p.figure(h.GetReceived()), orElse(h.GetDisplayName(), word(h.GetForm())),
			last(h.GetCustomer()), orElse(h.GetGone(), last(h.GetPlace())))
	}
	t.write(p)
}

func (a *app) contentCommand() *cobra.Command {
	req := &pb.GetContentRequest{}
	c := &cobra.Command{
		Use: "content [lot|heat|casting] ID", Short: "What metal is made of, and the chance that it is outside its alloy's limits",
		Long: `What a lot, a heat or a casting is thought to be made of: certificates and measurements
carried through all heats, with what burns off and what is picked up, each with its
doubt; and the chance that a casting of it is outside the limits of its alloy. It is an
estimate and replaces no analysis.`,
		Example: "  remelt content heat 41\n  remelt content casting C7 --edition \"ASTM B584-14\"",
	}
	c.Flags().StringVar(&req.Edition, "edition", "", "edition of the limits, as quoted; the current one unless said")
	noFiles(c, "edition")
	return a.metalCommand(c, func(c *cobra.Command, cl *client.Client, name string) error {
		req.Name = name + "/content"
		r, err := cl.Analysis.GetContent(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetContent(), func(p *page) { p.content(name, r.GetContent()) })
	})
}

func (p *page) content(name string, v *pb.Content) {
	p.printf("%s, %s: %s\n\n", metalOf(name), last(v.GetAlloy()), v.GetBasis())
	t := newTable("ELEMENT", ">%", ">±")
	for _, e := range v.GetElements() {
		t.add(e.GetSymbol(), fmt.Sprintf("%.3f", e.GetPercent()), fmt.Sprintf("%.3f", e.GetSdPercent()))
	}
	t.write(p)
	if len(v.GetElements()) == 0 {
		p.printf("Nothing is known of what it holds.\n")
	}
	if v.GetLimitSet() == "" {
		p.printf("\nThere are no limits of castings to hold it against.\n")
		return
	}
	p.printf("\nAgainst %s: %s\n", v.GetLimitSet(), paper.Holds(v))
	t = newTable("LIMIT", ">%", ">±", ">CHANCE BELOW", ">ABOVE")
	for _, r := range v.GetRows() {
		if !r.GetKnown() {
			t.add(r.GetLimit().GetText(), "not known")
			continue
		}
		if r.GetLimit().GetRemainder() {
			continue
		}
		t.add(r.GetLimit().GetText(), fmt.Sprintf("%.3f", r.GetPercent()), fmt.Sprintf("%.3f", r.GetSdPercent()), chance(r.GetBelow()), chance(r.GetAbove()))
	}
	t.write(p)
	p.printf("\nOutside with a chance of %.2g to %.2g", v.GetOutsideAtLeast(), v.GetOutsideAtMost())
	if !v.GetComplete() {
		p.printf(", not counting what is not known")
	}
	p.printf(".\n")
}

// holds says how what a lot or a heat holds stands against the limits of its alloy.
func (p *page) holds(v *pb.Content) {
	if says := paper.Holds(v); says != "" {
		p.printf("content: %s\n", says)
	}
}

// contentOf is what a lot or a heat holds; nil when it never held metal.
func contentOf(ctx context.Context, cl *client.Client, name string) (*pb.Content, error) {
	r, err := cl.Analysis.GetContent(ctx, &pb.GetContentRequest{Name: name + "/content"})
	if errors.Is(err, ledger.ErrNotFound) {
		return nil, nil //nolint:nilnil // there is nothing to judge
	}
	return r.GetContent(), err
}

// chance is a chance for people; "" for none to speak of.
func chance(x float64) string {
	if x < 1e-6 {
		return ""
	}
	return fmt.Sprintf("%.2g", x)
}

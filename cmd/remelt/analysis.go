package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

func (a *app) suspectsCommand() *cobra.Command {
	req := &pb.ReconcileWeighingsRequest{}
	var show int32
	c := &cobra.Command{
		Use: "suspects [HEAT]", Short: "Weighings that the rest of the book contradicts",
		Long: `Weighings that the rest of the book contradicts. All weighings of all heats and lots are
held against each other: what went into a heat must come out of it, and a lot's outflow
is the next heat's inflow. Named are the weighings that fit the others least, each with
what the others say it should be. A book without any mistake has a weighing called wrong
in about 5 of 100 cases. A heat called unusual is short of more than such heats lose here:
it lost that much, or one of its weighings is wrong; honest years have such heats too.
With a heat only what has to do with that heat is shown, and its weighings are listed.`,
		Example:           "  remelt suspects\n  remelt suspects 41\n  remelt suspects --weighings 20",
		Args:              cobra.MaximumNArgs(1),
		ValidArgsFunction: inOrder(a.completeHeats(), nil),
	}
	c.Flags().Int32Var(&show, "weighings", 0, "also list so many weighings, those that fit least first")
	noFiles(c, "weighings")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.MaxWeighings = parent, show
		if len(args) == 1 {
			req.Heat = named(parent, "heats", args[0])
		}
		r, err := cl.Analysis.ReconcileWeighings(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.reconciliation(r, req.GetHeat() != "" || show > 0) })
	}
	return c
}

func (p *page) reconciliation(r *pb.ReconcileWeighingsResponse, list bool) {
	if len(r.GetSuspects()) == 0 {
		p.printf("No weighing is contradicted by the others.\n")
	}
	p.suspects(r.GetSuspects())
	if r.GetLevel().GetTests() > 0 {
		p.printf("\nHeld against each other: all weighings up to entry %d, by %s; %s of what was asked for.\n", r.GetSequence(),
			plural(int(r.GetLevel().GetTests()), "test"), plural(int(r.GetWeighingCount()), "weighing"))
		p.printf("All together: chi-square %.4g with %s of freedom, chance %s. A weighing is called wrong beyond %.2f σ.\n", r.GetGlobal().GetStatistic(),
			plural(int(r.GetGlobal().GetDegreesOfFreedom()), "degree"), orElse(chance(r.GetGlobal().GetChance()), "below 0.000001"), r.GetLevel().GetCritical())
		p.printf("A book without a mistake has something called wrong in about %.3g of 100 cases.\n", 100*r.GetFalseCallChance())
	} else {
		p.printf("Nothing can be tested yet: no weighing says anything about another.\n")
	}
	if !list || len(r.GetWeighings()) == 0 {
		return
	}
	p.printf("\nThe weighings, those that fit least first, in %s\n", p.mass)
	t := newTable("WEIGHING", ">ENTRY", ">WEIGHED", ">±", ">ADJUSTED", ">±", ">σ OFF", ">WOULD SEE")
	for _, w := range r.GetWeighings() {
		z := "not tested"
		if w.Z != nil {
			z = fmt.Sprintf("%.1f", w.GetZ())
		}
		entry := orElse(last(w.GetEntry()), "believed")
		t.add(w.GetWhat(), entry, p.figure(w.GetMeasured()), p.figure(w.GetMeasuredStandard()), p.figure(w.GetAdjusted()), p.figure(w.GetAdjustedStandard()),
			z, seen(p, w))
	}
	t.write(p)
	if n := int(r.GetWeighingCount()); n > len(r.GetWeighings()) {
		p.printf("%d more; say how many with --weighings\n", n-len(r.GetWeighings()))
	}
}

// seen is the smallest error of a weighing that would be noticed.
func seen(p *page, w *pb.CheckedWeighing) string {
	if w.GetDetectable() == nil {
		return ""
	}
	return p.figure(w.GetDetectable())
}

func (p *page) suspects(all []*pb.Suspect) {
	for i, s := range all {
		p.printf("%d. %s\n", i+1, p.strong(s.GetSentence()))
		if s.GetUnusual() {
			own := &pb.AlternativeWeighing{Entry: s.GetEntry(), What: s.GetWhat()}
			p.instead("its weighings", append([]*pb.AlternativeWeighing{own}, s.GetAlike()...))
		} else {
			if s.GetEntry() != "" {
				p.printf("   recorded by entry %s\n", last(s.GetEntry()))
			}
			p.instead("exactly as likely", s.GetAlike())
		}
		p.instead("nearly as likely", s.GetNearly())
	}
	if len(all) > 0 {
		p.printf("Weigh again what is still there; a wrong entry is taken back with remelt reverse.\n")
	}
}

// mostInstead is how many other explanations of a contradiction are listed.
const mostInstead = 12

func (p *page) instead(how string, all []*pb.AlternativeWeighing) {
	if len(all) == 0 {
		return
	}
	var out []string
	for i, w := range all {
		if i == mostInstead {
			out = append(out, fmt.Sprintf("%d more", len(all)-i))
			break
		}
		s := w.GetWhat()
		if w.GetEntry() != "" {
			s += " (entry " + last(w.GetEntry()) + ")"
		}
		out = append(out, s)
	}
	p.printf("   %s: %s\n", how, strings.Join(out, "; "))
}

// getBalance reads a heat's balance, without suspects when the book's weighings
// cannot be held against each other.
func getBalance(ctx context.Context, cl *client.Client, req *pb.GetHeatBalanceRequest) (*pb.HeatBalance, error) {
	r, err := cl.Balances.GetHeatBalance(ctx, req)
	var e *ledger.Error
	if req.GetWithSuspects() && errors.As(err, &e) && e.Reason == "NOT_DETERMINED" {
		req.WithSuspects = false
		r, err = cl.Balances.GetHeatBalance(ctx, req)
	}
	return r.GetBalance(), err
}

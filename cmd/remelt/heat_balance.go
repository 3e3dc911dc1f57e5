package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
	"example.org/remelt/server/paper"
)

func (a *app) heatBalanceCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "balance HEAT", Short: "Where a heat's metal went, and how well that is known",
		Long: `Where a heat's metal went. Until everything expected is weighed back or written off the
balance is provisional and its figures can still change. What is unaccounted for, or
still in molds, is shown beside what the scales and the guesses hide: about 95 % of
honest weighings stay within it.`,
		Args:              exactly("HEAT"),
		ValidArgsFunction: inOrder(a.completeHeats(), nil),
	}
	at := addAsOfFlags(c)
	var suspects bool
	c.Flags().BoolVar(&suspects, "suspects", true, "also look for weighings that the rest of the book contradicts")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req := &pb.GetHeatBalanceRequest{Name: named(parent, "heats", args[0]) + "/balance"}
		if req.RecordedTime, req.HappenedTime, err = at.read(c.Context(), a); err != nil {
			return err
		}
		if now := req.GetRecordedTime() == nil && req.GetHappenedTime() == nil; now || c.Flags().Changed("suspects") {
			req.WithSuspects = suspects
		}
		b, err := getBalance(c.Context(), cl, req)
		if err != nil {
			return err
		}
		if h := b.GetHeat(); h != nil && len(h.GetCautions()) == 0 { // they are of the heat as it is now
			now, err := cl.Heats.GetHeat(c.Context(), &pb.GetHeatRequest{Name: h.GetName()})
			if err != nil {
				return err
			}
			h.Cautions = now.GetHeat().GetCautions()
		}
		return a.show(c.Context(), b, func(p *page) { p.balance(b, p.asked(req.GetRecordedTime(), req.GetHappenedTime())) })
	}
	return c
}

func (p *page) balance(b *pb.HeatBalance, asked string) {
	state := "FINAL"
	if b.GetProvisional() {
		state = "PROVISIONAL: figures can still change"
	}
	h := b.GetHeat()
	p.printf("%s\n", p.strong(state))
	p.printf("Heat %s of %s, %s", last(h.GetName()), last(h.GetAlloy()), paper.HeatState(h))
	if asked != "" {
		p.printf(", %s", asked)
	}
	p.printf("\nLast changed by entry %d on %s\n\n", b.GetSequence(), p.showTime(b.GetChangeTime()))
	p.terms(b.GetTerms(), b.GetProvisional())
	p.doubt(b)
	p.suspects(b.GetSuspects())
	if b.GetProvisional() {
		p.section("Waiting for", b.GetWaiting())
	} else {
		p.section("Settled, but still to be done", b.GetWaiting())
	}
	if len(b.GetFlagged()) > 0 {
		p.printf("Flagged\n")
		for _, f := range b.GetFlagged() {
			p.printf("  entry %s\n", last(f.GetEntry()))
			p.flags(f.GetFlags(), f.GetReason())
		}
	}
	p.cautions(h.GetCautions()...)
}

// line is a term of a balance.
type line struct {
	what string
	m    *pb.Mass
	note string
}

// outcome are the places metal can go, in the order a person asks for them.
func outcome(t *pb.Terms) []line {
	lines := []line{{"castings", t.GetCastings(), ""}}
	for _, f := range t.GetReturnsByForm() {
		lines = append(lines, line{"returned " + word(f.GetForm()), f.GetMass(), ""})
	}
	if len(t.GetReturnsByForm()) == 0 {
		lines = append(lines, line{"returned", t.GetReturns(), ""})
	}
	return append(lines,
		line{"pigs", t.GetPigs(), ""},
		line{"swept up", &pb.Mass{Mg: t.GetSpillKept().GetMg() - t.GetSpillToClean().GetMg()}, ""},
		line{"swept up", t.GetSpillToClean(), "to be cleaned"},
		line{"recovered from skimmings", t.GetRecovered(), ""},
		line{"given away", t.GetGiven(), ""},
		line{"heel", t.GetHeel(), "in the crucible for the next heat"},
		line{"trapped in skimmings", t.GetTrapped(), "not yet usable"},
		line{"oxide", t.GetOxide(), "gone"},
		line{"vapour", t.GetVapour(), "gone"},
		line{"spilled", t.GetSpilled(), "gone"},
		line{"kerf", t.GetKerf(), "gone"},
		line{"in crucible", t.GetInCrucible(), ""},
		line{"in molds", t.GetInMolds(), "not weighed back yet"},
		line{"unaccounted", t.GetUnaccounted(), "gone"},
	)
}

// terms prints metal in, and where it went with its share.
func (p *page) terms(t *pb.Terms, soFar bool) {
	in := t.GetMetalIn().GetMg()
	p.printf("Metal in  %s", t.GetMetalIn().GetText())
	if t.GetAdditives().GetMg() != 0 {
		p.printf(" (charged %s, from additions %s)", t.GetCharged().GetText(), t.GetAdditives().GetText())
	}
	p.printf("\n\n")
	out := newTable("WHERE IT WENT", ">"+string(p.mass), ">%", "")
	for _, l := range outcome(t) {
		if l.m.GetMg() == 0 {
			continue
		}
		note := l.note
		if l.m.GetMg() < 0 {
			note = "below zero: more came back than was poured"
		}
		out.add(l.what, p.figure(l.m), share(l.m.GetMg(), in), note)
	}
	out.write(p)
	yield := "Yield"
	if soFar {
		yield = "So far: yield"
	}
	p.printf("\n%s %s, returned %s, gone %s (%s), melt loss %s (%s)\n\n", yield, percent(t.GetYieldPercent()), percent(t.GetReturnedPercent()),
		t.GetGone().GetText(), percent(t.GetGonePercent()), t.GetMeltLoss().GetText(), percent(t.GetMeltLossPercent()))
}

// percent shows a decimal text with one decimal and its sign.
func percent(text string) string {
	ppm, err := unit.ParsePercent(strings.TrimPrefix(text, "-"))
	if v, wrong := strconv.ParseFloat(text, 64); err != nil && wrong == nil { // more than the whole came back
		return strconv.FormatFloat(v, 'f', 1, 64) + " %"
	}
	if err != nil || text == "" {
		return strings.TrimSuffix(strings.TrimSuffix(text, "%"), " ") + " %"
	}
	s := share(ppm, unit.Whole)
	if strings.HasPrefix(text, "-") {
		s = "-" + s
	}
	return s + " %"
}

// doubt says what of a balance no weighing explains, beside what the scales and
// the guesses can hide.
func (p *page) doubt(b *pb.HeatBalance) {
	t, u := b.GetTerms(), b.GetUncertainty()
	open, what := t.GetUnaccounted(), "Unaccounted for"
	if b.GetProvisional() {
		open, what = t.GetInMolds(), "In molds"
	}
	p.printf("%s: %s. The scales and the guesses (%s) hide ± %s.\n", what, open.GetText(), plural(int(u.GetReadings()), "reading"), u.GetExpanded().GetText())
	if b.GetProvisional() {
		return
	}
	size := open.GetMg()
	if size < 0 {
		size = -size
	}
	if size <= u.GetExpanded().GetMg() {
		p.printf("It closes: less is missing than the scales and guesses can see.\n")
		return
	}
	p.printf("That is more than they can hide: metal went somewhere that was not booked, or a weighing is wrong.\n")
	var look []string
	for i, part := range u.GetParts() {
		if i == 3 {
			break
		}
		look = append(look, part.GetWhat()+" (entry "+last(part.GetEntry())+")")
	}
	p.section("Known least well", look)
}

package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/server/paper"
)

func (a *app) lotsCommand() *cobra.Command {
	var alloy, form, condition, place, owner, heat string
	var empty bool
	c := &cobra.Command{
		Use:   "lots",
		Short: "List lots, with what each holds",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			f, err := readWord[pb.Form]("--form", form)
			if err != nil {
				return err
			}
			cond, err := readWord[pb.Condition]("--condition", condition)
			if err != nil {
				return err
			}
			lots, err := a.lots(c.Context(), &pb.ListLotsRequest{Alloy: alloy, Form: f, Condition: cond, Place: place, Owner: owner, Heat: heat, ShowEmpty: empty})
			if err != nil {
				return err
			}
			return showEach(c.Context(), a, lots, func(p *page) { p.lotTable(lots) })
		},
	}
	f := c.Flags()
	f.StringVar(&alloy, "alloy", "", "only of this alloy, by any of its names")
	f.StringVar(&form, "form", "", "only of this form: "+strings.Join(words[pb.Form](), ", "))
	f.StringVar(&condition, "condition", "", "only in this condition: "+strings.Join(words[pb.Condition](), ", "))
	f.StringVar(&place, "place", "", "only at this place")
	f.StringVar(&owner, "owner", "", "only this customer's own metal")
	f.StringVar(&heat, "heat", "", "only with metal of this heat, or perhaps of it")
	f.BoolVar(&empty, "empty", false, "also lots that hold nothing any more")
	complete(c, map[string]completer{"alloy": a.completeAlloys(), "form": fixed(words[pb.Form]()...), "condition": fixed(words[pb.Condition]()...),
		"place": a.completePlaces(), "owner": a.completeParties(), "heat": a.completeHeats()})
	return c
}

// lots reads every page of a list of lots.
func (a *app) lots(ctx context.Context, req *pb.ListLotsRequest) (all []*pb.Lot, err error) {
	c, parent, err := a.begin(ctx)
	if err != nil {
		return nil, err
	}
	req.Parent, req.PageSize = parent, 1000
	err = client.Pages(func(token string) (string, error) {
		req.PageToken = token
		r, err := c.Lots.ListLots(ctx, req)
		all = append(all, r.GetLots()...)
		return r.GetNextPageToken(), err
	})
	sortByID(all, (*pb.Lot).GetName)
	return all, err
}

func (p *page) lotTable(lots []*pb.Lot) {
	if len(lots) == 0 {
		p.printf("No lots.\n")
		return
	}
	t := newTable("LOT", "ALLOY", "FORM", "CONDITION", ">"+string(p.mass), ">FREE", ">PIECES", "PLACE", "OWNER", "OF", "LABEL")
	for _, l := range lots {
		free := ""
		if len(l.GetSpokenFor()) > 0 {
			free = p.figure(l.GetFree())
		}
		t.add(last(l.GetName()), alloyOf(l), word(l.GetForm()), conditionOf(l), p.figure(l.GetMass()), free, count(l.GetPieces()),
			last(l.GetPlace()), last(l.GetOwner()), paper.Origins(l), l.GetLabel())
	}
	t.write(p)
}

// alloyOf is a lot's alloy, with a question mark when it is a guess.
func alloyOf(l *pb.Lot) string {
	if !l.GetAlloySure() && last(l.GetAlloy()) != "unknown" {
		return last(l.GetAlloy()) + "?"
	}
	return last(l.GetAlloy())
}

func conditionOf(l *pb.Lot) string {
	switch {
	case l.GetVoid():
		return "reversed"
	case l.GetForm() == pb.Form_FORM_SKIMMINGS && l.GetCondition() == pb.Condition_CONDITION_TO_BE_CLEANED:
		return "to be worked up"
	case l.GetForm() == pb.Form_FORM_SKIMMINGS && l.GetCondition() == pb.Condition_CONDITION_CLEAN:
		return "worked up"
	}
	return word(l.GetCondition())
}

func (a *app) lotCommand() *cobra.Command {
	return &cobra.Command{
		Use:               "lot LOT",
		Short:             "Show one lot: what it is, holds, and came from",
		Args:              exactly("LOT"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			r, err := cl.Lots.GetLot(c.Context(), &pb.GetLotRequest{Name: named(parent, "lots", args[0])})
			if err != nil {
				return err
			}
			held, err := contentOf(c.Context(), cl, r.GetLot().GetName())
			if err != nil {
				return err
			}
			return a.show(c.Context(), r.GetLot(), func(p *page) {
				p.lot(r.GetLot())
				if r.GetLot().GetForm() != pb.Form_FORM_SKIMMINGS { // of which nothing is cast
					p.holds(held)
				}
			})
		},
	}
}

// lotLine is a lot in one line.
func (p *page) lotLine(l *pb.Lot) {
	s := last(l.GetName()) + ": " + alloyOf(l) + " " + word(l.GetForm()) + ", " + conditionOf(l) + ", " + l.GetMass().GetText()
	if l.GetPieces() > 0 {
		s += ", " + plural(int(l.GetPieces()), "piece")
	}
	if l.GetPlace() != "" {
		s += ", at " + last(l.GetPlace())
	}
	if l.GetOwner() != "" {
		s += ", of " + last(l.GetOwner()) + "'s own metal"
	}
	if o := paper.Origins(l); o != "" {
		s += " (" + o + ")"
	}
	p.printf("Lot %s\n", s)
	if l.GetHeldWhy() != "" {
		p.printf("  set apart: %s\n", l.GetHeldWhy())
	}
}

func (p *page) lot(l *pb.Lot) {
	p.lotLine(l)
	t := newTable("", "")
	row := func(name, value string) {
		if value != "" {
			t.add("  "+name, value)
		}
	}
	row("label", l.GetLabel())
	if l.GetVoid() {
		row("void", "the entry that made it was reversed; it never was")
	} else if l.GetUsable() {
		row("usable", "yes, "+l.GetFree().GetText()+" of it free")
	} else {
		row("usable", "not now")
	}
	for _, s := range l.GetSpokenFor() {
		row("spoken for", s.GetMass().GetText()+" for "+s.GetFor())
	}
	for _, o := range l.GetOrigins() {
		row("from", o.GetAccount()+"  "+o.GetMass().GetText())
	}
	if pr := l.GetPrice(); pr != nil {
		s := pr.GetMoney().GetText()
		if pr.GetTyped() != "" && pr.GetTyped() != s {
			s += " (" + pr.GetTyped() + ")"
		}
		row("paid", s)
	}
	if c := l.GetCertificate(); c != nil {
		row("certificate", strings.TrimSpace(c.GetNumber()+" "+c.GetMethod()))
		var of []string
		for _, e := range c.GetElements() {
			s := e.GetSymbol() + " " + strings.TrimSuffix(e.GetPercent(), " %") + " %"
			if e.GetSdPercent() != "" {
				s += " ± " + strings.TrimSuffix(e.GetSdPercent(), " %")
			}
			of = append(of, s)
		}
		row("holds", strings.Join(of, ", "))
	}
	if s := l.GetSkimmings(); s != nil {
		row("skimmed off", "heat "+last(s.GetHeat())+", "+s.GetNet().GetText()+" in all")
		row("added in it", s.GetAdded().GetText())
		row("trapped metal", s.GetTrapped().GetText())
		row("oxide", s.GetOxide().GetText()+", made of "+s.GetMetalInOxide().GetText()+" of metal that is gone")
	}
	t.write(p)
	p.cautions(l.GetCautions()...)
}

func count(n int64) string {
	if n == 0 {
		return ""
	}
	return itoa(n)
}

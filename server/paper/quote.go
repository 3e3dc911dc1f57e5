package paper

import (
	"cmp"
	"context"
	"strconv"
	"strings"
	"time"

	pb "example.org/remelt/api/remelt/v1"
)

// QuoteSheet makes the paper of one version of a quote. Its first page is for the
// customer: what is cast, the price, what is assumed. The next are for the shop: the
// range, what the price is made of and what it was reckoned from.
func (p *Press) QuoteSheet(ctx context.Context, name string, size Size) (*Document, error) {
	j, err := p.begin(ctx, name, size)
	if err != nil {
		return nil, err
	}
	got, err := p.call.quotes.GetQuote(ctx, &pb.GetQuoteRequest{Name: name})
	if err != nil {
		return nil, err
	}
	q := got.GetQuote()
	of, err := p.call.commissions.GetCommission(ctx, &pb.GetCommissionRequest{Name: parentOf(q.GetName())})
	if err != nil {
		return nil, err
	}
	c := of.GetCommission()
	who := last(c.GetCustomer())
	if who != "" {
		party, err := p.call.parties.GetParty(ctx, &pb.GetPartyRequest{Name: c.GetCustomer()})
		if err != nil {
			return nil, err
		}
		who = cmp.Or(party.GetParty().GetDisplayName(), who)
	}
	return j.print("quote-"+last(q.GetName()), "Quote "+last(q.GetName()), func(s *sheet) {
		j.quoteForCustomer(s, q, c, who)
		s.page()
		quoteForShop(s, q)
	})
}

func (j *job) quoteForCustomer(s *sheet, q *pb.Quote, c *pb.Commission, who string) {
	s.title("Quote "+last(q.GetName()), joined(j.GetDisplayName(), j.printed()))
	if q.GetVoid() {
		s.paragraph("This version was taken back.", 12, true, 1)
	}
	s.fields(4, 12, field{name: "for", value: who}, field{name: "version", value: strconv.FormatInt(q.GetVersion(), 10)},
		field{name: "made on", value: j.day(q.GetQuoteTime())}, field{name: "holds until", value: dayOf(q.GetUntilDay())})
	s.y += 2
	s.paragraph(c.GetDisplayName(), 16, true, 3)
	s.heading("What is cast")
	g := s.grid(8, column{head: "", kind: strong, share: 1.2}, column{head: "alloy"}, column{head: "copies", kind: figure, width: 18}, column{head: "one weighs, gating cut off", share: 1.8})
	g.heads()
	for _, x := range q.GetFigures() {
		name, ok := strings.CutPrefix(x.GetWhat(), copiesOf)
		if !ok {
			continue
		}
		alloy := ""
		for _, p := range c.GetPatterns() {
			if p.GetDisplayName() == name {
				alloy = last(p.GetAlloy())
			}
		}
		g.add(name, alloy, x.GetText(), figureOf(q, "metal of "+name))
	}
	s.y += 6
	s.paragraph(q.GetLikely().GetText(), 24, true, 1)
	s.paragraph("Tax is not in it.", 11, false, 1)
	if c.GetOwnMetal() {
		s.paragraph("The customer's own metal is melted and is not charged.", 11, false, 1)
	}
	if q.GetNote() != "" {
		s.y += 3
		s.paragraph(q.GetNote(), 11, false, 12)
	}
	s.heading("What is assumed")
	s.paragraph("That so many copies are cast of these alloys, and that each weighs what is said above. What turns out otherwise is quoted anew.", 11, false, 3)
	if until := dayOf(q.GetUntilDay()); until != "" {
		s.paragraph("The price holds until "+until+".", 11, false, 1)
	}
}

func quoteForShop(s *sheet, q *pb.Quote) {
	s.paragraph("For the shop", 16, true, 1)
	s.paragraph("Of 100 outcomes a price of "+q.GetLow().GetText()+" is enough in 10, "+q.GetLikely().GetText()+" in 50 and "+q.GetHigh().GetText()+" in 90.", 11, false, 2)
	s.heading("What the price is made of")
	g := s.grid(6, column{head: ""}, column{head: "", kind: figure, width: 50})
	g.heads()
	for _, l := range q.GetLines() {
		if l.GetMoney().GetMinor() != 0 {
			g.add(l.GetWhat(), l.GetMoney().GetText())
		}
	}
	g.total("all", q.GetLikely().GetText())
	s.heading("What it was reckoned from")
	g = s.grid(6, column{head: ""}, column{head: "", share: 1.4})
	g.heads()
	for _, f := range q.GetFigures() {
		g.add(f.GetWhat(), joined(f.GetText(), f.GetSource()))
	}
	s.y += 2
	for _, a := range q.GetAssumptions() {
		s.paragraph(a, 9, false, 3)
	}
}

// copiesOf begins the name of the figure that says how often something is cast.
const copiesOf = "copies of "

func figureOf(q *pb.Quote, what string) string {
	for _, f := range q.GetFigures() {
		if f.GetWhat() == what {
			return f.GetText()
		}
	}
	return ""
}

// dayOf writes a day (2026-12-24) for people.
func dayOf(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.Format("2 Jan 2006")
}

// parentOf is the commission of a quote's name.
func parentOf(name string) string {
	for range 2 {
		name = name[:max(0, len(name)-len(last(name))-1)]
	}
	return name
}

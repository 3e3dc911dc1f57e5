package paper

import (
	"cmp"
	"context"
	"strconv"

	pb "example.org/remelt/api/remelt/v1"
)

// QuoteSheet makes the paper of one version of a quote: the price and its range, what
// it is made of, and what it was reckoned from, for the shop and whoever it shows it to.
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
	of, err := p.call.commissions.GetCommission(ctx, &pb.GetCommissionRequest{Name: parentOf(name)})
	if err != nil {
		return nil, err
	}
	c := of.GetCommission()
	title := "Quote " + last(c.GetName()) + ", version " + strconv.FormatInt(q.GetVersion(), 10)
	return j.print("quote-"+last(c.GetName())+"-"+strconv.FormatInt(q.GetVersion(), 10), title, func(s *sheet) {
		s.title("Quote", joined(j.GetDisplayName(), j.printed()))
		if q.GetVoid() {
			s.paragraph("This version was taken back.", 12, true, 1)
		}
		s.fields(3, 12, field{name: "for", value: last(c.GetCustomer())}, field{name: "version", value: strconv.FormatInt(q.GetVersion(), 10)}, field{name: "made on", value: j.day(q.GetQuoteTime())})
		s.paragraph(c.GetDisplayName(), 16, true, 3)
		g := s.grid(8, column{head: "to be cast", kind: strong, share: 1.4}, column{head: "alloy"}, column{head: "copies", kind: figure, width: 18}, column{head: "each"})
		g.heads()
		for _, x := range c.GetPatterns() {
			g.add(x.GetDisplayName(), last(x.GetAlloy()), strconv.FormatInt(max(x.GetCopies(), 1), 10), cmp.Or(x.GetMetal(), x.GetWax(), x.GetVolume()))
		}
		s.y += 2
		s.paragraph(q.GetLikely().GetText()+", without tax", 20, true, 1)
		s.paragraph("Of a hundred outcomes ten cost less than "+q.GetLow().GetText()+", fifty less than "+q.GetLikely().GetText()+" and ninety less than "+q.GetHigh().GetText()+".", 11, false, 2)
		s.heading("What the price is made of")
		g = s.grid(7, column{head: ""}, column{head: "", kind: figure, width: 50})
		g.heads()
		for _, l := range q.GetLines() {
			g.add(l.GetWhat(), l.GetMoney().GetText())
		}
		g.total("all", q.GetLikely().GetText())
		s.heading("What it was reckoned from")
		g = s.grid(6, column{head: ""}, column{head: "", share: 1})
		g.heads()
		for _, f := range q.GetFigures() {
			g.add(f.GetWhat(), f.GetText())
		}
		s.y += 2
		for _, a := range q.GetAssumptions() {
			s.paragraph(a, 9, false, 3)
		}
		if q.GetNote() != "" {
			s.paragraph(q.GetNote(), 11, false, 8)
		}
		if c.GetOwnMetal() {
			s.paragraph("The customer's own metal is melted and is not charged.", 11, false, 1)
		}
		s.paragraph("Tax is not in it.", 9, false, 1)
	})
}

// parentOf is the commission of a quote's name.
func parentOf(name string) string {
	for range 2 {
		name = name[:max(0, len(name)-len(last(name))-1)]
	}
	return name
}

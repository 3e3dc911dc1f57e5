package paper

import (
	"context"
	"strconv"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
)

// OrderSheet makes the paper that a supplier gets of a purchase order: what is asked
// for, at which price, and by when. What came already is on it too, so that it serves
// at the gate.
func (p *Press) OrderSheet(ctx context.Context, name string, size Size) (*Document, error) {
	j, err := p.begin(ctx, name, size)
	if err != nil {
		return nil, err
	}
	got, err := p.call.orders.GetPurchaseOrder(ctx, &pb.GetPurchaseOrderRequest{Name: name})
	if err != nil {
		return nil, err
	}
	o := got.GetPurchaseOrder()
	party, err := p.call.parties.GetParty(ctx, &pb.GetPartyRequest{Name: o.GetSupplier()})
	if err != nil {
		return nil, err
	}
	supplier := joined(party.GetParty().GetDisplayName(), last(o.GetSupplier()))
	return j.print("order-"+last(name), "Purchase order "+last(name), func(s *sheet) {
		s.title("Purchase order "+last(name), joined(j.GetDisplayName(), orderState(o.GetState()), j.printed()))
		s.fields(3, 12, field{name: "to", value: supplier}, field{name: "ordered on", value: j.day(o.GetOrderTime())}, field{name: "expected by", value: j.day(o.GetExpectedTime())})
		s.heading("What is ordered")
		g := s.grid(8, column{head: "line", kind: figure, width: 12}, column{head: "what", kind: strong, share: 1.4}, column{head: "how much"}, column{head: "price"},
			column{head: "comes to", kind: figure, width: 26}, column{head: "came", kind: figure, width: 22}, column{head: "to come", kind: figure, width: 22})
		g.heads()
		words := "by the weights ordered."
		for i, l := range o.GetLines() {
			if l.GetCost() == nil {
				words = "by the weights ordered, as far as a price is agreed."
			}
			g.add(strconv.Itoa(i+1), ordered(l), j.wanted(l), l.GetPrice(), l.GetPricedCost().GetText(), j.came(l.GetReceived(), l.GetReceivedPieces()), j.came(l.GetMissing(), l.GetMissingPieces()))
		}
		s.y += 2
		if o.GetFreight() != "" {
			s.paragraph("Freight: "+o.GetFreight(), 11, false, 1)
		}
		if all := asked(o.GetPricedCosts()); all != "" {
			s.paragraph("All of it: "+all+", "+words, 12, true, 1)
		}
		if rates := o.GetExchanges(); len(rates) > 0 {
			s.paragraph("In the book of the shop: "+o.GetCost().GetText()+", at "+strings.Join(rates, ", ")+".", 9, false, 2)
		}
		if o.GetNote() != "" {
			s.paragraph(o.GetNote(), 11, false, 12)
		}
		s.paragraph("Metal is paid for by the weight that comes. A certificate of analysis is asked for with each lot.", 9, false, 2)
	})
}

// asked is what an order comes to as the supplier sees it, each currency by itself.
func asked(costs []*pb.Money) string {
	var texts []string
	for _, m := range costs {
		if m.GetMinor() != 0 {
			texts = append(texts, m.GetText())
		}
	}
	return strings.Join(texts, " and ")
}

// orderState is how far an order has come, in words.
func orderState(v pb.PurchaseOrder_State) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(v.String(), "STATE_"), "_", " "))
}

// ordered is what a line asks for.
func ordered(l *pb.PurchaseLine) string {
	if l.GetSupply() != "" {
		return last(l.GetSupply())
	}
	if l.GetForm() == pb.Form_FORM_UNSPECIFIED {
		return last(l.GetAlloy()) + " ingot"
	}
	return last(l.GetAlloy()) + " " + word(l.GetForm())
}

// wanted is how much of it.
func (j *job) wanted(l *pb.PurchaseLine) string {
	if l.GetPieces() == 0 {
		return j.mass(l.GetMass())
	}
	text := strconv.FormatInt(l.GetPieces(), 10) + " pieces"
	if l.GetEach().GetMg() > 0 {
		text += " of about " + j.mass(l.GetEach())
	}
	return text
}

// came is a weight, or a count of what is not weighed; "" for nothing.
func (j *job) came(m *pb.Mass, pieces int64) string {
	switch {
	case m.GetMg() != 0:
		return j.mass(m)
	case pieces != 0:
		return strconv.FormatInt(pieces, 10)
	}
	return ""
}

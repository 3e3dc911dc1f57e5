package main

import (
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) orderListCommand() *cobra.Command {
	var states []string
	req := &pb.ListPurchaseOrdersRequest{}
	c := &cobra.Command{Use: "list", Short: "List orders", Args: cobra.NoArgs, Example: "  remelt order list --state ordered --state some-here"}
	c.Flags().StringArrayVar(&states, "state", nil, "only in this state: "+strings.Join(words[pb.PurchaseOrder_State](), ", ")+"; may be said more than once")
	c.Flags().StringVar(&req.Supplier, "supplier", "", "only of this supplier")
	complete(c, map[string]completer{"state": fixed(words[pb.PurchaseOrder_State]()...), "supplier": a.completeParties()})
	c.RunE = func(c *cobra.Command, _ []string) error {
		for _, typed := range states {
			s, err := readWord[pb.PurchaseOrder_State]("--state", typed)
			if err != nil {
				return err
			}
			req.States = append(req.States, s)
		}
		all, err := a.orders(c.Context(), req)
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) { p.orderTable(all) })
	}
	return c
}

func (a *app) orderShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show ORDER", Short: "Show an order, what came of it and what it cost", Args: exactly("ORDER"), ValidArgsFunction: inOrder(a.completeOrders(), nil),
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			r, err := cl.Purchases.GetPurchaseOrder(c.Context(), &pb.GetPurchaseOrderRequest{Name: named(parent, "purchaseOrders", args[0])})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r.GetPurchaseOrder(), func(p *page) { p.order(r.GetPurchaseOrder()) })
		},
	}
}

// stateOf is how far an order has come, in words.
func stateOf(o *pb.PurchaseOrder) string { return strings.ReplaceAll(word(o.GetState()), "-", " ") }

// showDay writes the day of a moment in the shop's time zone.
func (u units) showDay(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().In(u.zone).Format("2006-01-02")
}

func (p *page) orderTable(all []*pb.PurchaseOrder) {
	if len(all) == 0 {
		p.printf("No orders.\n")
		return
	}
	t := newTable("ORDER", "SUPPLIER", "STATE", "ORDERED", "EXPECTED", "HERE", ">COMES TO", "FOR")
	for _, o := range all {
		var what []string
		for _, l := range o.GetLines() {
			what = append(what, asked(l)+" "+nameOf(l))
		}
		t.add(last(o.GetName()), last(o.GetSupplier()), stateOf(o), p.showDay(o.GetOrderTime()), p.showDay(o.GetExpectedTime()), p.showDay(o.GetHereTime()), costOf(o), strings.Join(what, ", "))
	}
	t.write(p)
}

func costOf(o *pb.PurchaseOrder) string {
	if o.GetCost().GetMinor() == 0 {
		return ""
	}
	return o.GetCost().GetText()
}

func nameOf(l *pb.PurchaseLine) string { return last(l.GetAlloy()) + last(l.GetSupply()) }

// asked is how much a line asks for: "12 pcs of 20 lb".
func asked(l *pb.PurchaseLine) string {
	if l.GetPieces() == 0 {
		return typedOr(l.GetMass())
	}
	s := itoa(l.GetPieces()) + " pcs"
	if l.GetEach() != nil {
		s += " of " + typedOr(l.GetEach())
	}
	return s
}

// typedOr is a mass as it was typed, if it was.
func typedOr(m *pb.Mass) string {
	if m.GetTyped() != "" {
		return m.GetTyped()
	}
	return some(m)
}

// orderLine says in a line how far an order has come.
func (p *page) orderLine(o *pb.PurchaseOrder) {
	p.printf("Order %s of %s: %s", last(o.GetName()), last(o.GetSupplier()), stateOf(o))
	switch o.GetState() {
	case pb.PurchaseOrder_STATE_ORDERED, pb.PurchaseOrder_STATE_SOME_HERE:
		if o.GetExpectedTime() != nil {
			p.printf(", expected %s", p.showDay(o.GetExpectedTime()))
		}
	case pb.PurchaseOrder_STATE_GIVEN_UP:
		if o.GetGiveUpReason() != "" {
			p.printf(": %s", o.GetGiveUpReason())
		}
	}
	p.printf("\n")
}

func (p *page) order(o *pb.PurchaseOrder) {
	p.orderLine(o)
	t := newTable("LINE", "OF", "FORM", ">ORDERED", ">LEAST", "PRICE", ">COMES TO", ">HERE", ">MISSING")
	unpriced := 0
	for i, l := range o.GetLines() {
		if l.GetCost() == nil {
			unpriced++
		}
		here, missing, least := some(l.GetReceived()), some(l.GetMissing()), some(l.GetLeast())
		if l.GetLeastPieces() > 0 {
			least = itoa(l.GetLeastPieces()) + " pcs"
		}
		if l.GetPieces() > 0 {
			here, missing = counted(here, l.GetReceivedPieces()), counted(missing, l.GetMissingPieces())
		}
		t.add(itoa(int64(i+1)), nameOf(l), word(l.GetForm()), asked(l), least, l.GetPrice(), l.GetCost().GetText(), here, missing)
	}
	t.write(p)
	if o.GetFreight() != "" {
		p.printf("Freight %s\n", o.GetFreight())
	}
	if o.GetCost().GetMinor() != 0 {
		p.printf("Comes to %s by the weights ordered", o.GetCost().GetText())
		if unpriced > 0 {
			p.printf(", without %s for which there is no price", plural(unpriced, "line"))
		}
		if o.GetReceivedCost().GetMinor() != 0 {
			p.printf("; what is here cost %s", o.GetReceivedCost().GetText())
		}
		p.printf("\n")
	}
	if o.GetNote() != "" {
		p.printf("Note: %s\n", o.GetNote())
	}
	p.receipts(o, "")
}

func counted(mass string, pieces int64) string {
	if pieces == 0 {
		return mass
	}
	return strings.TrimSpace(mass + " " + itoa(pieces) + " pcs")
}

// receipts lists what came of an order, or only with one entry.
func (p *page) receipts(o *pb.PurchaseOrder, entry string) {
	t := newTable("CAME", "ENTRY", "LINE", "OF", "LOT", ">NET", ">PIECES", ">COST", "")
	for _, r := range o.GetReceipts() {
		if entry != "" && r.GetEntry() != entry {
			continue
		}
		note := ""
		if r.GetVoid() {
			note = "reversed"
		}
		for _, l := range r.GetLines() {
			of := ""
			if i := int(l.GetLine()) - 1; i < len(o.GetLines()) {
				of = nameOf(o.GetLines()[i])
			}
			t.add(p.showDay(r.GetReceiveTime()), last(r.GetEntry()), itoa(int64(l.GetLine())), of, last(l.GetLot()), some(l.GetNet()), count(l.GetPieces()), l.GetCost().GetText(), note)
		}
	}
	if len(t.rows) > 0 {
		t.write(p)
	}
}

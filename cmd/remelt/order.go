package main

import (
	"context"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) orderCommand() *cobra.Command {
	return group("order", "Purchase orders: write, place, receive in parts, give up the rest",
		a.orderWriteCommand(), a.orderChangeCommand(), a.orderPlaceCommand(), a.orderReceiveCommand(), a.orderGiveUpCommand(), a.orderListCommand(), a.orderShowCommand())
}

const orderLines = `A line is said as what it is and how much, with semicolons between:

  --line "C87300; pieces=12; each=20 lb; price=4.85 USD/lb"
  --line "C83600; mass=400 lb; form=bought-scrap; price=1310 USD; least=250 lb"
  --line "supply=borax; mass=50 lb; price=96 USD"
  --line "supply=crucible-60; pieces=2; price=235 USD/pc; least=2 pcs"

mass or pieces says how much, each what a piece weighs, least the least that the supplier
sells. A foreign price has the rate of exchange behind it: "4.10 EUR/kg at 1.0832 USD/EUR".`

// orderFlags are what can be said of an order.
type orderFlags struct {
	order    *pb.PurchaseOrder
	lines    []string
	expected string
}

func (a *app) addOrderFlags(c *cobra.Command) *orderFlags {
	v := &orderFlags{order: &pb.PurchaseOrder{}}
	f := c.Flags()
	f.StringArrayVar(&v.lines, "line", nil, "a line, as above; may be said more than once")
	f.StringVar(&v.order.Freight, "freight", "", "freight for all of it, such as \"42 USD\"")
	f.StringVar(&v.expected, "expected", "", "the day it is expected")
	f.StringVar(&v.order.Note, "note", "", "a note")
	noFiles(c, "line", "freight", "expected", "note")
	return v
}

func (v *orderFlags) read(ctx context.Context, a *app) (err error) {
	for _, typed := range v.lines {
		l, err := readOrderLine(typed)
		if err != nil {
			return err
		}
		v.order.Lines = append(v.order.Lines, l)
	}
	v.order.ExpectedTime, err = a.readTime(ctx, "--expected", v.expected, noon)
	return err
}

// readOrderLine reads a line as typed: "C87300; pieces=12; each=20 lb; price=4.85 USD/lb".
func readOrderLine(typed string) (l *pb.PurchaseLine, err error) {
	l = &pb.PurchaseLine{}
	for i, part := range strings.Split(typed, ";") {
		key, value, found := strings.Cut(strings.TrimSpace(part), "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		switch {
		case key == "" && !found:
		case !found && i == 0:
			l.Alloy = key
		case key == "alloy":
			l.Alloy = value
		case key == "supply":
			l.Supply = value
		case key == "form":
			l.Form, err = readWord[pb.Form]("form", value)
		case key == "mass":
			l.Mass = mass(value)
		case key == "pieces":
			if l.Pieces, err = strconv.ParseInt(value, 10, 64); err != nil {
				err = usagef("line %q: pieces must be a whole number", typed)
			}
		case key == "each":
			l.Each = mass(value)
		case key == "least":
			var rest string
			if rest, l.LeastPieces, err = readPieces(value); rest != "" {
				l.Least = mass(rest)
			}
		case key == "price":
			l.Price = value
		default:
			return nil, usagef("line %q: does not know %q; say alloy or supply, form, mass, pieces, each, least or price", typed, strings.TrimSpace(part))
		}
		if err != nil {
			return nil, err
		}
	}
	return l, nil
}

func (a *app) orderWriteCommand() *cobra.Command {
	req := &pb.CreatePurchaseOrderRequest{}
	c := &cobra.Command{
		Use:               "write SUPPLIER",
		Short:             "Begin an order; it is being written until it is placed",
		Long:              "Begin an order of a supplier. It is being written until it is placed.\n\n" + orderLines,
		Example:           "  remelt order write northmetal --line \"C87300; pieces=12; each=20 lb; price=4.85 USD/lb\" --freight \"42 USD\" --expected 2026-03-20",
		Args:              exactly("SUPPLIER"),
		ValidArgsFunction: inOrder(a.completeParties(), nil),
	}
	w, v := writeFlags(c), a.addOrderFlags(c)
	c.Flags().StringVar(&req.PurchaseOrderId, "order", "", "the new order's id; the next number unless said")
	noFiles(c, "order")
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := v.read(c.Context(), a); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		v.order.Supplier, req.Parent, req.PurchaseOrder = args[0], parent, v.order
		r, err := send(c.Context(), a, w, cl.Purchases.CreatePurchaseOrder, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.order(r.GetPurchaseOrder()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (a *app) orderChangeCommand() *cobra.Command {
	c := &cobra.Command{
		Use:               "change ORDER",
		Short:             "Change an order: all of it while it is being written, then its day and note",
		Long:              "Change an order: all of it while it is being written; once it is placed, only its expected\nday and its note. Lines are replaced together.\n\n" + orderLines,
		Example:           "  remelt order change 7 --expected 2026-03-27",
		Args:              exactly("ORDER"),
		ValidArgsFunction: inOrder(a.completeOrders(), nil),
	}
	w, v := writeFlags(c), a.addOrderFlags(c)
	c.Flags().StringVar(&v.order.Supplier, "supplier", "", "the supplier")
	complete(c, map[string]completer{"supplier": a.completeParties()})
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := v.read(c.Context(), a); err != nil {
			return err
		}
		mask := changed(c, map[string]string{"line": "lines", "freight": "freight", "expected": "expected_time", "note": "note", "supplier": "supplier"})
		if len(mask.GetPaths()) == 0 {
			return usagef("say what is to be changed")
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		v.order.Name = named(parent, "purchaseOrders", args[0])
		r, err := send(c.Context(), a, w, cl.Purchases.UpdatePurchaseOrder, &pb.UpdatePurchaseOrderRequest{PurchaseOrder: v.order, UpdateMask: mask})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.order(r.GetPurchaseOrder()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (a *app) orderPlaceCommand() *cobra.Command {
	var expected string
	c := &cobra.Command{
		Use: "place ORDER", Short: "Say that an order was given to its supplier", Example: "  remelt order place 7 --expected 2026-03-20",
		Args: exactly("ORDER"), ValidArgsFunction: inOrder(a.completeOrders(), nil),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&expected, "expected", "", "the day it is expected; what the order says unless said")
	noFiles(c, "expected")
	c.RunE = func(c *cobra.Command, args []string) error {
		on, err := a.readTime(c.Context(), "--expected", expected, noon)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := send(c.Context(), a, w, cl.Purchases.PlacePurchaseOrder, &pb.PlacePurchaseOrderRequest{Name: named(parent, "purchaseOrders", args[0]), ExpectedTime: on})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.orderLine(r.GetPurchaseOrder()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (a *app) orderGiveUpCommand() *cobra.Command {
	req := &pb.GiveUpPurchaseOrderRequest{}
	c := &cobra.Command{
		Use: "give-up ORDER", Short: "Say that nothing more is expected of an order; what came stays", Example: "  remelt order give-up 7 --why \"sold out\"",
		Args: exactly("ORDER"), ValidArgsFunction: inOrder(a.completeOrders(), nil),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&req.Why, "why", "", "why, to be kept with the order")
	noFiles(c, "why")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "purchaseOrders", args[0])
		r, err := send(c.Context(), a, w, cl.Purchases.GiveUpPurchaseOrder, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.orderLine(r.GetPurchaseOrder()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

// orders reads every page of a list of orders.
func (a *app) orders(ctx context.Context, req *pb.ListPurchaseOrdersRequest) (all []*pb.PurchaseOrder, err error) {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return nil, err
	}
	req.Parent, req.PageSize = parent, 1000
	err = client.Pages(func(token string) (string, error) {
		req.PageToken = token
		r, err := cl.Purchases.ListPurchaseOrders(ctx, req)
		all = append(all, r.GetPurchaseOrders()...)
		return r.GetNextPageToken(), err
	})
	sortByID(all, (*pb.PurchaseOrder).GetName)
	return all, err
}

func (a *app) completeOrders() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Purchases.ListPurchaseOrders(ctx, &pb.ListPurchaseOrdersRequest{Parent: parent, PageSize: 1000})
		for _, o := range r.GetPurchaseOrders() {
			out = append(out, [2]string{o.GetName(), last(o.GetSupplier()) + " " + stateOf(o)})
		}
		return out, err
	})
}

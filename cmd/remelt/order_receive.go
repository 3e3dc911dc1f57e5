package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) orderReceiveCommand() *cobra.Command {
	first := &pb.DeliveredLine{}
	var also []string
	var freight string
	c := &cobra.Command{
		Use:   "receive ORDER WEIGHT",
		Short: "Book in what came of an order, at its real weight",
		Long: `Book in what came of an order, at its real weight. Metal makes lots; what they cost follows
from the order's prices, with their part of the freight, unless the invoice says otherwise:
--price and --freight. What else came with the same
delivery is said with --also, as its line and weight with semicolons between:

  --also "line=2; 50.2 lb; scale=floor"
  --also "line=1; 61.3 lb 3 pcs; place=rack; lot=NEW-2; label=second pallet; price=4.95 USD/lb; last"`,
		Example: "  remelt order receive 7 \"240.6 lb 12 pcs\" --place rack\n" +
			"  remelt order receive 7 240.6 lb 12 pcs --line 1 --also \"line=2; 50.2 lb\"",
		Args:              atLeast("ORDER"),
		ValidArgsFunction: inOrder(a.completeOrders(), nil),
	}
	w, weigh, cert := writeFlags(c), a.addWeighingFlags(c), addCertificateFlags(c)
	f := c.Flags()
	f.Int32Var(&first.Line, "line", 0, "the line of the order, 1 for the first; not needed for an order of one line")
	f.StringArrayVar(&also, "also", nil, "more of the same delivery, as above; may be said more than once")
	f.BoolVar(&first.Last, "last", false, "nothing more comes of this line, whatever it weighs")
	f.BoolVar(&first.Dirty, "dirty", false, "it is still to be cleaned")
	f.StringVar(&first.Place, "place", "", "where it is put")
	f.StringVar(&first.Label, "label", "", "a label for people")
	f.StringVar(&first.LotId, "lot", "", "the new lot's id; the next number unless said")
	f.StringVar(&first.Price, "price", "", "what was invoiced for it, where that differs from the order, such as \"4.95 USD/lb\"")
	f.StringVar(&freight, "freight", "", "freight invoiced with this delivery; its part of the order's unless said")
	noFiles(c, "line", "also", "label", "lot", "price", "freight")
	complete(c, map[string]completer{"place": a.completePlaces()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if first.Weighing, err = deliveredWeight(weigh, strings.Join(args[1:], " ")); err != nil {
			return err
		}
		if first.Certificate, err = cert.read(); err != nil {
			return err
		}
		req := &pb.ReceivePurchaseOrderRequest{Lines: []*pb.DeliveredLine{first}, Freight: freight}
		for _, typed := range also {
			l, err := readDelivered(typed)
			if err != nil {
				return err
			}
			req.Lines = append(req.Lines, l)
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "purchaseOrders", args[0])
		r, err := send(c.Context(), a, w, cl.Purchases.ReceivePurchaseOrder, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.orderLine(r.GetPurchaseOrder())
			p.receipts(r.GetPurchaseOrder(), r.GetEntry().GetName())
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

// deliveredWeight reads a weight, or only a number of pieces: of a supply that is counted.
func deliveredWeight(v *weighingFlags, typed string) (*pb.Weighing, error) {
	fields := strings.Fields(typed)
	if len(fields) == 2 {
		if _, pieces, err := readPieces("0 " + typed); err == nil && pieces > 0 {
			return &pb.Weighing{Pieces: pieces}, nil
		}
	}
	return v.need(fields)
}

// readDelivered reads more of a delivery as typed: "line=2; 50.2 lb; place=rack; last".
func readDelivered(typed string) (l *pb.DeliveredLine, err error) {
	l = &pb.DeliveredLine{}
	var weigh weighingFlags
	weight := ""
	for _, part := range strings.Split(typed, ";") {
		key, value, found := strings.Cut(strings.TrimSpace(part), "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		switch {
		case key == "" && !found:
		case key == "last" && !found:
			l.Last = true
		case key == "dirty" && !found:
			l.Dirty = true
		case !found && weight == "":
			weight = key
		case key == "line":
			n, err := strconv.ParseInt(value, 10, 32)
			if err != nil {
				return nil, usagef("--also %q: line must be a whole number", typed)
			}
			l.Line = int32(n)
		case key == "lot":
			l.LotId = value
		case key == "place":
			l.Place = value
		case key == "label":
			l.Label = value
		case key == "certificate":
			l.Certificate = &pb.Certificate{Number: value}
		case key == "price":
			l.Price = value
		case key == "scale":
			weigh.scale = value
		default:
			return nil, usagef("--also %q: does not know %q; say the weight, line, lot, place, label, certificate, price, scale, dirty or last", typed, strings.TrimSpace(part))
		}
	}
	l.Weighing, err = deliveredWeight(&weigh, weight)
	return l, err
}

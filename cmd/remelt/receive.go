package main

import (
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
)

func (a *app) receiveCommand() *cobra.Command {
	req := &pb.ReceiveLotRequest{}
	var form string
	c := &cobra.Command{
		Use:   "receive WEIGHT",
		Short: "Book metal in: bought, a customer's own, or what was here already",
		Example: "  remelt receive \"50.3 lb 3 pcs\" --alloy C87300 --supplier northmetal --place rack --price \"4.85 USD/lb\"\n" +
			"  remelt receive 12 kg --alloy 356 --customer iris --certificate H2231 --analysis \"Si=7.1 Mg=0.35\"\n" +
			"  remelt receive 40 kg --alloy C87300 --form gating --here-already",
	}
	w, weigh, cert := writeFlags(c), a.addWeighingFlags(c), addCertificateFlags(c)
	f := c.Flags()
	f.StringVar(&req.Alloy, "alloy", "", "the alloy, by any of its names, or \"unknown\": then it is set apart")
	f.StringVar(&req.Supplier, "supplier", "", "who it was bought from")
	f.StringVar(&req.Customer, "customer", "", "instead: the customer whose own metal it is and stays")
	f.BoolVar(&req.HereAlready, "here-already", false, "instead: it was here before the book began, and nobody is named")
	f.StringVar(&form, "form", "", "ingot unless said: "+strings.Join(words[pb.Form](), ", "))
	f.BoolVar(&req.Dirty, "dirty", false, "it is still to be cleaned")
	f.StringVar(&req.Place, "place", "", "where it is put")
	f.StringVar(&req.Label, "label", "", "a label for people")
	f.StringVar(&req.LotId, "lot", "", "the new lot's id; the next number unless said")
	f.StringVar(&req.Price, "price", "", "what was paid: a total \"310.00 USD\" or a rate \"4.85 USD/lb\"; foreign: \"4.10 EUR/kg at 1.0832 USD/EUR\"")
	noFiles(c, "label", "lot", "price")
	complete(c, map[string]completer{"alloy": a.completeAlloys(), "supplier": a.completeParties(), "customer": a.completeParties(),
		"form": fixed(words[pb.Form]()...), "place": a.completePlaces()})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if req.Weighing, err = weigh.need(args); err != nil {
			return err
		}
		if req.Form, err = readWord[pb.Form]("--form", form); err != nil {
			return err
		}
		if req.Certificate, err = cert.read(); err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent = parent
		r, err := send(c.Context(), a, w, cl.Lots.ReceiveLot, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.lotLine(r.GetLot()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

package main

import (
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

// lotAnswer is the answer of a write that leaves one lot.
type lotAnswer interface {
	proto.Message
	GetLot() *pb.Lot
	GetEntry() *pb.Entry
}

// changeLot finishes a command that changes one lot: do sends the request.
func (a *app) changeLot(c *cobra.Command, w *write, do func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error)) *cobra.Command {
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := do(c, cl, parent, args)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.lotLine(r.GetLot()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (a *app) holdCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "hold LOT WHY", Short: "Set a lot apart until it is released",
		Example:           "  remelt hold L1042-3 \"smells of zinc\"",
		Args:              atLeast("LOT", "WHY"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
	}
	w := writeFlags(c)
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error) {
		return send(c.Context(), a, w, cl.Lots.HoldLot, &pb.HoldLotRequest{Name: named(parent, "lots", args[0]), Why: strings.Join(args[1:], " ")})
	})
}

func (a *app) releaseCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "release LOT", Short: "Free a lot that was set apart",
		Args:              exactly("LOT"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
	}
	w := writeFlags(c)
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error) {
		return send(c.Context(), a, w, cl.Lots.ReleaseLot, &pb.ReleaseLotRequest{Name: named(parent, "lots", args[0])})
	})
}

func (a *app) moveCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "move LOT PLACE", Short: "Say where a lot is now",
		Args:              exactly("LOT", "PLACE"),
		ValidArgsFunction: inOrder(a.completeLots(), a.completePlaces(), nil),
	}
	w := writeFlags(c)
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error) {
		return send(c.Context(), a, w, cl.Lots.MoveLot, &pb.MoveLotRequest{Name: named(parent, "lots", args[0]), Place: named(parent, "places", args[1])})
	})
}

func (a *app) assignCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "assign LOT HEAT[=SHARE]...", Short: "Settle which heats a lot's metal is of",
		Long:              "Settle which heats a lot's metal is of, when that was not known or two were in one bin.\nSeveral heats need shares that add up to 100.",
		Example:           "  remelt assign L1042-3 41\n  remelt assign L1042-3 41=60 42=40",
		Args:              atLeast("LOT", "HEAT"),
		ValidArgsFunction: inOrder(a.completeLots(), a.completeHeats()),
	}
	w := writeFlags(c)
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error) {
		shares, err := readShares(parent, args[1:])
		if err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Lots.AssignLot, &pb.AssignLotRequest{Name: named(parent, "lots", args[0]), Heats: shares})
	})
}

func (a *app) identifyCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "identify LOT ALLOY", Short: "Say what alloy a lot is, or what an assay found",
		Example:           "  remelt identify L1042-3 C87300 --method xrf --analysis \"Si=3.9±0.1 Mn=1.0\"",
		Args:              atLeast("LOT", "ALLOY"),
		ValidArgsFunction: inOrder(a.completeLots(), a.completeAlloys(), nil),
	}
	w, cert := writeFlags(c), addCertificateFlags(c)
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error) {
		certificate, err := cert.read()
		if err != nil {
			return nil, err
		}
		return send(c.Context(), a, w, cl.Lots.IdentifyLot, &pb.IdentifyLotRequest{Name: named(parent, "lots", args[0]),
			Alloy: strings.Join(args[1:], " "), Certificate: certificate})
	})
}

func (a *app) speakForCommand() *cobra.Command {
	var free bool
	c := &cobra.Command{
		Use: "speak-for LOT FOR [WEIGHT]", Short: "Promise metal of a lot to a heat or a commission",
		Example:           "  remelt speak-for L1042-3 \"heat 44\" 12 kg\n  remelt speak-for L1042-3 \"heat 44\" --free",
		Args:              atLeast("LOT", "FOR"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
	}
	w := writeFlags(c)
	c.Flags().BoolVar(&free, "free", false, "take the promise back")
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error) {
		m := mass(strings.Join(args[2:], " "))
		if free == (m != nil) {
			return nil, usagef("say how much is promised, or --free to take the promise back")
		}
		return send(c.Context(), a, w, cl.Lots.SpeakFor, &pb.SpeakForRequest{Name: named(parent, "lots", args[0]), For: args[1], Mass: m})
	})
}

func (a *app) removeCommand() *cobra.Command {
	req := &pb.RemoveLotRequest{}
	var how string
	c := &cobra.Command{
		Use: "remove LOT [WEIGHT]", Short: "Book metal out: sold, shipped, scrapped, given back",
		Long:              "Book metal out: the whole lot, or a part of it by its weight, and how many pieces that is.",
		Example:           "  remelt remove L1042-3 --how sold --to scrapyard --for \"2.10 USD/lb\"\n  remelt remove L1042-3 5 kg 1 pc --how sold",
		Args:              atLeast("LOT"),
		ValidArgsFunction: inOrder(a.completeLots(), nil),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&how, "how", "", "how it leaves: "+strings.Join(words[pb.Removal](), ", "))
	f.StringVar(&req.To, "to", "", "who has it now")
	f.StringVar(&req.For, "for", "", "what was got for it: a total or a rate; foreign: \"2.10 EUR/kg at 1.0832 USD/EUR\"")
	noFiles(c, "for")
	complete(c, map[string]completer{"how": fixed(words[pb.Removal]()...), "to": a.completeParties()})
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (r lotAnswer, err error) {
		if req.How, err = readWord[pb.Removal]("--how", how); err != nil {
			return nil, err
		}
		if req.How == 0 {
			return nil, usagef("say --how it leaves: %s", strings.Join(words[pb.Removal](), ", "))
		}
		weight, pieces, err := readPieces(strings.Join(args[1:], " "))
		if err != nil {
			return nil, err
		}
		req.Name, req.Mass, req.Pieces = named(parent, "lots", args[0]), mass(weight), pieces
		return send(c.Context(), a, w, cl.Lots.RemoveLot, req)
	})
}

func (a *app) combineCommand() *cobra.Command {
	req := &pb.CombineLotsRequest{}
	c := &cobra.Command{
		Use: "combine LOT LOT...", Short: "Put lots together",
		Args:              atLeast("LOT"),
		ValidArgsFunction: inOrder(a.completeLots()),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&req.Into, "into", "", "the lot they are put into; a new one unless said")
	f.StringVar(&req.Place, "place", "", "where it is put")
	f.StringVar(&req.Label, "label", "", "a label for people")
	noFiles(c, "label")
	complete(c, map[string]completer{"into": a.completeLots(), "place": a.completePlaces()})
	return a.changeLot(c, w, func(c *cobra.Command, cl *client.Client, parent string, args []string) (lotAnswer, error) {
		req.Parent = parent
		for _, lot := range args {
			req.Lots = append(req.Lots, named(parent, "lots", lot))
		}
		return send(c.Context(), a, w, cl.Lots.CombineLots, req)
	})
}

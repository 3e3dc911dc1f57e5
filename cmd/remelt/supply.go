package main

import (
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) supplyCommand() *cobra.Command {
	return group("supply", "Flux, degasser, deoxidiser, crucibles: what is used up",
		a.supplyReceiveCommand(), a.supplyUseCommand(), a.supplyCountCommand(), a.supplyListCommand())
}

type supplyAnswer interface {
	proto.Message
	GetSupply() *pb.Supply
	GetEntry() *pb.Entry
}

// supplyMove finishes a command that moves an amount of a supply.
func (a *app) supplyMove(c *cobra.Command, w *write, do func(c *cobra.Command, cl *client.Client, name, parent string, amount *pb.Mass, pieces int64) (supplyAnswer, error)) *cobra.Command {
	c.Args = atLeast("SUPPLY", "AMOUNT")
	c.ValidArgsFunction = inOrder(a.completeSupplies(), nil)
	c.RunE = func(c *cobra.Command, args []string) error {
		amount, pieces, err := readAmount(args[1:])
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := do(c, cl, named(parent, "supplies", args[0]), parent, amount, pieces)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			s := r.GetSupply()
			p.printf("%s: %s on hand\n", s.GetDisplayName(), onHand(s))
			if s.GetLow() {
				p.printf("  low: time to order\n")
			}
			if s.GetCaution() != "" {
				p.printf("  mind: %s\n", strings.TrimSpace(s.GetCaution()))
			}
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

func (a *app) supplyReceiveCommand() *cobra.Command {
	req := &pb.ReceiveSupplyRequest{}
	c := &cobra.Command{
		Use: "receive SUPPLY AMOUNT", Short: "Book supplies in",
		Example: "  remelt supply receive borax 5 lb --supplier kilnworks --price \"31.00 USD\"\n  remelt supply receive degasser 12 pcs",
	}
	w := writeFlags(c)
	c.Flags().StringVar(&req.Supplier, "supplier", "", "who it came from")
	c.Flags().StringVar(&req.Price, "price", "", "what was paid: a total or a rate; foreign: \"31.00 EUR at 1.0832 USD/EUR\"")
	noFiles(c, "price")
	complete(c, map[string]completer{"supplier": a.completeParties()})
	return a.supplyMove(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, amount *pb.Mass, pieces int64) (supplyAnswer, error) {
		req.Name, req.Amount, req.Pieces = name, amount, pieces
		return send(c.Context(), a, w, cl.Supplies.ReceiveSupply, req)
	})
}

func (a *app) supplyUseCommand() *cobra.Command {
	req := &pb.UseSupplyRequest{}
	c := &cobra.Command{Use: "use SUPPLY AMOUNT", Short: "Book supplies used up outside a heat", Example: "  remelt supply use a60-crucible 1 pc --for \"cracked\""}
	w := writeFlags(c)
	c.Flags().StringVar(&req.For, "for", "", "what it was used for")
	noFiles(c, "for")
	return a.supplyMove(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, amount *pb.Mass, pieces int64) (supplyAnswer, error) {
		req.Name, req.Amount, req.Pieces = name, amount, pieces
		return send(c.Context(), a, w, cl.Supplies.UseSupply, req)
	})
}

func (a *app) supplyCountCommand() *cobra.Command {
	c := &cobra.Command{Use: "count SUPPLY AMOUNT", Short: "Set the stock to what was counted", Example: "  remelt supply count borax 1.5 kg"}
	w := writeFlags(c)
	return a.supplyMove(c, w, func(c *cobra.Command, cl *client.Client, name, _ string, amount *pb.Mass, pieces int64) (supplyAnswer, error) {
		return send(c.Context(), a, w, cl.Supplies.CountSupply, &pb.CountSupplyRequest{Name: name, Amount: amount, Pieces: pieces})
	})
}

func (a *app) supplyListCommand() *cobra.Command {
	return &cobra.Command{
		Use: "list", Short: "List supplies, with what is on hand", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			var all []*pb.Supply
			err = client.Pages(func(token string) (string, error) {
				r, err := cl.Supplies.ListSupplies(c.Context(), &pb.ListSuppliesRequest{Parent: parent, PageSize: 1000, PageToken: token})
				all = append(all, r.GetSupplies()...)
				return r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showEach(c.Context(), a, all, func(p *page) {
				if len(all) == 0 {
					p.printf("No supplies.\n")
					return
				}
				p.supplyTable(all)
			})
		},
	}
}

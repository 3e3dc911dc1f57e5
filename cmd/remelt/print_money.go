package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"example.org/remelt/client"
	"example.org/remelt/server/paper"
)

func (a *app) printOrderCommand() *cobra.Command {
	return a.printNamed("order ORDER", "A purchase order, for its supplier and for the gate", "  remelt print order P1 --paper A4", a.completeOrders(),
		func(ctx context.Context, p *paper.Press, parent string, args []string, size paper.Size) (*paper.Document, error) {
			return p.OrderSheet(ctx, named(parent, "purchaseOrders", args[0]), size)
		})
}

func (a *app) printQuoteCommand() *cobra.Command {
	return a.printNamed("quote COMMISSION QUOTE", "A quote, by its id or version: a page for the customer, then what the price is made of for the shop", "  remelt print quote otters 2\n  remelt print quote otters otters-2", a.completeCommissions(),
		func(ctx context.Context, p *paper.Press, parent string, args []string, size paper.Size) (*paper.Document, error) {
			return p.QuoteSheet(ctx, named(parent, "commissions", args[0])+"/quotes/"+args[1], size)
		})
}

// printNamed is a command that prints the sheet of something that has a name.
func (a *app) printNamed(use, short, example string, complete completer, draw func(context.Context, *paper.Press, string, []string, paper.Size) (*paper.Document, error)) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, Example: example, ValidArgsFunction: inOrder(complete, nil)}
	c.Args = exactly(strings.Fields(use)[1:]...)
	v := addPrintFlags(c)
	v.addPaperFlag(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		size, err := v.paper()
		if err != nil {
			return client.FromStatus(err)
		}
		return a.print(c.Context(), v, func(p *paper.Press, parent string) (*paper.Document, error) {
			return draw(c.Context(), p, parent, args, size)
		})
	}
	return c
}

package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) quoteCommand() *cobra.Command {
	return group("quote", "What a commission will cost, before it is cast", a.quoteMakeCommand(), a.quoteShowCommand(), a.quoteListCommand())
}

func (a *app) quoteMakeCommand() *cobra.Command {
	req := &pb.MakeQuoteRequest{}
	var prices, hours, bought []string
	c := &cobra.Command{
		Use: "make COMMISSION", Short: "Reckon a quote and keep it as the next version",
		Long: "Reckon a quote and keep it as the next version: the price that is enough in 10, 50 and 90 of 100\n" +
			"outcomes, and the middle one by cause. Metal, loss, fuel and the chance of failing are taken from\n" +
			"the shop's past unless said; what an hour costs, overhead and margin from its rates. Tax is not in it.\n" + rangeHelp,
		Example: "  remelt quote make otters --hours \"molding=10..14..22 h\" --hours \"chasing=16..20..30 h\" --price \"C87300=4.40..4.85..5.60 USD/lb\" --bought \"welding rod=20..40 USD\"\n" +
			"  remelt quote make otters --hours \"molding=14 h\" --dry-run",
		Args: exactly("COMMISSION"), ValidArgsFunction: inOrder(a.completeCommissions(), nil),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringArrayVar(&hours, "hours", nil, "hours of work for the whole commission, KIND=HOURS; may be repeated")
	f.StringArrayVar(&prices, "price", nil, "what metal costs, ALLOY=PRICE; by stock, offers and market unless said; may be repeated")
	f.StringArrayVar(&bought, "bought", nil, "what will be bought in, WHAT=PRICE; may be repeated")
	f.StringVar(&req.MarginPercent, "margin", "", "margin, in per cent of the price; that of the rates unless said")
	f.Int64Var(&req.Seed, "seed", 0, "seed of the simulation; 1 unless said")
	f.StringVar(&req.UntilDay, "until", "", "the last day on which it holds, such as 2026-12-24")
	f.StringVar(&req.Note, "note", "", "anything else, for the customer")
	noFiles(c, "hours", "price", "bought", "margin", "seed", "until", "note")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		for _, x := range []struct {
			flag string
			all  []string
			to   *[]*pb.NamedFigure
		}{{"--hours", hours, &req.Hours}, {"--price", prices, &req.Prices}, {"--bought", bought, &req.BoughtIn}} {
			*x.to = nil
			for _, one := range x.all {
				what, figure, ok := strings.Cut(one, "=")
				if what = strings.TrimSpace(what); !ok || what == "" {
					return usagef("%s %q: write NAME=FIGURE", x.flag, one)
				}
				*x.to = append(*x.to, &pb.NamedFigure{What: what, Figure: strings.TrimSpace(figure)})
			}
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent = named(parent, "commissions", args[0])
		r, err := send(c.Context(), a, w, cl.Quotes.MakeQuote, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.quote(r.GetQuote(), false); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (p *page) quote(q *pb.Quote, figures bool) {
	p.printf("Quote %s of %s, version %d", last(q.GetName()), strings.Split(q.GetName(), "/")[3], q.GetVersion())
	if q.GetVoid() {
		p.printf(", taken back")
	}
	p.printf("\n  %s is enough in 10 of 100 outcomes\n  %s\n  %s in 90; %s on the average\n",
		q.GetLow().GetText(), p.strong(q.GetLikely().GetText()+" in 50"), q.GetHigh().GetText(), q.GetAverage().GetText())
	p.printf("Without tax, which is yours to add.\n\n")
	t := newTable("OF THE LIKELY PRICE", ">"+q.GetLikely().GetCurrency())
	for _, l := range q.GetLines() {
		if l.GetMoney().GetMinor() != 0 {
			t.add(l.GetWhat(), amount(l.GetMoney()))
		}
	}
	t.add("price", amount(q.GetLikely()))
	t.write(p)
	if figures {
		p.printf("\n")
		t = newTable("RECKONED FROM", "")
		for _, f := range q.GetFigures() {
			text := f.GetText()
			if f.GetSource() != "" {
				text += ", " + f.GetSource()
			}
			t.add(f.GetWhat(), text)
		}
		t.write(p)
	}
	p.printf("\n")
	p.section("Assumed:", q.GetAssumptions())
	if q.GetUntilDay() != "" {
		p.printf("It holds until %s.\n", q.GetUntilDay())
	}
	if q.GetNote() != "" {
		p.printf("%s\n", q.GetNote())
	}
}

func (a *app) quoteShowCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "show COMMISSION [QUOTE]", Short: "Show the last version of a quote, or the one of this id or version, with all it was reckoned from",
		Example: "  remelt quote show otters\n  remelt quote show otters 1",
		Args:    atLeast("COMMISSION"), ValidArgsFunction: inOrder(a.completeCommissions(), nil),
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) > 2 {
			return usagef("one quote, not %d; the form is: %s", len(args)-1, useLine(c))
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		of := named(parent, "commissions", args[0])
		name := ""
		if len(args) == 2 {
			name = of + "/quotes/" + args[1]
		} else {
			r, err := cl.Quotes.ListQuotes(c.Context(), &pb.ListQuotesRequest{Parent: of, PageSize: 1000})
			if err != nil {
				return err
			}
			version := int64(0)
			for _, q := range r.GetQuotes() {
				if !q.GetVoid() && q.GetVersion() > version {
					name, version = q.GetName(), q.GetVersion()
				}
			}
			if name == "" {
				return usagef("%s has no quote yet; make one with: remelt quote make %s", args[0], args[0])
			}
		}
		r, err := cl.Quotes.GetQuote(c.Context(), &pb.GetQuoteRequest{Name: name})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetQuote(), func(p *page) { p.quote(r.GetQuote(), true) })
	}
	return c
}

func (a *app) quoteListCommand() *cobra.Command {
	c := &cobra.Command{Use: "list COMMISSION", Short: "List the versions of a quote", Args: exactly("COMMISSION"), ValidArgsFunction: inOrder(a.completeCommissions(), nil)}
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		all, err := quotesOf(c.Context(), cl, named(parent, "commissions", args[0]))
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) {
			if len(all) == 0 {
				p.printf("No quotes.\n")
				return
			}
			t := newTable("QUOTE", ">VERSION", "MADE", ">LOW", ">LIKELY", ">HIGH", "")
			for _, q := range all {
				t.add(last(q.GetName()), itoa(q.GetVersion()), p.showTime(q.GetQuoteTime()), q.GetLow().GetText(), q.GetLikely().GetText(), q.GetHigh().GetText(), takenBack(q.GetVoid()))
			}
			t.write(p)
		})
	}
	return c
}

func quotesOf(ctx context.Context, cl *client.Client, of string) (all []*pb.Quote, err error) {
	err = client.Pages(func(token string) (string, error) {
		r, err := cl.Quotes.ListQuotes(ctx, &pb.ListQuotesRequest{Parent: of, PageSize: 1000, PageToken: token})
		all = append(all, r.GetQuotes()...)
		return r.GetNextPageToken(), err
	})
	sortByID(all, (*pb.Quote).GetName)
	return all, err
}

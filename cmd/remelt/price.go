package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

func (a *app) priceCommand() *cobra.Command {
	return group("price", "What markets asked for alloys and metals, day by day",
		a.priceNoteCommand(), a.priceImportCommand(), a.priceOnCommand(), a.priceListCommand())
}

func (a *app) priceNoteCommand() *cobra.Command {
	one := &pb.MarketPrice{}
	c := &cobra.Command{
		Use: "note METAL PRICE", Short: "Note what a market asks",
		Long:    "Note what a market asks for an alloy, or for a metal by its name or symbol. A second price of a day replaces the first.",
		Example: "  remelt price note copper \"4.31 USD/lb\"\n  remelt price note C87300 \"8.90 EUR/kg at 1.0832 USD/EUR\" --day 2026-11-02",
		Args:    exactly("METAL", "PRICE"), ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&one.Day, "day", "", "the day, such as 2026-11-02; today unless said")
	noFiles(c, "day")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		one.Metal, one.Price = args[0], args[1]
		if one.GetDay() == "" {
			u, err := a.units(c.Context())
			if err != nil {
				return err
			}
			one.Day = a.now().In(u.zone).Format("2006-01-02")
		}
		r, err := send(c.Context(), a, w, cl.Market.ImportMarketPrices, &pb.ImportMarketPricesRequest{Parent: parent, Prices: []*pb.MarketPrice{one}})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.recorded(w, r.GetEntry()) })
	}
	return c
}

// priceSheet is a CSV file of market prices.
var priceSheet = sheetKind{[][2]string{
	{"date", "the day, such as 2026-11-02"},
	{"metal", "an alloy by any of its names, or a metal by its name or symbol"},
	{"price", "4.31, or all of it: 4.31 USD/lb"},
	{"currency", "of the prices that name none"},
	{"per", "the unit of mass of the prices that name none: lb, kg, t"},
	{"exchange", "of a foreign price: 1.0832 USD/EUR"},
}, []string{"price"}, "remelt price import"}

func (a *app) priceImportCommand() *cobra.Command {
	var metal, currency, per string
	c := &cobra.Command{
		Use: "import FILE", Short: "Keep the market prices of a CSV file",
		Long: `Keep the market prices of a CSV file. FILE - is standard input.

The first line names the columns. Semicolons, commas or tabs may separate them, and
prices may have a decimal point or a decimal comma. All lines are kept, or none: when
some are bad each is named with its column. The same file once more records nothing.

Columns:
` + priceSheet.help(),
		Example: "  remelt price import copper.csv --metal copper --currency USD --per lb --dry-run",
		Args:    exactly("FILE"),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&metal, "metal", "", "of lines that name none")
	f.StringVar(&currency, "currency", "", "of prices that name none")
	f.StringVar(&per, "per", "", "the unit of mass of prices that name none")
	noFiles(c, "metal", "currency", "per")
	c.RunE = func(c *cobra.Command, args []string) error {
		if w.requestID != "" {
			return usagef("--request-id is not for an import; it makes one of the content of the file")
		}
		raw, err := a.readFile(args[0])
		if err != nil {
			return err
		}
		s, err := readSheet(raw, priceSheet)
		if err != nil {
			return err
		}
		if len(s.lines) > ledger.MaxMarketPrices {
			return refusedFile("TOO_MANY_LINES", fmt.Sprintf("has more than %d prices; split it", ledger.MaxMarketPrices))
		}
		sum := sha256.Sum256(fmt.Appendf(raw, "\n%q", []string{metal, currency, per}))
		req := &pb.ImportMarketPricesRequest{}
		for _, l := range s.lines {
			req.Prices = append(req.Prices, priceOfLine(l, metal, currency, per))
		}
		return a.importPrices(c.Context(), w, args[0], s, uuid.NewSHA1(importSpace, sum[:]).String(), req)
	}
	return c
}

// priceOfLine makes a price of a line; what is missing in it the book refuses.
func priceOfLine(l sheetLine, metal, currency, per string) *pb.MarketPrice {
	or := func(column, usual string) string {
		if v := l.cell[column]; v != "" {
			return v
		}
		return usual
	}
	p := &pb.MarketPrice{Metal: or("metal", metal), Day: l.cell["date"], Price: l.cell["price"]}
	if p.GetPrice() != "" && !strings.ContainsFunc(p.GetPrice(), unicode.IsLetter) {
		p.Price += " " + or("currency", currency) + "/" + or("per", per)
	}
	if x := l.cell["exchange"]; x != "" {
		p.Price += " at " + x
	}
	return p
}

func (a *app) importPrices(ctx context.Context, w *write, file string, s *sheet, id string, req *pb.ImportMarketPricesRequest) error {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return err
	}
	req.Parent = parent
	once := *w
	if once.requestID = id; len(s.bad) > 0 { // checked all the same, so that every bad line is named
		once.dryRun, once.requestID = true, ""
	}
	r, err := send(ctx, a, &once, cl.Market.ImportMarketPrices, req)
	bad := slices.Clone(s.bad)
	var refused *ledger.Error
	if errors.As(err, &refused) && strings.HasPrefix(refused.Field, "prices[") {
		for _, e := range append([]*ledger.Error{refused}, refused.More...) {
			bad = append(bad, s.badPrice(e))
		}
		if refused.Unsaid > 0 {
			fmt.Fprintf(a.err, "%d more are bad and not listed\n", refused.Unsaid)
		}
	} else if err != nil && len(req.GetPrices()) > 0 {
		return err
	}
	if !a.json() {
		fmt.Fprintf(a.out, "%s: %s\n", file, s.describe())
	}
	if len(bad) > 0 {
		return a.listBad(bad)
	}
	if err != nil {
		return err
	}
	return a.show(ctx, r, func(p *page) {
		p.printf("%s\n", plural(int(r.GetKept()), "price"))
		p.recorded(w, r.GetEntry())
	})
}

// badPrice says which line a refused price is of.
func (s *sheet) badPrice(e *ledger.Error) badLine {
	at, column, _ := strings.Cut(strings.TrimPrefix(e.Field, "prices["), "].")
	i, err := strconv.Atoi(at)
	if err != nil || i >= len(s.lines) {
		return badLine{Column: e.Field, Want: e.Want, Reason: e.Reason}
	}
	if column == "day" {
		column = "date"
	}
	l := s.lines[i]
	want := e.Want
	if before, index, found := strings.Cut(want, ", prices["); found { // a second price of a day
		if k, err := strconv.Atoi(strings.TrimSuffix(index, "]")); err == nil && k < len(s.lines) {
			want = fmt.Sprintf("%s, line %d", before, s.lines[k].number)
		}
	}
	return badLine{Line: l.number, Column: column, Value: l.cell[column], Want: want, Reason: e.Reason}
}

func (a *app) priceOnCommand() *cobra.Command {
	c := &cobra.Command{
		Use: "on METAL [DAY]", Short: "The last market price of a metal on a day or before it", Example: "  remelt price on copper\n  remelt price on C87300 2026-11-02",
		Args: cobra.RangeArgs(1, 2), ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req := &pb.FindMarketPriceRequest{Parent: parent, Metal: args[0]}
		if len(args) > 1 {
			req.Day = args[1]
		}
		r, err := cl.Market.FindMarketPrice(c.Context(), req)
		if err != nil {
			return err
		}
		x := r.GetMarketPrice()
		return a.show(c.Context(), x, func(p *page) { p.printf("%s on %s: %s\n", x.GetMetal(), x.GetDay(), x.GetPrice()) })
	}
	return c
}

func (a *app) priceListCommand() *cobra.Command {
	req := &pb.ListMarketPricesRequest{}
	c := &cobra.Command{
		Use: "list [METAL]", Short: "List market prices by metal and day", Example: "  remelt price list copper --from 2026-10-01",
		Args: cobra.MaximumNArgs(1), ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	c.Flags().StringVar(&req.FromDay, "from", "", "from this day on")
	c.Flags().StringVar(&req.UntilDay, "until", "", "up to this day")
	noFiles(c, "from", "until")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		if req.Parent, req.PageSize = parent, 1000; len(args) > 0 {
			req.Metal = args[0]
		}
		var all []*pb.MarketPrice
		err = client.Pages(func(token string) (string, error) {
			req.PageToken = token
			r, err := cl.Market.ListMarketPrices(c.Context(), req)
			all = append(all, r.GetMarketPrices()...)
			return r.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) {
			t := newTable("METAL", "DAY", ">PRICE")
			for _, x := range all {
				t.add(x.GetMetal(), x.GetDay(), x.GetPrice())
			}
			if len(all) == 0 {
				p.printf("No prices.\n")
				return
			}
			t.write(p)
		})
	}
	return c
}

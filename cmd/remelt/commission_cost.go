package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger/unit"
	"example.org/remelt/server/paper"
)

func (a *app) commissionCostCommand() *cobra.Command {
	req := &pb.GetCommissionCostRequest{}
	c := &cobra.Command{
		Use: "cost COMMISSION", Short: "What a commission has cost beside its quote, and why they differ", Args: exactly("COMMISSION"),
		ValidArgsFunction: inOrder(a.completeCommissions(), nil),
	}
	var quote string
	c.Flags().StringVar(&quote, "version", "", "the version of the quote, or its id; the last one unless said")
	noFiles(c, "version")
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if quote != "" {
			if req.QuoteVersion, err = strconv.ParseInt(strings.TrimPrefix(quote, args[0]+"-"), 10, 64); err != nil || req.QuoteVersion < 1 {
				return usagef("--version %q: write the version of a quote, such as 2, or its id, such as %s-2", quote, args[0])
			}
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Name = named(parent, "commissions", args[0]) + "/cost"
		r, err := cl.Commissions.GetCommissionCost(c.Context(), req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r.GetCost(), func(p *page) { p.commissionCost(args[0], r.GetCost()) })
	}
	return c
}

func (p *page) commissionCost(id string, v *pb.CommissionCost) {
	p.printf("Commission %s: %d of %d castings are good", id, v.GetGood(), v.GetCopies())
	if v.GetProvisional() {
		p.printf("; provisional, a heat of it is not settled")
	}
	p.printf("\n\n")
	t := newTable("CASTING", "NAME", "HEAT", ">"+string(p.mass), ">METAL", ">FUEL", ">MELT", "")
	for _, c := range v.GetCastings() {
		note := ""
		if c.GetFailed() {
			note = "failed"
		}
		t.add(last(c.GetCasting()), c.GetDisplayName(), last(c.GetHeat()), p.figure(c.GetMass()), amount(c.GetMetal()), amount(c.GetFuel()), amount(c.GetMelt()), note)
	}
	if len(v.GetCastings()) > 0 {
		t.write(p)
		p.printf("\n")
	}
	for _, says := range paper.NotInCost(v) {
		p.printf("%s\n", says)
	}
	title := ">QUOTED"
	if v.GetQuote() == "" {
		p.printf("No quote was made.\n")
		title = ""
	}
	t = newTable("", title, ">ACTUAL")
	quoted := func(m *pb.Money) string {
		if v.GetQuote() == "" {
			return ""
		}
		return amount(m)
	}
	for _, l := range v.GetLines() {
		if l.GetQuoted().GetMinor() != 0 || l.GetActual().GetMinor() != 0 {
			t.add(l.GetWhat(), quoted(l.GetQuoted()), amount(l.GetActual()))
		}
	}
	t.add("cost", quoted(v.GetQuoted()), amount(v.GetActual()))
	if v.GetQuote() != "" {
		less := func(m *pb.Money) string {
			text, _, _ := strings.Cut(unit.FormatMoney(v.GetPrice().GetMinor()-m.GetMinor(), m.GetCurrency()), " ")
			return text
		}
		t.add("left of the price of "+v.GetPrice().GetText(), less(v.GetQuoted()), less(v.GetActual()))
	}
	t.write(p)
	if v.GetQuote() == "" {
		return
	}
	p.printf("\nIt cost %s against %s quoted (%s), because of\n", v.GetActual().GetText(), v.GetQuoted().GetText(), last(v.GetQuote()))
	t = newTable("", ">MORE")
	for _, d := range v.GetDifferences() {
		if d.GetMoney().GetMinor() != 0 {
			t.add("  "+d.GetWhat(), amount(d.GetMoney()))
		}
	}
	t.write(p)
}

// amount is money without its currency, for a column.
func amount(m *pb.Money) string {
	text, _, _ := strings.Cut(unit.FormatMoney(m.GetMinor(), m.GetCurrency()), " ")
	return text
}

func (a *app) commissionRatesCommand() *cobra.Command {
	req := &pb.SetRateCardRequest{RateCard: &pb.RateCard{}}
	var hours, again []string
	c := &cobra.Command{
		Use: "rates [FROM]", Short: "What work and molds cost and what the shop adds: set it from a day on, or show it",
		Long: "What work and molds cost and what the shop adds. With a day: set it from then on, all of it anew.\nWithout: show it. " + rangeHelp,
		Example: "  remelt commission rates 2026-01-01 --hour \"molding=38 USD\" --hour \"chasing=42 USD\" --again molding --overhead 60 --margin 25 --mold \"12..14..20 USD\"\n" +
			"  remelt commission rates",
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringArrayVar(&hours, "hour", nil, "what an hour of a kind of work costs, KIND=PRICE; may be repeated")
	f.StringArrayVar(&again, "again", nil, "a kind of work that is done over when a casting fails; may be repeated")
	f.StringVar(&req.RateCard.OverheadPercent, "overhead", "", "overhead, in per cent of labour")
	f.StringVar(&req.RateCard.MarginPercent, "margin", "", "margin, in per cent of the price")
	f.StringVar(&req.RateCard.MoldPrice, "mold", "", "consumables of one mold")
	f.StringVar(&req.RateCard.ConsumablesPrice, "consumables", "", "consumables by what is charged, such as \"0.05 USD/lb\"; as the heats have it unless said")
	f.StringVar(&req.RateCard.FuelPrice, "fuel", "", "fuel by what is charged; as the heats have it unless said")
	noFiles(c, "hour", "again", "overhead", "margin", "mold", "consumables", "fuel")
	c.RunE = func(c *cobra.Command, args []string) error {
		if len(args) > 1 {
			return usagef("one day, not %d; the form is: %s", len(args), useLine(c))
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		if len(args) == 0 {
			all := &pb.ListRateCardsResponse{}
			err := client.Pages(func(token string) (string, error) {
				r, err := cl.Commissions.ListRateCards(c.Context(), &pb.ListRateCardsRequest{Parent: parent, PageSize: 1000, PageToken: token})
				all.RateCards = append(all.RateCards, r.GetRateCards()...)
				return r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return a.show(c.Context(), all, func(p *page) {
				for _, x := range all.GetRateCards() {
					p.rateCard(x)
				}
				if len(all.GetRateCards()) == 0 {
					p.printf("No rates are set.\n")
				}
			})
		}
		u, err := a.units(c.Context())
		if err != nil {
			return err
		}
		from, _, err := readSpan(args, u.zone)
		if err != nil {
			return err
		}
		req.Parent, req.RateCard.FromTime = parent, timestamppb.New(from)
		if req.RateCard.Work, err = readRates(hours, again); err != nil {
			return err
		}
		r, err := send(c.Context(), a, w, cl.Commissions.SetRateCard, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) { p.rateCard(r.GetRateCard()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

// readRates reads "molding=38 USD" for each kind, and which are done over.
func readRates(hours, again []string) (out []*pb.WorkRate, err error) {
	for _, one := range hours {
		kind, price, ok := strings.Cut(one, "=")
		if kind = strings.TrimSpace(kind); !ok || kind == "" {
			return nil, usagef("--hour %q: write KIND=PRICE", one)
		}
		out = append(out, &pb.WorkRate{Kind: kind, HourPrice: strings.TrimSpace(price)})
	}
	for _, kind := range again {
		found := false
		for _, w := range out {
			if strings.EqualFold(w.GetKind(), strings.TrimSpace(kind)) {
				w.Again, found = true, true
			}
		}
		if !found {
			return nil, usagef("--again %q: say what an hour of it costs too, with --hour", kind)
		}
	}
	return out, nil
}

func (p *page) rateCard(x *pb.RateCard) {
	p.printf("From %s:\n", last(x.GetName()))
	for _, w := range x.GetWork() {
		note := ""
		if w.GetAgain() {
			note = ", done over when a casting fails"
		}
		p.printf("  an hour of %s: %s%s\n", w.GetKind(), w.GetHourPrice(), note)
	}
	for _, l := range [][2]string{{"consumables of a mold", x.GetMoldPrice()}, {"consumables by charge", x.GetConsumablesPrice()}, {"fuel by charge", x.GetFuelPrice()}} {
		if l[1] != "" {
			p.printf("  %s: %s\n", l[0], l[1])
		}
	}
	if x.GetOverheadPercent() != "" {
		p.printf("  overhead: %s %% of labour\n", x.GetOverheadPercent())
	}
	if x.GetMarginPercent() != "" {
		p.printf("  margin: %s %% of the price\n", x.GetMarginPercent())
	}
}

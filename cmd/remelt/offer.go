package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) offerCommand() *cobra.Command {
	return group("offer", "What suppliers ask, and what is paid for returns and skimmings",
		a.offerAddCommand(), a.offerListCommand(), a.offerWithdrawCommand())
}

func (a *app) offerAddCommand() *cobra.Command {
	o := &pb.Offer{}
	req := &pb.CreateOfferRequest{Offer: o}
	var supply bool
	var form, piece, least string
	var lead int32
	c := &cobra.Command{
		Use: "add PARTY ITEM PRICE...", Short: "Write an offer down",
		Long: "Write an offer of a supplier down: for an alloy, or with --supply for an item of supply. Each price\n" +
			"holds for all of an order of its amount and more: \"4.60 USD/lb from 200 lb\". A foreign one has the rate\n" +
			"of exchange with it: \"4.10 EUR/kg at 1.0832 USD/EUR from 100 kg\". The newest offer of a party for an item\n" +
			"counts. With --buys the party is an outlet: it pays the price for returns, or for --form skimmings.",
		Example: "  remelt offer add northquay C87300 \"4.85 USD/lb\" \"4.60 USD/lb from 200 lb\" --piece \"23 lb\" --bundle 4 --lead 7 --until 2026-12-31\n" +
			"  remelt offer add kilnworks crucible-60 \"62 USD/pc\" \"58 USD/pc from 4 pcs\" --supply --lead 14 --lead-off 3\n" +
			"  remelt offer add tinker C87300 \"0.90 USD/lb\" --form skimmings --buys",
		Args: atLeast("PARTY", "ITEM", "PRICE"),
		ValidArgsFunction: func(c *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
			items := a.completeAlloys()
			if supply {
				items = a.completeSupplies()
			}
			return inOrder(a.completeParties(), items, nil)(c, args, typed)
		},
	}
	w := writeFlags(c)
	f := c.Flags()
	f.BoolVar(&supply, "supply", false, "ITEM is a supply, not an alloy")
	f.BoolVar(&o.Buys, "buys", false, "the party buys: prices are what it pays")
	f.StringVar(&form, "form", "", "form of the alloy; ingot, or of what is bought from the shop returns of any form, unless said")
	f.StringVar(&piece, "piece", "", "what a piece weighs, of what is sold in whole pieces")
	f.Int64Var(&o.BundlePieces, "bundle", 0, "how many pieces are sold together")
	f.StringVar(&least, "least", "", "the least order: a weight or \"10 pcs\"")
	f.StringVar(&o.Freight, "freight", "", "what it costs to bring an order: a total or a rate by weight")
	f.Int32Var(&lead, "lead", 0, "how many days a delivery takes")
	f.Int32Var(&o.LeadOffDays, "lead-off", 0, "by how many days it comes sooner or later")
	f.StringVar(&o.FromDay, "from", "", "the first day it holds, such as 2026-11-02; today unless said")
	f.StringVar(&o.UntilDay, "until", "", "the last day it holds; without end unless said")
	f.StringVar(&o.Note, "note", "", "anything else")
	f.StringVar(&req.OfferId, "id", "", "its id; the next number unless said")
	noFiles(c, "piece", "bundle", "least", "freight", "lead", "lead-off", "from", "until", "note", "id")
	complete(c, map[string]completer{"form": fixed(words[pb.Form]()...)})
	c.RunE = func(c *cobra.Command, args []string) (err error) {
		if o.Form, err = readWord[pb.Form]("--form", form); err != nil {
			return err
		}
		if o.Least, o.LeastPieces, err = readAmount([]string{least}); err != nil {
			return err
		}
		for _, text := range args[2:] {
			b, err := readBreak(text)
			if err != nil {
				return err
			}
			o.Breaks = append(o.Breaks, b)
		}
		if f.Changed("lead") {
			o.LeadDays = &lead
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		o.Party, o.Piece, req.Parent = args[0], mass(piece), parent
		if o.Alloy = args[1]; supply {
			o.Alloy, o.Supply = "", args[1]
		}
		r, err := send(c.Context(), a, w, cl.Offers.CreateOffer, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.offers([]*pb.Offer{r.GetOffer()})
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

// readBreak reads a price with the amount it holds from: "4.60 USD/lb from 200 lb".
func readBreak(text string) (*pb.OfferBreak, error) {
	price, from, _ := strings.Cut(text, " from ")
	amount, pieces, err := readAmount([]string{from})
	return &pb.OfferBreak{Price: strings.TrimSpace(price), From: amount, FromPieces: pieces}, err
}

func (a *app) offerListCommand() *cobra.Command {
	req := &pb.ListOffersRequest{}
	var all bool
	c := &cobra.Command{
		Use: "list [ALLOY]", Short: "Offers that hold, by item and party", Example: "  remelt offer list C87300\n  remelt offer list --all",
		Args: cobra.MaximumNArgs(1), ValidArgsFunction: inOrder(a.completeAlloys(), nil),
	}
	f := c.Flags()
	f.StringVar(&req.Supply, "supply", "", "only for this supply")
	f.StringVar(&req.Party, "party", "", "only of this party")
	f.StringVar(&req.Day, "day", "today", "that hold on this day, such as 2026-11-02")
	f.BoolVar(&all, "all", false, "also those that were replaced, ran out or were withdrawn")
	noFiles(c, "day")
	complete(c, map[string]completer{"supply": a.completeSupplies(), "party": a.completeParties()})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		if req.Parent, req.PageSize = parent, 1000; all {
			req.Day = ""
		}
		if len(args) > 0 {
			req.Alloy = args[0]
		}
		var got []*pb.Offer
		err = client.Pages(func(token string) (string, error) {
			req.PageToken = token
			r, err := cl.Offers.ListOffers(c.Context(), req)
			got = append(got, r.GetOffers()...)
			return r.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, got, func(p *page) { p.offers(got) })
	}
	return c
}

func (p *page) offers(all []*pb.Offer) {
	if len(all) == 0 {
		p.printf("No offers.\n")
		return
	}
	t := newTable("OFFER", "PARTY", "", "ITEM", "PRICE", "SOLD IN", ">LEAST", "FREIGHT", "DAYS", "HOLDS", "")
	for _, o := range all {
		row := []string{last(o.GetName()), last(o.GetParty()), map[bool]string{true: "pays for", false: "asks for"}[o.GetBuys()], offerItem(o), breakText(o.GetBreaks()[0]),
			soldIn(o), some(o.GetLeast()) + count(o.GetLeastPieces()), o.GetFreight(), leadText(o), o.GetFromDay() + " to " + o.GetUntilDay(), map[bool]string{true: "withdrawn"}[o.GetWithdrawn()]}
		row[9] = strings.TrimSuffix(row[9], " to ")
		t.add(row...)
		for _, b := range o.GetBreaks()[1:] {
			t.add("", "", "", "", breakText(b))
		}
	}
	t.write(p)
}

func offerItem(o *pb.Offer) string {
	switch form := word(o.GetForm()); {
	case o.GetSupply() != "":
		return last(o.GetSupply())
	case form == "" && o.GetBuys():
		return last(o.GetAlloy()) + " returns"
	default:
		return strings.TrimSpace(last(o.GetAlloy()) + " " + form)
	}
}

func breakText(b *pb.OfferBreak) string {
	switch {
	case b.GetFromPieces() > 0:
		return fmt.Sprintf("%s from %d pcs", b.GetPrice(), b.GetFromPieces())
	case b.GetFrom().GetMg() > 0:
		return b.GetPrice() + " from " + b.GetFrom().GetText()
	}
	return b.GetPrice()
}

func soldIn(o *pb.Offer) string {
	s := ""
	if o.GetPiece().GetMg() > 0 {
		s = "pieces of " + o.GetPiece().GetText()
	}
	if n := o.GetBundlePieces(); n > 1 {
		s = strings.TrimSuffix(fmt.Sprintf("%ds of %s", n, strings.TrimPrefix(s, "pieces of ")), " of ")
	}
	return s
}

func leadText(o *pb.Offer) string {
	switch {
	case o.LeadDays == nil:
		return ""
	case o.GetLeadOffDays() > 0:
		return fmt.Sprintf("%d ± %d", o.GetLeadDays(), o.GetLeadOffDays())
	}
	return itoa(int64(o.GetLeadDays()))
}

func (a *app) offerWithdrawCommand() *cobra.Command {
	c := &cobra.Command{Use: "withdraw OFFER", Short: "An offer holds no longer", Example: "  remelt offer withdraw 7", Args: exactly("OFFER")}
	w := writeFlags(c)
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		r, err := send(c.Context(), a, w, cl.Offers.WithdrawOffer, &pb.WithdrawOfferRequest{Name: named(parent, "offers", args[0])})
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.offers([]*pb.Offer{r.GetOffer()})
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

package main

import (
	"context"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) commissionCommand() *cobra.Command {
	return group("commission", "Castings made for someone: what is to be cast, work, things bought in, cost beside the quote",
		a.commissionSetCommand(), a.commissionListCommand(), a.commissionShowCommand(), a.commissionWorkCommand(), a.commissionBuyInCommand(),
		a.commissionCostCommand(), a.commissionRatesCommand())
}

func (a *app) completeCommissions() completer {
	return a.offer(func(ctx context.Context, c *client.Client, parent string) (out [][2]string, err error) {
		r, err := c.Commissions.ListCommissions(ctx, &pb.ListCommissionsRequest{Parent: parent, PageSize: 1000})
		for _, x := range r.GetCommissions() {
			out = append(out, [2]string{x.GetName(), x.GetDisplayName()})
		}
		return out, err
	})
}

// rangeHelp says how an unsure figure is typed.
const rangeHelp = "What is not sure is typed as lowest..highest or lowest..likeliest..highest, with its unit at the end."

func (a *app) commissionSetCommand() *cobra.Command {
	var customer, note string
	var castings []string
	var own bool
	c := &cobra.Command{
		Use: "set ID TITLE", Short: "Add a commission, or change it; its castings are all named again",
		Long: "Add a commission, or change it. A casting is its name and, after semicolons, alloy=, copies=, and\n" +
			"one of metal= (the weight of one casting), wax= or volume=; gating= as the shop's heats have it\n" +
			"unless said. " + rangeHelp,
		Example: "  remelt commission set otters \"Otter group\" --customer wexcombe --casting \"otter; alloy=C87300; copies=2; metal=20..22..25 lb; gating=18 lb\"\n" +
			"  remelt commission set otters --casting \"otter; alloy=C87300; copies=3; wax=2.4 lb\"",
		Args: atLeast("ID"), ValidArgsFunction: inOrder(a.completeCommissions(), nil),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&customer, "customer", "", "who it is for")
	f.StringArrayVar(&castings, "casting", nil, "what is to be cast; may be repeated")
	f.BoolVar(&own, "own-metal", false, "the customer's own metal is melted, and not charged")
	f.StringVar(&note, "note", "", "anything else")
	noFiles(c, "casting", "note")
	complete(c, map[string]completer{"customer": a.completeParties()})
	return a.setThing(c, w, map[string]string{"customer": "customer", "casting": "patterns", "own-metal": "own_metal", "note": "note"},
		func(c *cobra.Command, cl *client.Client, parent, id, name string, mask *fieldmaskpb.FieldMask) (entryAnswer, error) {
			p := &pb.Commission{Name: named(parent, "commissions", id), DisplayName: name, Customer: customer, OwnMetal: own, Note: note}
			for _, typed := range castings {
				x, err := readPattern(typed)
				if err != nil {
					return nil, err
				}
				p.Patterns = append(p.Patterns, x)
			}
			return send(c.Context(), a, w, cl.Commissions.UpdateCommission, &pb.UpdateCommissionRequest{Commission: p, UpdateMask: mask, AllowMissing: true})
		})
}

// readPattern reads "otter; alloy=C87300; copies=2; metal=20..25 lb".
func readPattern(typed string) (*pb.CommissionPattern, error) {
	x := &pb.CommissionPattern{}
	for i, part := range strings.Split(typed, ";") {
		key, value, found := strings.Cut(strings.TrimSpace(part), "=")
		key, value = strings.TrimSpace(key), strings.TrimSpace(value)
		switch {
		case key == "" && !found:
		case !found && i == 0:
			x.DisplayName = key
		case key == "name":
			x.DisplayName = value
		case key == "alloy":
			x.Alloy = value
		case key == "copies":
			n, err := strconv.ParseInt(value, 10, 64)
			if err != nil || n < 1 {
				return nil, usagef("--casting %q: copies must be a number from 1 on", typed)
			}
			x.Copies = n
		case key == "metal":
			x.Metal = value
		case key == "wax":
			x.Wax = value
		case key == "volume":
			x.Volume = value
		case key == "gating":
			x.Gating = value
		default:
			return nil, usagef("--casting %q: does not know %q; say name, alloy, copies, metal, wax, volume or gating", typed, strings.TrimSpace(part))
		}
	}
	return x, nil
}

func (a *app) commissionListCommand() *cobra.Command {
	return listOf(a, "list", "List the commissions", []string{"COMMISSION", "TITLE", "FOR", ">CASTINGS"},
		func(ctx context.Context, c *client.Client, parent, token string) ([]*pb.Commission, string, error) {
			r, err := c.Commissions.ListCommissions(ctx, &pb.ListCommissionsRequest{Parent: parent, PageSize: 1000, PageToken: token})
			return r.GetCommissions(), r.GetNextPageToken(), err
		}, func(_ *page, x *pb.Commission) []string {
			n := int64(0)
			for _, p := range x.GetPatterns() {
				n += p.GetCopies()
			}
			return []string{last(x.GetName()), x.GetDisplayName(), last(x.GetCustomer()), itoa(n)}
		})
}

func (a *app) commissionShowCommand() *cobra.Command {
	c := &cobra.Command{Use: "show COMMISSION", Short: "Show a commission with its work and what was bought in", Args: exactly("COMMISSION"),
		ValidArgsFunction: inOrder(a.completeCommissions(), nil)}
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		name := named(parent, "commissions", args[0])
		r, err := cl.Commissions.GetCommission(c.Context(), &pb.GetCommissionRequest{Name: name})
		if err != nil {
			return err
		}
		if a.json() {
			return a.show(c.Context(), r.GetCommission(), nil)
		}
		work, err := cl.Commissions.ListLabours(c.Context(), &pb.ListLaboursRequest{Parent: name, PageSize: 1000})
		if err != nil {
			return err
		}
		bought, err := cl.Commissions.ListBoughtIns(c.Context(), &pb.ListBoughtInsRequest{Parent: name, PageSize: 1000})
		if err != nil {
			return err
		}
		return a.show(c.Context(), nil, func(p *page) { p.commission(r.GetCommission(), work.GetLabours(), bought.GetBoughtIns()) })
	}
	return c
}

func (p *page) commission(x *pb.Commission, work []*pb.Labour, bought []*pb.BoughtIn) {
	p.printf("Commission %s, %s", last(x.GetName()), x.GetDisplayName())
	if x.GetCustomer() != "" {
		p.printf(", for %s", last(x.GetCustomer()))
	}
	if x.GetOwnMetal() {
		p.printf(", of their own metal")
	}
	p.printf("\n")
	if x.GetNote() != "" {
		p.printf("  %s\n", x.GetNote())
	}
	t := newTable("CASTING", "ALLOY", ">COPIES", "METAL", "WAX", "VOLUME", "GATING")
	for _, c := range x.GetPatterns() {
		t.add(c.GetDisplayName(), last(c.GetAlloy()), itoa(c.GetCopies()), c.GetMetal(), c.GetWax(), c.GetVolume(), c.GetGating())
	}
	t.write(p)
	t = newTable("DONE", "WORK", "BY", ">TIME", ">COST", "")
	for _, l := range work {
		t.add(p.showTime(l.GetWorkTime()), l.GetKind(), last(l.GetPerson()), l.GetHours(), l.GetCost().GetText(), takenBack(l.GetVoid()))
	}
	for _, b := range bought {
		t.add(p.showTime(b.GetBuyTime()), b.GetWhat(), "", "", b.GetCost().GetText(), takenBack(b.GetVoid()))
	}
	if len(work)+len(bought) > 0 {
		p.printf("\n")
		t.write(p)
	}
}

func takenBack(void bool) string {
	if void {
		return "taken back"
	}
	return ""
}

func (a *app) commissionWorkCommand() *cobra.Command {
	req := &pb.RecordLabourRequest{Labour: &pb.Labour{}}
	c := &cobra.Command{
		Use: "work COMMISSION HOURS", Short: "Note hours of work on a commission", Example: "  remelt commission work otters 3.5 h --kind chasing --by mara",
		Args: atLeast("COMMISSION", "HOURS"), ValidArgsFunction: inOrder(a.completeCommissions(), nil),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&req.Labour.Kind, "kind", "", "the kind of work, one of the rates")
	f.StringVar(&req.Labour.Person, "by", "", "whose work it was")
	noFiles(c, "kind")
	complete(c, map[string]completer{"by": a.completeParties()})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.Labour.Hours = named(parent, "commissions", args[0]), strings.Join(args[1:], " ")
		r, err := send(c.Context(), a, w, cl.Commissions.RecordLabour, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.printf("%s of %s on %s: %s\n", r.GetLabour().GetHours(), r.GetLabour().GetKind(), args[0], r.GetLabour().GetCost().GetText())
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

func (a *app) commissionBuyInCommand() *cobra.Command {
	req := &pb.BuyInRequest{BoughtIn: &pb.BoughtIn{}}
	c := &cobra.Command{
		Use: "buy-in COMMISSION WHAT", Short: "Note something bought for one commission, such as welding rod",
		Example: "  remelt commission buy-in otters \"welding rod, 2 lb\" --price \"31 USD\"",
		Args:    atLeast("COMMISSION", "WHAT"), ValidArgsFunction: inOrder(a.completeCommissions(), nil),
	}
	w := writeFlags(c)
	c.Flags().StringVar(&req.BoughtIn.Price, "price", "", "what all of it cost")
	noFiles(c, "price")
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		req.Parent, req.BoughtIn.What = named(parent, "commissions", args[0]), strings.Join(args[1:], " ")
		r, err := send(c.Context(), a, w, cl.Commissions.BuyIn, req)
		if err != nil {
			return err
		}
		return a.show(c.Context(), r, func(p *page) {
			p.printf("%s for %s: %s\n", r.GetBoughtIn().GetWhat(), args[0], r.GetBoughtIn().GetCost().GetText())
			p.recorded(w, r.GetEntry())
		})
	}
	return c
}

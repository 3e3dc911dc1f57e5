package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) listCommand() *cobra.Command {
	return group("list", "List what the shop has set up",
		listOf(a, "shops", "Shops of this server", []string{"SHOP", "NAME", "MASSES IN", "TIME ZONE"},
			func(ctx context.Context, c *client.Client, _, token string) ([]*pb.Shop, string, error) {
				r, err := c.Shops.ListShops(ctx, &pb.ListShopsRequest{PageSize: 1000, PageToken: token})
				return r.GetShops(), r.GetNextPageToken(), err
			}, func(_ *page, s *pb.Shop) []string {
				return []string{last(s.GetName()), s.GetDisplayName(), s.GetMassUnit(), s.GetTimeZone()}
			}),
		listOf(a, "places", "Shelves, bins and corners", []string{"PLACE", "NAME"},
			func(ctx context.Context, c *client.Client, parent, token string) ([]*pb.Place, string, error) {
				r, err := c.Places.ListPlaces(ctx, &pb.ListPlacesRequest{Parent: parent, PageSize: 1000, PageToken: token})
				return r.GetPlaces(), r.GetNextPageToken(), err
			}, func(_ *page, s *pb.Place) []string { return []string{last(s.GetName()), s.GetDisplayName()} }),
		listOf(a, "scales", "Scales", []string{"SCALE", "NAME", ">DIVISION", ">INTERVAL", "CLASS", ">CAPACITY", "CHECKED"},
			func(ctx context.Context, c *client.Client, parent, token string) ([]*pb.Scale, string, error) {
				r, err := c.Scales.ListScales(ctx, &pb.ListScalesRequest{Parent: parent, PageSize: 1000, PageToken: token})
				return r.GetScales(), r.GetNextPageToken(), err
			}, func(p *page, s *pb.Scale) []string {
				return []string{last(s.GetName()), s.GetDisplayName(), s.GetDivision().GetText(), some(s.GetVerificationInterval()), strings.ToUpper(word(s.GetAccuracyClass())), some(s.GetCapacity()), p.showTime(s.GetCheckTime())}
			}),
		listOf(a, "tares", "Saved empty weights", []string{"TARE", "NAME", ">WEIGHT"},
			func(ctx context.Context, c *client.Client, parent, token string) ([]*pb.Tare, string, error) {
				r, err := c.Tares.ListTares(ctx, &pb.ListTaresRequest{Parent: parent, PageSize: 1000, PageToken: token})
				return r.GetTares(), r.GetNextPageToken(), err
			}, func(_ *page, s *pb.Tare) []string {
				return []string{last(s.GetName()), s.GetDisplayName(), s.GetMass().GetText()}
			}),
		listOf(a, "parties", "Suppliers, customers, and people who melt here", []string{"PARTY", "NAME", "IS"},
			func(ctx context.Context, c *client.Client, parent, token string) ([]*pb.Party, string, error) {
				r, err := c.Parties.ListParties(ctx, &pb.ListPartiesRequest{Parent: parent, PageSize: 1000, PageToken: token})
				return r.GetParties(), r.GetNextPageToken(), err
			}, func(_ *page, s *pb.Party) []string {
				var roles []string
				for _, r := range s.GetRoles() {
					roles = append(roles, word(r))
				}
				return []string{last(s.GetName()), s.GetDisplayName(), strings.Join(roles, ", ")}
			}),
		a.listPeopleCommand(),
		listOf(a, "pots", "Crucibles and furnaces", []string{"POT", "NAME", "KIND", ">VOLUME", ">CAPACITY", "FAMILY", ">HEATS", ">LASTS", "HANDLED", ""},
			func(ctx context.Context, c *client.Client, parent, token string) ([]*pb.Pot, string, error) {
				r, err := c.Pots.ListPots(ctx, &pb.ListPotsRequest{Parent: parent, PageSize: 1000, PageToken: token})
				return r.GetPots(), r.GetNextPageToken(), err
			}, func(_ *page, s *pb.Pot) []string {
				note := ""
				if s.GetRetired() {
					note = "retired"
				} else if s.GetLifeHeats() > 0 && s.GetHeats() >= s.GetLifeHeats() {
					note = "past the heats it is expected to last: look at it before each heat"
				}
				volume := ""
				if s.GetVolume().GetMm3() != 0 {
					volume = s.GetVolume().GetText()
				}
				return []string{last(s.GetName()), s.GetDisplayName(), word(s.GetKind()), volume, some(s.GetCapacity()), s.GetFamily(), itoa(s.GetHeats()), count(s.GetLifeHeats()), potHandling(s), note}
			}),
	)
}

func some(m *pb.Mass) string {
	if m.GetMg() == 0 {
		return ""
	}
	return m.GetText()
}

// listOf is a command that lists all things of a kind.
func listOf[T proto.Message](a *app, use, short string, head []string, read func(ctx context.Context, c *client.Client, parent, token string) ([]T, string, error), row func(*page, T) []string) *cobra.Command {
	return &cobra.Command{
		Use: use, Short: short, Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			cl, err := a.dial()
			if err != nil {
				return err
			}
			parent := ""
			if use != "shops" {
				if parent, err = a.parent(c.Context()); err != nil {
					return err
				}
			}
			var all []T
			err = client.Pages(func(token string) (string, error) {
				some, next, err := read(c.Context(), cl, parent, token)
				all = append(all, some...)
				return next, err
			})
			if err != nil {
				return err
			}
			if a.json() {
				return showEach(c.Context(), a, all, nil)
			}
			var u units
			if use != "shops" {
				if u, err = a.units(c.Context()); err != nil {
					return err
				}
			}
			p := a.page(u)
			if len(all) == 0 {
				p.printf("None.\n")
				return p.Flush()
			}
			t := newTable(head...)
			for _, one := range all {
				t.add(row(p, one)...)
			}
			t.write(p)
			return p.Flush()
		},
	}
}

package main

import (
	"errors"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

func (a *app) setShopCommand() *cobra.Command {
	s := &pb.Shop{}
	c := &cobra.Command{
		Use:   "shop ID [NAME]",
		Short: "The shop's name and units; opens its book the first time",
		Long: "The shop's name and what it has chosen for itself. A shop that has no book yet gets one;\n" +
			"of one that has, only what is said changes. Where people sign in, a further shop is\n" +
			"opened by who starts the server: remelt serve --shop ID.",
		Example: "  remelt set shop harrow \"Harrow Lane Foundry\" --mass-unit lb --temperature-unit F --time-zone America/Chicago",
		Args:    atLeast("ID"),
	}
	w := writeFlags(c)
	f := c.Flags()
	f.StringVar(&s.MassUnit, "mass-unit", "", "unit of a bare weight, and of weights shown: kg, g, lb, lb+oz")
	f.StringVar(&s.TemperatureUnit, "temperature-unit", "", "C or F")
	f.StringVar(&s.Currency, "currency", "", "ISO 4217, such as USD")
	f.StringVar(&s.TimeZone, "time-zone", "", "IANA name, such as America/Chicago")
	f.StringVar(&s.TrappedPercent, "trapped", "", "share of skimmings taken to be trapped metal until they are worked up, in per cent")
	f.StringVar(&s.TrappedSpanPercent, "trapped-span", "", "plus or minus of that share")
	noFiles(c, "currency", "time-zone", "trapped", "trapped-span")
	complete(c, map[string]completer{"mass-unit": fixed("kg", "g", "lb", "lb+oz"), "temperature-unit": fixed("C", "F")})
	c.RunE = func(c *cobra.Command, args []string) error {
		cl, err := a.dial()
		if err != nil {
			return err
		}
		a.shop = args[0] // what follows is of this shop
		s.Name, s.DisplayName = "shops/"+args[0], strings.Join(args[1:], " ")
		_, err = cl.Shops.GetShop(c.Context(), &pb.GetShopRequest{Name: s.GetName()})
		if errors.Is(err, ledger.ErrNotFound) {
			return a.openShop(c, w, args[0], s)
		}
		if err != nil {
			return err
		}
		mask := changed(c, map[string]string{"mass-unit": "mass_unit", "temperature-unit": "temperature_unit", "currency": "currency",
			"time-zone": "time_zone", "trapped": "trapped_percent", "trapped-span": "trapped_span_percent"})
		if s.GetDisplayName() != "" {
			mask.Paths = append(mask.Paths, "display_name")
		}
		if len(mask.GetPaths()) == 0 {
			return usagef("say what is to be set; the form is: %s", useLine(c))
		}
		r, err := send(c.Context(), a, w, cl.Shops.UpdateShop, &pb.UpdateShopRequest{Shop: s, UpdateMask: mask})
		if err != nil {
			return err
		}
		a.own = r.GetShop()
		return a.show(c.Context(), r, func(p *page) { p.shop(r.GetShop()); p.recorded(w, r.GetEntry()) })
	}
	return c
}

func (a *app) openShop(c *cobra.Command, w *write, id string, s *pb.Shop) error {
	if w.happened != "" {
		return usagef("--happened: a book is opened now; its time zone is not known before")
	}
	r, err := send(c.Context(), a, w, a.client.Shops.CreateShop, &pb.CreateShopRequest{ShopId: id, Shop: s})
	if err != nil {
		return err
	}
	a.own = r.GetShop()
	return a.show(c.Context(), r, func(p *page) {
		p.printf("The book of shop %s is open.\n", id)
		p.shop(r.GetShop())
		p.recorded(w, r.GetEntry())
	})
}

func (p *page) shop(s *pb.Shop) {
	t := newTable("", "")
	t.add("  shop", last(s.GetName()))
	t.add("  name", s.GetDisplayName())
	t.add("  masses in", s.GetMassUnit())
	t.add("  temperatures in", "°"+s.GetTemperatureUnit())
	t.add("  currency", s.GetCurrency())
	t.add("  time zone", s.GetTimeZone())
	t.add("  trapped in skimmings", percent(s.GetTrappedPercent())+" ± "+percent(s.GetTrappedSpanPercent()))
	t.write(p)
}

package main

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger/unit"
)

// dial gives the client of the server, made on first use.
func (a *app) dial() (*client.Client, error) {
	if a.client != nil {
		return a.client, nil
	}
	cfg := client.Config{Address: a.address, CA: a.ca, Token: os.Getenv("REMELT_TOKEN")}
	if onTerminal(a.err) && !a.json() {
		cfg.OnRetry = func(error, time.Duration) { fmt.Fprintln(a.err, "no answer yet; trying again") }
	}
	if a.patch != nil {
		a.patch(&cfg)
	}
	c, err := client.Dial(cfg)
	if err != nil {
		return nil, usageError{fmt.Errorf("--server %q: %w", a.address, err)}
	}
	a.client = c
	return c, nil
}

// settings reads what the shop has chosen for itself; it finds the shop first
// when none was named.
func (a *app) settings(ctx context.Context) (*pb.Shop, error) {
	if a.own != nil {
		return a.own, nil
	}
	c, err := a.dial()
	if err != nil {
		return nil, err
	}
	if a.shop != "" {
		r, err := c.Shops.GetShop(ctx, &pb.GetShopRequest{Name: "shops/" + a.shop})
		if err != nil {
			return nil, err
		}
		a.own = r.GetShop()
		return a.own, nil
	}
	r, err := c.Shops.ListShops(ctx, &pb.ListShopsRequest{PageSize: 10})
	if err != nil {
		return nil, err
	}
	switch shops := r.GetShops(); len(shops) {
	case 1:
		a.own, a.shop = shops[0], last(shops[0].GetName())
		return a.own, nil
	case 0:
		return nil, usagef("the server at %s has no shop yet; open one with remelt set shop ID NAME", a.address)
	default:
		var ids []string
		for _, s := range shops {
			ids = append(ids, last(s.GetName()))
		}
		return nil, usagef("the server keeps several shops (%s); say which with --shop", strings.Join(ids, ", "))
	}
}

// parent is the shop's resource name.
func (a *app) parent(ctx context.Context) (string, error) {
	if a.shop == "" {
		if _, err := a.settings(ctx); err != nil {
			return "", err
		}
	}
	return "shops/" + a.shop, nil
}

// begin gives the client and the shop's resource name: what nearly every command
// starts with.
func (a *app) begin(ctx context.Context) (*client.Client, string, error) {
	c, err := a.dial()
	if err != nil {
		return nil, "", err
	}
	parent, err := a.parent(ctx)
	return c, parent, err
}

// units are the units and the place that figures are shown in.
type units struct {
	mass unit.MassUnit
	temp unit.TempUnit
	zone *time.Location
}

func (a *app) units(ctx context.Context) (units, error) {
	s, err := a.settings(ctx)
	if err != nil {
		return units{}, err
	}
	return zoned(s), nil
}

func zoned(s *pb.Shop) units {
	zone, err := time.LoadLocation(s.GetTimeZone())
	if err != nil {
		zone = time.UTC
	}
	return units{unit.MassUnit(s.GetMassUnit()), unit.TempUnit(s.GetTemperatureUnit()), zone}
}

// named is the resource name of a thing; one that is a whole name already stays.
func named(parent, collection, id string) string {
	if strings.HasPrefix(id, "shops/") {
		return id
	}
	return parent + "/" + collection + "/" + id
}

// last is the last id of a resource name.
func last(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

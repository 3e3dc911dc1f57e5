package server

import (
	"context"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// marketPrices are what markets asked for metals.
type marketPrices struct {
	pb.UnimplementedMarketPriceServiceServer
	counter
}

func (s marketPrices) ImportMarketPrices(ctx context.Context, r *pb.ImportMarketPricesRequest) (*pb.ImportMarketPricesResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	c := ledger.MarketPrices{}
	for i, p := range r.GetPrices() {
		c.Prices = append(c.Prices, ledger.MarketPrice{Metal: d.ref(sub(indexed("prices", i), "metal"), p.GetMetal(), "alloys"), Day: p.GetDay(), Price: p.GetPrice()})
	}
	e := record(d, (*shop.Shop).KeepMarketPrices, c)
	return reply(d, &pb.ImportMarketPricesResponse{Kept: count(len(c.Prices)), Entry: d.entry(e)})
}

func (s marketPrices) GetMarketPrice(ctx context.Context, r *pb.GetMarketPriceRequest) (*pb.GetMarketPriceResponse, error) {
	d := s.read(ctx, "name", r.GetName(), "shops/*/marketPrices/*")
	none := &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "name", Value: r.GetName(), Want: "no market price of this metal and day, such as Cu.2026-11-02"}
	at := strings.LastIndex(d.id(), ".")
	if at < 0 {
		d.fail(none)
		at = 0
	}
	metal, day := d.id()[:at], strings.TrimPrefix(d.id()[at:], ".")
	all := d.prices(metal, day, day)
	if d.err == nil && len(all) == 0 {
		d.fail(none)
	}
	if d.err != nil {
		return nil, d.err
	}
	return reply(d, &pb.GetMarketPriceResponse{MarketPrice: d.marketPrice(all[0])})
}

func (s marketPrices) FindMarketPrice(ctx context.Context, r *pb.FindMarketPriceRequest) (*pb.FindMarketPriceResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	metal, day := d.ref("metal", r.GetMetal(), "alloys"), r.GetDay()
	if d.err != nil {
		return nil, d.err
	}
	if day == "" {
		day = d.Today(d.settings)
	}
	p, err := d.MarketPriceOf(ctx, metal, day)
	d.fail(err)
	return reply(d, &pb.FindMarketPriceResponse{MarketPrice: d.marketPrice(p)})
}

func (s marketPrices) ListMarketPrices(ctx context.Context, r *pb.ListMarketPricesRequest) (*pb.ListMarketPricesResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	at := d.page(r)
	var out []ledger.MarketPrice
	for _, p := range d.prices(d.ref("metal", r.GetMetal(), "alloys"), r.GetFromDay(), r.GetUntilDay()) {
		if p.Metal+"."+p.Day > at.after && len(out) < at.limit {
			out = append(out, p)
		}
	}
	next := ""
	if len(out) > 0 {
		end := out[len(out)-1]
		next = at.next(len(out), end.Metal+"."+end.Day)
	}
	return reply(d, &pb.ListMarketPricesResponse{MarketPrices: showAll(out, d.marketPrice), NextPageToken: next})
}

func (d *desk) prices(metal, from, until string) []ledger.MarketPrice {
	if d.err != nil {
		return nil
	}
	all, err := d.MarketPrices(d.ctx, metal, from, until)
	d.fail(err)
	return all
}

func (d *desk) marketPrice(p ledger.MarketPrice) *pb.MarketPrice {
	return &pb.MarketPrice{Name: d.name("marketPrices", p.Metal+"."+p.Day), Metal: p.Metal, Day: p.Day, Price: p.Price}
}

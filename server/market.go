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
	if d.err != nil {
		return nil, d.err
	}
	all, _, err := d.MarketPricePage(ctx, metal, day, day, "", 1)
	if err == nil && len(all) == 0 {
		err = none
	}
	if d.fail(err).err != nil {
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
	at, metal := d.page(r), d.ref("metal", r.GetMetal(), "alloys")
	if d.err != nil {
		return nil, d.err
	}
	out, next, err := d.MarketPricePage(ctx, metal, r.GetFromDay(), r.GetUntilDay(), at.after, at.limit)
	return reply(d.fail(err), &pb.ListMarketPricesResponse{MarketPrices: showAll(out, d.marketPrice), NextPageToken: at.token(next)})
}

func (d *desk) marketPrice(p ledger.MarketPrice) *pb.MarketPrice {
	return &pb.MarketPrice{Name: d.name("marketPrices", p.Key()), Metal: p.Metal, Day: p.Day, Price: p.Price}
}

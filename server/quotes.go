package server

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"time"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/unit"
)

// quotes say what commissions will cost.
type quotes struct {
	pb.UnimplementedQuoteServiceServer
	counter
}

func (s quotes) MakeQuote(ctx context.Context, r *pb.MakeQuoteRequest) (*pb.MakeQuoteResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), commissionName)
	c := ledger.MakeQuote{Commission: d.id(), Prices: d.namedRanges("prices", r.GetPrices(), "alloys"), Hours: d.namedRanges("hours", r.GetHours(), ""),
		Bought: d.namedRanges("bought_in", r.GetBoughtIn(), ""), Margin: d.percentOrNil("margin_percent", r.GetMarginPercent()), Until: r.GetUntilDay(), Note: r.GetNote()}
	if c.Seed = uint64(max(r.GetSeed(), 0)); r.GetSeed() < 0 {
		d.invalid("NEGATIVE", "seed", fmt.Sprint(r.GetSeed()), "must not be negative")
	}
	e := record(d, (*shop.Shop).MakeQuote, c)
	return reply(d, &pb.MakeQuoteResponse{Quote: d.quote(mustMake[ledger.Quote](d, e, ledger.RecQuote), true, happened(e), seqOf(e)), Entry: d.entry(e)})
}

func (d *desk) namedRanges(field string, all []*pb.NamedFigure, collection string) (out []ledger.NamedRange) {
	for i, f := range all {
		what := f.GetWhat()
		if collection != "" {
			what = d.ref(sub(indexed(field, i), "what"), what, collection)
		}
		out = append(out, ledger.NamedRange{Name: what, Range: typed(f.GetFigure())})
	}
	return out
}

func (s quotes) GetQuote(ctx context.Context, r *pb.GetQuoteRequest) (*pb.GetQuoteResponse, error) {
	d := s.read(ctx, "name", r.GetName(), commissionName+"/quotes/*")
	if d.err != nil {
		return nil, d.err
	}
	q := load[ledger.Quote](d, ledger.RecQuote, d.quoteID(d.ids[1], d.id()))
	if d.err == nil && q.Value.Commission != d.ids[1] {
		d.fail(&ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "quote", Value: d.id(), Want: "no quote of this name of commission " + d.ids[1]})
	}
	if d.err != nil {
		return nil, d.err
	}
	return reply(d, &pb.GetQuoteResponse{Quote: d.quote(q.Value, true, d.firstWritten(ledger.RecQuote, q.Value.ID), q.Seq)})
}

// quoteID is the id of a quote that may be named by its version alone: 2 of otters is,
// unless ids were given otherwise, otters-2.
func (d *desk) quoteID(commission, id string) string {
	version, err := strconv.ParseInt(id, 10, 64)
	if err != nil {
		return id
	}
	for after := ""; ; {
		page, err := ledger.List[ledger.Quote](d.ctx, d.Book, ledger.RecQuote, ledger.OfCommission(commission), after, 0)
		if d.fail(err).err != nil || len(page) == 0 {
			return id
		}
		for _, q := range page {
			if after = q.Value.ID; q.Value.Version == version {
				return q.Value.ID
			}
		}
	}
}

func (s quotes) ListQuotes(ctx context.Context, r *pb.ListQuotesRequest) (*pb.ListQuotesResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), commissionName)
	load[ledger.Commission](d, ledger.RecCommission, d.id())
	got, next := list[ledger.Quote](d, r, ledger.RecQuote, ledger.OfCommission(d.id()), nil)
	return reply(d, &pb.ListQuotesResponse{NextPageToken: next, Quotes: showAll(got, func(v ledger.Stamped[ledger.Quote]) *pb.Quote {
		return d.quote(v.Value, false, d.firstWritten(ledger.RecQuote, v.Value.ID), v.Seq)
	})})
}

// quote shows a version, with all that it was reckoned from if it is whole.
func (d *desk) quote(q ledger.Quote, whole bool, at time.Time, seq int64) *pb.Quote {
	m := func(minor int64) *pb.Money { return money(minor, q.Currency) }
	p := &pb.Quote{Name: d.in(q.Commission, "quotes", q.ID), Version: q.Version, Low: m(q.Low), Likely: m(q.Likely), High: m(q.High), Average: m(q.Average), Cost: m(q.Cost),
		Seed: int64(min(q.Basis.Seed, math.MaxInt64)), UntilDay: q.Until, Note: q.Note, QuoteTime: moment(at), Void: q.Void, Entry: d.entryName(seq)}
	if !whole {
		return p
	}
	for _, l := range q.Lines {
		p.Lines = append(p.Lines, &pb.CostLine{What: l.Cause, Money: m(l.Minor)})
	}
	p.Assumptions = q.Assumed
	p.Figures = d.quoteFigures(q.Basis, m)
	return p
}

func (d *desk) quoteFigures(b ledger.QuoteBasis, m func(int64) *pb.Money) (out []*pb.QuoteFigure) {
	add := func(what, unit string, r ledger.Range, word func(int64) string) {
		text := word(r.Likely)
		if r.Low != r.High {
			text = word(r.Low) + " to " + word(r.High) + ", likeliest " + text
		}
		out = append(out, &pb.QuoteFigure{What: what, Unit: unit, Low: r.Low, Likely: r.Likely, High: r.High, Text: text})
	}
	sure := func(v int64) ledger.Range { return ledger.Range{Low: v, Likely: v, High: v} }
	minor := func(v int64) string { return m(v).GetText() }
	byMass := func(v int64) string { return d.perUnit(v, int64(ledger.Tonne)) }
	share := func(v int64) string { return unit.FormatPercent(v) }
	plain := func(v int64) string { return fmt.Sprint(v) }
	for _, c := range b.Castings {
		add("copies of "+c.Name, "1", sure(c.Copies), plain)
		add("metal of "+c.Name, "mg", c.Metal, d.massText)
		add("gating of "+c.Name, "mg", c.Gating, d.massText)
	}
	for _, x := range b.Metals {
		add("price of "+x.Alloy, "minor/t", x.Price, byMass)
		out[len(out)-1].Source = x.Source
		if !x.AtCost {
			add("recovered value of "+x.Alloy, "minor/t", x.Recovered, byMass)
		}
		add("loss of "+x.Alloy, "ppm", x.Loss, share)
	}
	for _, w := range b.Work {
		add("hours of "+w.Kind, "minutes", w.Minutes, unit.FormatHours)
		add("an hour of "+w.Kind, "minor/h", sure(w.Rate), minor)
	}
	for _, x := range b.Bought {
		add(x.Name, "minor", x.Range, minor)
	}
	add("consumables of a mold", "minor", b.Mold, minor)
	add("consumables by charge", "minor/t", b.PerMass, byMass)
	add("fuel by charge", "minor/t", b.Fuel, byMass)
	add("castings that failed so far", "1", sure(b.Failed), plain)
	add("castings so far", "1", sure(b.Cast), plain)
	add("overhead on labour", "ppm", sure(int64(b.Overhead)), share)
	add("margin of the price", "ppm", sure(int64(b.Margin)), share)
	return out
}

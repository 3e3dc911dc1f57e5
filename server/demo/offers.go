package demo

import (
	"context"
	"fmt"
	"math"
	"time"

	pb "example.org/remelt/api/remelt/v1"
)

// offer is one of the demo's offers: invented figures of an ordinary size.
type offer struct {
	party, alloy, supply string
	piece                string // lb
	bundle, lead, off    int32
	breaks               [][2]string // amount, price
	freight              string
	buys                 bool
	form                 pb.Form
}

var standing = []offer{
	{party: "northquay", alloy: "C87300", piece: "23", bundle: 4, lead: 6, off: 1, freight: "45.00 USD", breaks: [][2]string{{"", "4.90 USD/lb"}, {"368 lb", "4.65 USD/lb"}, {"920 lb", "4.48 USD/lb"}}},
	{party: "northquay", alloy: "356.0", piece: "15", bundle: 10, lead: 6, off: 1, freight: "15.00 USD", breaks: [][2]string{{"", "2.21 USD/lb"}, {"300 lb", "2.14 USD/lb"}}},
	{party: "calder", alloy: "C87300", piece: "20", lead: 12, off: 3, breaks: [][2]string{{"", "4.80 USD/lb"}, {"500 lb", "4.60 USD/lb"}}},
	{party: "calder", alloy: "C90300", piece: "20", lead: 12, off: 3, breaks: [][2]string{{"", "6.05 USD/lb"}, {"200 lb", "5.90 USD/lb"}}},
	{party: "calder", supply: "borax", piece: "50", lead: 9, freight: "12.00 USD", breaks: [][2]string{{"", "1.95 USD/lb"}}},
	{party: "calder", supply: "crucible-60", lead: 14, off: 4, breaks: [][2]string{{"", "238.00 USD/pc"}, {"4", "221.00 USD/pc"}}},
	{party: "tarn", alloy: "C87300", buys: true, breaks: [][2]string{{"", "2.55 USD/lb"}, {"200 lb", "2.70 USD/lb"}}},
	{party: "tarn", alloy: "C87300", buys: true, form: pb.Form_FORM_SKIMMINGS, breaks: [][2]string{{"", "0.62 USD/lb"}}},
	{party: "tarn", alloy: "356.0", buys: true, form: pb.Form_FORM_SKIMMINGS, breaks: [][2]string{{"", "0.11 USD/lb"}}},
}

// market is what the metals cost on the market at the start, in USD a pound.
var market = []struct {
	metal string
	usd   float64
}{{"Cu", 4.22}, {"Sn", 14.60}, {"Al", 1.16}, {"C87300", 4.95}}

// offers has two suppliers and an outlet write twice in the year, and keeps the market's
// prices at the end of each quarter, a week a price. It draws nothing, so that a year is
// the same with and without it.
func (y *year) offers(ctx context.Context) {
	for i, months := range []int{1, 10} {
		y.after(y.start.AddDate(0, months, 0), hours(10), func(t time.Time) error {
			for _, o := range standing {
				if i == 0 && o.supply == "" && !o.buys { // dearer at first, and run out by now
					o.breaks = o.breaks[:1]
				}
				if err := y.writeOffer(ctx, t, o, t.AddDate(0, 3+i, 0)); err != nil {
					return err
				}
			}
			return nil
		})
	}
	for q := range 4 {
		y.after(y.start.AddDate(0, 3*q+3, -2), hours(9), func(t time.Time) error { return y.marketPrices(ctx, t, 13*q) })
	}
}

func (y *year) writeOffer(ctx context.Context, t time.Time, o offer, until time.Time) error {
	p := &pb.Offer{Party: o.party, Alloy: o.alloy, Supply: o.supply, Buys: o.buys, Form: o.form, BundlePieces: int64(o.bundle), Freight: o.freight,
		LeadOffDays: o.off, UntilDay: until.Format(time.DateOnly)}
	if o.piece != "" {
		p.Piece = lb(o.piece)
	}
	if o.lead > 0 {
		p.LeadDays = &o.lead
	}
	for _, b := range o.breaks {
		x := &pb.OfferBreak{Price: b[1]}
		if o.supply == "crucible-60" {
			_, _ = fmt.Sscan(b[0], &x.FromPieces) // "" is none
		} else if b[0] != "" {
			x.From = &pb.Mass{Text: b[0]}
		}
		p.Breaks = append(p.Breaks, x)
	}
	_, err := send(ctx, y.api, t, "Mara Quill", y.offer.CreateOffer, &pb.CreateOfferRequest{Parent: y.parent(), Offer: p})
	return err
}

// marketPrices keeps thirteen weeks of each metal: a slow wave and a small rise.
func (y *year) marketPrices(ctx context.Context, t time.Time, week int) error {
	req := &pb.ImportMarketPricesRequest{Parent: y.parent()}
	for i, m := range market {
		for w := week; w < week+13; w++ {
			usd := m.usd * (1 + 0.05*math.Sin(float64(w)/7+float64(i)) + 0.001*float64(w))
			req.Prices = append(req.Prices, &pb.MarketPrice{Metal: m.metal, Day: y.start.AddDate(0, 0, 7*w).Format(time.DateOnly), Price: fmt.Sprintf("%.3f USD/lb", usd)})
		}
	}
	_, err := send(ctx, y.api, t, "Mara Quill", y.market.ImportMarketPrices, req)
	return err
}

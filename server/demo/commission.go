package demo

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

// The one commission that is quoted and costed: three otters for the town, quoted twice
// and cast in the next heats of silicon bronze.
const (
	otters      = "otters"
	otterAlloy  = "C87300"
	otterCopies = 3
	otterDay    = 110 // when the town asked
)

// commission queues what happens of it apart from the heats.
func (y *year) commission(ctx context.Context) {
	day := func(n int, do func(time.Time) error) { y.after(y.start, time.Duration(24*n+16)*time.Hour, do) }
	day(1, func(t time.Time) error {
		_, err := send(ctx, y.api, t, "Mara Quill", y.commissions.SetRateCard, &pb.SetRateCardRequest{Parent: y.parent(), RateCard: &pb.RateCard{
			FromTime: timestamppb.New(y.start.Truncate(24 * time.Hour)), OverheadPercent: "60", MarginPercent: "20", MoldPrice: "12..14..20 USD",
			Work: []*pb.WorkRate{{Kind: "wax", HourPrice: "34 USD", Again: true}, {Kind: "molding", HourPrice: "36 USD", Again: true},
				{Kind: "chasing", HourPrice: "42 USD"}, {Kind: "patina", HourPrice: "42 USD"}}}})
		return err
	})
	name := y.name("commissions", otters)
	quote := func(metal, note string, hours ...*pb.NamedFigure) func(time.Time) error {
		return func(t time.Time) error {
			if _, err := send(ctx, y.api, t, "Mara Quill", y.commissions.UpdateCommission, &pb.UpdateCommissionRequest{AllowMissing: true, Commission: &pb.Commission{
				Name: name, DisplayName: "Three otters for the mill pond", Customer: "wexcombe",
				Patterns: []*pb.CommissionPattern{{DisplayName: "otter", Alloy: otterAlloy, Copies: otterCopies, Metal: metal}}}}); err != nil {
				return err
			}
			_, err := send(ctx, y.api, t, "Mara Quill", y.quotes.MakeQuote, &pb.MakeQuoteRequest{Parent: name, Hours: hours, Note: note,
				BoughtIn: []*pb.NamedFigure{{What: "welding rod", Figure: "20..28..45 USD"}, {What: "stainless pins", Figure: "18 USD"}}})
			return err
		}
	}
	figure := func(kind, hours string) *pb.NamedFigure { return &pb.NamedFigure{What: kind, Figure: hours} }
	day(otterDay, quote("8..14..24 lb", "from the drawing", figure("wax", "8..12..20 h"), figure("molding", "9..12..18 h"), figure("chasing", "18..26..44 h"), figure("patina", "5..7..12 h")))
	day(otterDay+6, quote("11..14..18 lb", "from the first wax", figure("wax", "10..12..15 h"), figure("molding", "9..11..15 h"), figure("chasing", "18..24..36 h"), figure("patina", "5..7..11 h")))
	for _, w := range []struct {
		day             int
		kind, by, hours string
	}{{118, "wax", "joss", "6 h"}, {119, "wax", "joss", "5.5 h"}, {122, "molding", "mara", "7 h"}, {136, "molding", "joss", "4 h 30 min"}, {150, "chasing", "mara", "7.5 h"},
		{151, "chasing", "mara", "8 h"}, {160, "chasing", "joss", "6 h"}, {171, "chasing", "mara", "5 h 45 min"}, {180, "patina", "mara", "6 h"}} {
		day(w.day, func(t time.Time) error {
			_, err := send(ctx, y.api, t, "Mara Quill", y.commissions.RecordLabour, &pb.RecordLabourRequest{Parent: name, Labour: &pb.Labour{Kind: w.kind, Person: w.by, Hours: w.hours}})
			return err
		})
	}
	for _, x := range []struct {
		day         int
		what, price string
	}{{148, "welding rod, 2 lb", "31.40 USD"}, {178, "stainless pins", "17.25 USD"}} {
		day(x.day, func(t time.Time) error {
			_, err := send(ctx, y.api, t, "Mara Quill", y.commissions.BuyIn, &pb.BuyInRequest{Parent: name, BoughtIn: &pb.BoughtIn{What: x.what, Price: x.price}})
			return err
		})
	}
}

// forCommission gives the first mold of a heat to the commission while it wants castings.
func (h *heat) forCommission(t time.Time, molds []*pb.Mold) {
	if h.metal.alloy != otterAlloy || t.Before(h.start.AddDate(0, 0, otterDay+7)) || h.ottersCast >= otterCopies || len(molds) == 0 {
		return
	}
	h.ottersCast++
	h.molds[0].name, h.molds[0].customer = "otter", "wexcombe"
	molds[0].DisplayName, molds[0].Customer, molds[0].Commission = "otter", "wexcombe", otters
}

package server

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
)

func received(r *pb.ReceiveLotRequest) *pb.ImportRow {
	return &pb.ImportRow{Row: &pb.ImportRow_Receive{Receive: r}}
}

func weighedIn(r *pb.WeighInRequest) *pb.ImportRow {
	return &pb.ImportRow{Row: &pb.ImportRow_WeighIn{WeighIn: r}}
}

// TestImportLots books rows in of which one adds to the lot of another and one is
// unusual, with a reason of its own.
func TestImportLots(t *testing.T) {
	b := done(t)
	before := b.head()
	r := &pb.ImportLotsRequest{Parent: harrow, Who: "Jo Marsh", Rows: []*pb.ImportRow{
		received(&pb.ReceiveLotRequest{LotId: "n1", Supplier: "northmetal", Alloy: alloyID, Weighing: onFloor(4_000), HappenedTime: day(0)}),
		weighedIn(&pb.WeighInRequest{LotId: "n2", Heats: []*pb.HeatShare{{Heat: "41"}}, Weighing: onFloor(120), Reason: "behind the kiln", Who: "Ada"}),
		weighedIn(&pb.WeighInRequest{Parent: harrow, Into: "n2", Alloy: alloyID, Weighing: &pb.Weighing{Net: &pb.Mass{Text: "0.1 lb"}}}),
	}}
	got := do[*pb.ImportLotsResponse](b, r).GetRows()
	if len(got) != 3 || b.head() != before+3 {
		t.Fatalf("%d rows, %d entries", len(got), b.head()-before)
	}
	for i, want := range []string{"n1 4000000 ", "n2 120000 late more-than-was-poured", "n2 45359 "} {
		var flags []string
		for _, f := range got[i].GetFlags() {
			flags = append(flags, f.GetCode())
		}
		said := fmt.Sprintf("%s %d %s", strings.TrimPrefix(got[i].GetLot(), lotNames), got[i].GetNet().GetMg(), strings.Join(flags, " "))
		if said != want || got[i].GetEntry() != fmt.Sprintf("%s/entries/%d", harrow, before+1+int64(i)) {
			t.Errorf("row %d: %q of %s, want %q", i, said, got[i].GetEntry(), want)
		}
	}
	who := func(name string) string {
		return do[*pb.GetEntryResponse](b, &pb.GetEntryRequest{Name: name}).GetEntry().GetWho()
	}
	if who(got[0].GetEntry()) != "Jo Marsh" || who(got[1].GetEntry()) != "Ada" {
		t.Error("a row's who is not kept")
	}
	if kg := do[*pb.GetLotResponse](b, &pb.GetLotRequest{Name: lotNames + "n2"}).GetLot().GetMass().GetMg(); kg != 165_359 {
		t.Errorf("n2 holds %d mg", kg)
	}
}

// TestImportLotsRefused: every row that cannot be is told, by the request's own fields,
// in a dry run and without, and nothing is recorded.
func TestImportLotsRefused(t *testing.T) {
	b := done(t)
	before := b.head()
	r := &pb.ImportLotsRequest{Parent: harrow, Rows: []*pb.ImportRow{
		received(&pb.ReceiveLotRequest{Supplier: "northmetal", Alloy: alloyID, Weighing: onFloor(4_000)}),
		weighedIn(&pb.WeighInRequest{Alloy: alloyID, Weighing: &pb.Weighing{Net: &pb.Mass{Text: "12 stone"}}}),
		weighedIn(&pb.WeighInRequest{Parent: "shops/other", Alloy: alloyID, Weighing: onFloor(1)}),
		received(&pb.ReceiveLotRequest{Supplier: "shops/other/parties/x", Alloy: alloyID, Weighing: onFloor(1)}),
		weighedIn(&pb.WeighInRequest{Alloy: alloyID, Weighing: onFloor(1), RequestId: "7c5a7f0e-3c8f-4a60-9f35-7f21d1f5c101"}),
		weighedIn(&pb.WeighInRequest{Alloy: alloyID, Weighing: onFloor(1), ValidateOnly: true}),
		weighedIn(&pb.WeighInRequest{Alloy: alloyID, Weighing: onFloor(1), HappenedTime: day(90_000)}),
		weighedIn(&pb.WeighInRequest{Alloy: alloyID, Weighing: onFloor(1), HappenedTime: day(400)}),
	}}
	want := []string{
		"UNKNOWN_UNIT rows[1].weigh_in.weighing.net", "CONTRADICTION rows[2].weigh_in.parent", "OTHER_SHOP rows[3].receive.supplier",
		"CONTRADICTION rows[4].weigh_in.request_id", "CONTRADICTION rows[5].weigh_in.validate_only", "BAD_DATE rows[6].weigh_in.happened_time",
		"NEEDS_REASON rows[7].weigh_in.reason",
	}
	for _, dry := range []bool{true, false} {
		r.ValidateOnly = dry
		_, err := b.call(r)
		if status.Code(err) != codes.InvalidArgument {
			t.Fatalf("dry %t: %v", dry, err)
		}
		var told []string
		for _, d := range status.Convert(err).Details() {
			if bad, ok := d.(*errdetails.BadRequest); ok {
				for _, v := range bad.GetFieldViolations() {
					told = append(told, v.GetReason()+" "+v.GetField())
				}
			}
		}
		if d := cmp.Diff(want, told); d != "" {
			t.Errorf("dry %t (-want +told):\n%s", dry, d)
		}
	}
	if b.head() != before {
		t.Errorf("%d entries", b.head()-before)
	}
	r.Rows = r.GetRows()[:1]
	r.Parent = "shops/other"
	if _, err := b.call(r); status.Code(err) != codes.NotFound {
		t.Errorf("another shop: %v", err)
	}
}

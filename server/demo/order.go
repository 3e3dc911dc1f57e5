package demo

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

// order makes two purchase orders late in the year: one that came in two deliveries, and
// one that is still to come. What they bring is kept back, so that the heats are the same
// without them.
func (y *year) order(ctx context.Context) {
	a, end := y.api, y.o.End
	day := func(n int, do func(time.Time) error) { y.after(end, time.Duration(24*n)*time.Hour, do) }
	first := a.name("purchaseOrders", "P1")
	day(-62, func(t time.Time) error {
		return y.place(ctx, t, "P1", &pb.PurchaseOrder{Supplier: "calder", Freight: "38 USD", ExpectedTime: timestamppb.New(t.AddDate(0, 0, 10)), Lines: []*pb.PurchaseLine{
			{Alloy: "C87300", Pieces: 4, Each: lb("20"), Price: "4.85 USD/lb"},
			{Supply: "borax", Mass: lb("50"), Price: "96 USD"},
			{Supply: "crucible-60", Pieces: 2, Price: "235 USD/pc"}}})
	})
	day(-54, func(t time.Time) error {
		_, err := send(ctx, a, t, "Joss Tern", a.orders.ReceivePurchaseOrder, &pb.ReceivePurchaseOrderRequest{Name: first, Lines: []*pb.DeliveredLine{
			{Line: 2, Weighing: &pb.Weighing{Net: lb("50")}}, {Line: 3, Weighing: &pb.Weighing{Pieces: 2}}}})
		return err
	})
	day(-51, func(t time.Time) error {
		_, err := send(ctx, a, t, "Joss Tern", a.orders.ReceivePurchaseOrder, &pb.ReceivePurchaseOrderRequest{Name: first, Lines: []*pb.DeliveredLine{
			{Line: 1, Place: "rack", Label: "kept for the gates", Weighing: &pb.Weighing{Scale: floor.id, Net: lb("80.6"), Pieces: 4}}}})
		return err
	})
	day(-4, func(t time.Time) error {
		return y.place(ctx, t, "P2", &pb.PurchaseOrder{Supplier: "northquay", Freight: "42 USD", ExpectedTime: timestamppb.New(t.AddDate(0, 0, 10)), Note: "call before they come",
			Lines: []*pb.PurchaseLine{{Alloy: "C90300", Pieces: 8, Each: lb("23"), LeastPieces: 4, Price: "6.10 USD/lb"}}})
	})
}

// place writes an order and gives it to its supplier.
func (y *year) place(ctx context.Context, t time.Time, id string, o *pb.PurchaseOrder) error {
	r, err := send(ctx, y.api, t, "Mara Quill", y.orders.CreatePurchaseOrder, &pb.CreatePurchaseOrderRequest{Parent: y.parent(), PurchaseOrderId: id, PurchaseOrder: o})
	if err != nil {
		return err
	}
	_, err = send(ctx, y.api, t.Add(hours(1)), "Mara Quill", y.orders.PlacePurchaseOrder, &pb.PlacePurchaseOrderRequest{Name: r.GetPurchaseOrder().GetName()})
	return err
}

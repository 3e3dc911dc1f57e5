package server

import (
	"context"
	"slices"
	"strconv"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
)

// purchases are orders of suppliers.
type purchases struct {
	pb.UnimplementedPurchaseOrderServiceServer
	counter
}

const purchaseName = "shops/*/purchaseOrders/*"

func (s purchases) CreatePurchaseOrder(ctx context.Context, r *pb.CreatePurchaseOrderRequest) (*pb.CreatePurchaseOrderResponse, error) {
	d := s.write(ctx, r, "parent", r.GetParent(), "shops/*")
	d.at, d.inside = "purchase_order", r.GetPurchaseOrder().ProtoReflect().Descriptor()
	e := record(d, (*shop.Shop).WriteOrder, d.readPurchase("purchase_order", r.GetPurchaseOrder(), r.GetPurchaseOrderId()))
	o, _ := made[ledger.Order](d, e, ledger.RecOrder)
	return reply(d, &pb.CreatePurchaseOrderResponse{PurchaseOrder: d.purchase(o.ID), Entry: d.entry(e)})
}

func (s purchases) GetPurchaseOrder(ctx context.Context, r *pb.GetPurchaseOrderRequest) (*pb.GetPurchaseOrderResponse, error) {
	d, p := purchaseSetting.get(ctx, s.counter, r.GetName())
	return reply(d, &pb.GetPurchaseOrderResponse{PurchaseOrder: p})
}

func (s purchases) ListPurchaseOrders(ctx context.Context, r *pb.ListPurchaseOrdersRequest) (*pb.ListPurchaseOrdersResponse, error) {
	d := s.read(ctx, "parent", r.GetParent(), "shops/*")
	var states []ledger.OrderState
	for i, st := range r.GetStates() {
		states = append(states, orderStates.read(d, indexed("states", i), st))
	}
	supplier := d.ref("supplier", r.GetSupplier(), "parties")
	got, next := list(d, r, ledger.RecOrder, "", func(o ledger.Order) bool {
		return (len(states) == 0 || slices.Contains(states, o.State())) && (supplier == "" || o.Supplier == supplier)
	})
	return reply(d, &pb.ListPurchaseOrdersResponse{NextPageToken: next,
		PurchaseOrders: showAll(got, func(v ledger.Stamped[ledger.Order]) *pb.PurchaseOrder { return purchaseSetting.shown(d, v) })})
}

func (s purchases) UpdatePurchaseOrder(ctx context.Context, r *pb.UpdatePurchaseOrderRequest) (*pb.UpdatePurchaseOrderResponse, error) {
	d, p, e := purchaseSetting.update(ctx, s.counter, r, r.GetPurchaseOrder(), r.GetPurchaseOrder().GetName(), false)
	return reply(d, &pb.UpdatePurchaseOrderResponse{PurchaseOrder: p, Entry: d.entry(e)})
}

func (s purchases) PlacePurchaseOrder(ctx context.Context, r *pb.PlacePurchaseOrderRequest) (*pb.PlacePurchaseOrderResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), purchaseName)
	e := record(d, (*shop.Shop).PlaceOrder, ledger.PlaceOrder{Order: d.id(), Expected: d.time("expected_time", r.GetExpectedTime())})
	return reply(d, &pb.PlacePurchaseOrderResponse{PurchaseOrder: d.purchase(d.id()), Entry: d.entry(e)})
}

func (s purchases) ReceivePurchaseOrder(ctx context.Context, r *pb.ReceivePurchaseOrderRequest) (*pb.ReceivePurchaseOrderResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), purchaseName)
	c := ledger.ReceiveOrder{Order: d.id(), Freight: r.GetFreight()}
	for i, l := range r.GetLines() {
		at := indexed("lines", i)
		c.Lines = append(c.Lines, ledger.Delivered{Line: int(l.GetLine()), LotID: l.GetLotId(), Dirty: l.GetDirty(), Place: d.ref(sub(at, "place"), l.GetPlace(), "places"),
			Label: l.GetLabel(), Weighing: d.weighing(sub(at, "weighing"), l.GetWeighing()), Certificate: d.certificate(sub(at, "certificate"), l.GetCertificate()), Last: l.GetLast(), Price: l.GetPrice()})
	}
	e := record(d, (*shop.Shop).ReceiveOrder, c)
	return reply(d, &pb.ReceivePurchaseOrderResponse{PurchaseOrder: d.purchase(d.id()), Entry: d.entry(e), Lots: d.otherLots(e, "")})
}

func (s purchases) GiveUpPurchaseOrder(ctx context.Context, r *pb.GiveUpPurchaseOrderRequest) (*pb.GiveUpPurchaseOrderResponse, error) {
	d := s.write(ctx, r, "name", r.GetName(), purchaseName)
	e := record(d, (*shop.Shop).GiveUpOrder, ledger.GiveUpOrder{Order: d.id(), Why: r.GetWhy()})
	return reply(d, &pb.GiveUpPurchaseOrderResponse{PurchaseOrder: d.purchase(d.id()), Entry: d.entry(e)})
}

var purchaseSetting = setting[ledger.Order, ledger.WriteOrder, *pb.PurchaseOrder]{
	kind: ledger.RecOrder, collection: "purchaseOrders", field: "purchase_order", set: (*shop.Shop).ChangeOrder,
	key:  func(v ledger.Order) string { return v.ID },
	show: func(d *desk, v ledger.Order, seq int64) *pb.PurchaseOrder { return d.purchaseRecord(v, seq) },
	read: func(d *desk, at string, p *pb.PurchaseOrder, id string) ledger.WriteOrder {
		return d.readPurchase(at, p, id)
	},
}

// purchase shows an order as it is now.
func (d *desk) purchase(id string) *pb.PurchaseOrder {
	if id == "" {
		return nil
	}
	return purchaseSetting.now(d, id)
}

func (d *desk) readPurchase(at string, p *pb.PurchaseOrder, id string) ledger.WriteOrder {
	c := ledger.WriteOrder{ID: id, Supplier: d.ref(sub(at, "supplier"), p.GetSupplier(), "parties"), Freight: p.GetFreight(),
		Expected: d.time(sub(at, "expected_time"), p.GetExpectedTime()), Note: p.GetNote()}
	for i, l := range p.GetLines() {
		line := indexed(sub(at, "lines"), i)
		c.Lines = append(c.Lines, ledger.OrderItem{Alloy: d.ref(sub(line, "alloy"), l.GetAlloy(), "alloys"), Form: forms.read(d, sub(line, "form"), l.GetForm()),
			Supply: d.ref(sub(line, "supply"), l.GetSupply(), "supplies"), Mass: d.amount(l.GetMass()), Pieces: l.GetPieces(), Each: d.amount(l.GetEach()),
			LeastMass: d.amount(l.GetLeast()), LeastPieces: l.GetLeastPieces(), Price: l.GetPrice()})
	}
	return c
}

// purchaseRecord shows what the book keeps of an order, and what follows from it.
func (d *desk) purchaseRecord(v ledger.Order, seq int64) *pb.PurchaseOrder {
	ordered, came := v.Worth()
	p := &pb.PurchaseOrder{Name: d.name("purchaseOrders", v.ID), Supplier: d.name("parties", v.Supplier), Freight: typedPrice(v.Freight), ExpectedTime: moment(v.Expected),
		Note: v.Note, State: orderStates.show(v.State()), OrderTime: moment(v.Placed), HereTime: moment(v.AllHereOn()), GiveUpTime: moment(v.GivenUp), GiveUpReason: v.GivenUpWhy,
		Cost: d.minor(ordered.Goods + ordered.Freight), ReceivedCost: d.minor(came.Goods + came.Freight), Etag: etag(seq)}
	for i, l := range v.Lines {
		got := v.Came(i)
		mass, pieces := v.Missing(i)
		line := &pb.PurchaseLine{Alloy: d.name("alloys", l.Alloy), Form: forms.show(l.Form), Supply: d.name("supplies", l.Supply), Mass: d.quantity(l.Mass),
			Pieces: l.Pieces, Each: d.quantity(l.Each), Least: d.quantity(l.LeastMass), LeastPieces: l.LeastPieces, Price: typedPrice(l.Price),
			Received: d.massOrNil(got.Mass), ReceivedPieces: got.Pieces, Missing: d.massOrNil(mass), MissingPieces: pieces}
		if asked := v.Asked(i); asked != nil {
			line.Cost, line.PricedCost = d.minor(asked.InBook().Minor), money(asked.Minor, asked.Currency)
		}
		p.Lines = append(p.Lines, line)
	}
	p.PricedCosts, p.Exchanges = pricedCosts(v)
	for _, r := range v.Receipts {
		shown := &pb.PurchaseReceipt{Entry: d.name("entries", strconv.FormatInt(r.Entry, 10)), ReceiveTime: moment(r.When), Void: r.Void, Freight: typedPrice(r.Freight)}
		for _, x := range r.Lines {
			line := &pb.ReceivedLine{Line: count(x.Line), Lot: d.name("lots", x.Lot), Net: d.massOrNil(x.Net), Pieces: x.Pieces, Last: x.Last, Price: typedPrice(x.Price)}
			if minor, known := v.Cost(&x); known && x.Line <= len(v.Lines) {
				line.Cost = d.minor(minor)
			}
			shown.Lines = append(shown.Lines, line)
		}
		p.Receipts = append(p.Receipts, shown)
	}
	return p
}

// pricedCosts are what an order comes to in each currency that its prices and its
// freight are in, as they come, and the rates of exchange they are typed with.
func pricedCosts(v ledger.Order) (out []*pb.Money, exchanges []string) {
	var order []string
	sums := map[string]int64{}
	add := func(p *ledger.Price) {
		if p == nil {
			return
		}
		if _, seen := sums[p.Currency]; !seen {
			order = append(order, p.Currency)
		}
		sums[p.Currency] += p.Minor
		if p.Exchange != "" && !slices.Contains(exchanges, p.Exchange) {
			exchanges = append(exchanges, p.Exchange)
		}
	}
	for i := range v.Lines {
		add(v.Asked(i))
	}
	add(v.AskedFreight())
	for _, currency := range order {
		out = append(out, money(sums[currency], currency))
	}
	return out, exchanges
}

func typedPrice(t *ledger.Terms) string {
	if t == nil {
		return ""
	}
	return t.Typed
}

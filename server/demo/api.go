package demo

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
)

// api is the public API as the demo uses it. Every write goes through send,
// which dates it and gives it its request id.
type api struct {
	shops       pb.ShopServiceClient
	lots        pb.LotServiceClient
	heats       pb.HeatServiceClient
	castings    pb.CastingServiceClient
	entries     pb.EntryServiceClient
	scales      pb.ScaleServiceClient
	places      pb.PlaceServiceClient
	tares       pb.TareServiceClient
	parties     pb.PartyServiceClient
	pots        pb.PotServiceClient
	supplies    pb.SupplyServiceClient
	stocktake   pb.StocktakeServiceClient
	orders      pb.PurchaseOrderServiceClient
	costs       pb.CostServiceClient
	offer       pb.OfferServiceClient
	market      pb.MarketPriceServiceClient
	commissions pb.CommissionServiceClient
	quotes      pb.QuoteServiceClient

	shop  string
	seed  uint64
	sent  uint64
	clock func(time.Time)
}

func newAPI(conn grpc.ClientConnInterface, o Options) *api {
	return &api{
		shops: pb.NewShopServiceClient(conn), lots: pb.NewLotServiceClient(conn), heats: pb.NewHeatServiceClient(conn),
		castings: pb.NewCastingServiceClient(conn), entries: pb.NewEntryServiceClient(conn), scales: pb.NewScaleServiceClient(conn),
		places: pb.NewPlaceServiceClient(conn), tares: pb.NewTareServiceClient(conn), parties: pb.NewPartyServiceClient(conn),
		pots: pb.NewPotServiceClient(conn), supplies: pb.NewSupplyServiceClient(conn), stocktake: pb.NewStocktakeServiceClient(conn),
		orders: pb.NewPurchaseOrderServiceClient(conn), costs: pb.NewCostServiceClient(conn),
		offer: pb.NewOfferServiceClient(conn), market: pb.NewMarketPriceServiceClient(conn),
		commissions: pb.NewCommissionServiceClient(conn), quotes: pb.NewQuoteServiceClient(conn),
		shop: o.Shop, seed: o.Seed, clock: o.Clock,
	}
}

// name is the resource name of a thing of the shop.
func (a *api) name(collection, id string) string {
	return "shops/" + a.shop + "/" + collection + "/" + id
}

func (a *api) parent() string { return "shops/" + a.shop }

// write is what every writing request has.
type write interface {
	proto.Message
	GetRequestId() string
}

// send dates a request, gives it its id and sends it.
func send[Req write, Resp any](ctx context.Context, a *api, at time.Time, who string, call func(context.Context, Req, ...grpc.CallOption) (Resp, error), req Req) (Resp, error) {
	if a.clock != nil {
		a.clock(at)
	}
	m := req.ProtoReflect()
	fields := m.Descriptor().Fields()
	set := func(name string, v any) {
		switch v := v.(type) {
		case string:
			m.Set(fields.ByName(protoName(name)), protoString(v))
		case *timestamppb.Timestamp:
			m.Set(fields.ByName(protoName(name)), protoMessage(v))
		}
	}
	set("request_id", a.requestID())
	set("happened_time", timestamppb.New(at))
	if who != "" {
		set("who", who)
		set("device", "floor tablet")
	}
	resp, err := call(ctx, req)
	if err != nil {
		return resp, fmt.Errorf("demo, on %s, %s: %w", at.Format("2 Jan 2006"), m.Descriptor().Name(), err)
	}
	return resp, nil
}

// requestID is the next of a sequence that follows from the seed.
func (a *api) requestID() string {
	var b [16]byte
	binary.BigEndian.PutUint64(b[:8], a.seed)
	binary.BigEndian.PutUint64(b[8:], a.sent)
	a.sent++
	sum := sha256.Sum256(append([]byte("remelt demo "+a.shop+" "), b[:]...))
	id, _ := uuid.FromBytes(sum[:16])
	id[6], id[8] = id[6]&0x0f|0x80, id[8]&0x3f|0x80 // UUID version 8 of RFC 9562: made by a rule of our own
	return id.String()
}

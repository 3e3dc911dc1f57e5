package server

import (
	"context"
	"io"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/grpc"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/server/signin"
)

// Deps is what the services of the API work with.
type Deps struct {
	// Books gives the book of a shop, an empty one for a shop that has none.
	Books func(ctx context.Context, shop string) (*shop.Shop, error)

	// Shops lists the ids of all shops that have a book, ascending.
	Shops func(ctx context.Context) ([]string, error)

	// Follow sends every entry after a number, in order, and then each new one
	// until ctx is done; beat is told the last number when all is sent, and
	// after each silence.
	Follow func(ctx context.Context, s *shop.Shop, after int64, send func(*ledger.Entry) error, beat func(last int64) error) error

	// Backup writes a copy of the store that holds the shop's book, taken while
	// the server works, and says what verifying that copy found. nil when the
	// store has no copy to give.
	Backup func(ctx context.Context, shop string, w io.Writer, progress func(done, total int64)) (ledger.Verified, error)

	// Door makes what people, programs and devices sign in with.
	Door *signin.Door

	// URL is the address of the pages, for links to them.
	URL string
}

// RegisterServices adds every service of the API to a server. Their methods
// return the domain's errors as they are; an interceptor translates them.
func RegisterServices(s grpc.ServiceRegistrar, d Deps) {
	c := counter{d.Books}
	pb.RegisterShopServiceServer(s, shops{counter: c, ids: d.Shops, backup: d.Backup})
	pb.RegisterPersonServiceServer(s, people{counter: c, door: d.Door, url: d.URL})
	pb.RegisterPlaceServiceServer(s, places{counter: c})
	pb.RegisterScaleServiceServer(s, scales{counter: c, readings: newReadings()})
	pb.RegisterTareServiceServer(s, tares{counter: c})
	pb.RegisterPartyServiceServer(s, parties{counter: c})
	pb.RegisterPotServiceServer(s, pots{counter: c})
	pb.RegisterSupplyServiceServer(s, supplies{counter: c})
	pb.RegisterAlloyServiceServer(s, alloys{counter: c})
	pb.RegisterLotServiceServer(s, lots{counter: c})
	pb.RegisterHeatServiceServer(s, heats{counter: c})
	pb.RegisterMoldServiceServer(s, molds{counter: c})
	pb.RegisterCastingServiceServer(s, castings{counter: c})
	pb.RegisterStocktakeServiceServer(s, stocktakes{counter: c})
	pb.RegisterEntryServiceServer(s, entries{counter: c, follow: d.Follow})
	pb.RegisterStockServiceServer(s, stock{counter: c})
	pb.RegisterBalanceServiceServer(s, balances{counter: c})
	pb.RegisterCostServiceServer(s, costs{counter: c})
	pb.RegisterAnalysisServiceServer(s, analysis{counter: c})
	pb.RegisterPlanningServiceServer(s, planning{counter: c})
	pb.RegisterOrderingServiceServer(s, ordering{counter: c})
	pb.RegisterPurchaseOrderServiceServer(s, purchases{counter: c})
	pb.RegisterOfferServiceServer(s, offers{counter: c})
	pb.RegisterMarketPriceServiceServer(s, marketPrices{counter: c})
	pb.RegisterCommissionServiceServer(s, commissions{counter: c})
	pb.RegisterQuoteServiceServer(s, quotes{counter: c})
}

// RegisterGateway adds the REST form of every service to a gateway that calls
// the services over conn.
func RegisterGateway(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
	for _, register := range []func(context.Context, *runtime.ServeMux, grpc.ClientConnInterface) error{
		over(pb.RegisterShopServiceHandlerClient, pb.NewShopServiceClient),
		over(pb.RegisterPersonServiceHandlerClient, pb.NewPersonServiceClient),
		over(pb.RegisterPlaceServiceHandlerClient, pb.NewPlaceServiceClient),
		over(pb.RegisterScaleServiceHandlerClient, pb.NewScaleServiceClient),
		over(pb.RegisterTareServiceHandlerClient, pb.NewTareServiceClient),
		over(pb.RegisterPartyServiceHandlerClient, pb.NewPartyServiceClient),
		over(pb.RegisterPotServiceHandlerClient, pb.NewPotServiceClient),
		over(pb.RegisterSupplyServiceHandlerClient, pb.NewSupplyServiceClient),
		over(pb.RegisterAlloyServiceHandlerClient, pb.NewAlloyServiceClient),
		over(pb.RegisterMoldServiceHandlerClient, pb.NewMoldServiceClient),
		over(pb.RegisterCastingServiceHandlerClient, pb.NewCastingServiceClient),
		over(pb.RegisterStocktakeServiceHandlerClient, pb.NewStocktakeServiceClient),
		over(pb.RegisterStockServiceHandlerClient, pb.NewStockServiceClient),
		over(pb.RegisterOrderingServiceHandlerClient, pb.NewOrderingServiceClient),
		over(pb.RegisterPurchaseOrderServiceHandlerClient, pb.NewPurchaseOrderServiceClient),
		over(pb.RegisterOfferServiceHandlerClient, pb.NewOfferServiceClient),
		over(pb.RegisterMarketPriceServiceHandlerClient, pb.NewMarketPriceServiceClient),
		over(pb.RegisterCommissionServiceHandlerClient, pb.NewCommissionServiceClient),
		over(pb.RegisterQuoteServiceHandlerClient, pb.NewQuoteServiceClient),
		// A gateway tries patterns from the last to the first. What is called most is late
		// therefore, and then what asks about the same things by a verb.
		over(pb.RegisterHeatServiceHandlerClient, pb.NewHeatServiceClient),
		over(pb.RegisterLotServiceHandlerClient, pb.NewLotServiceClient),
		over(pb.RegisterEntryServiceHandlerClient, pb.NewEntryServiceClient),
		over(pb.RegisterBalanceServiceHandlerClient, pb.NewBalanceServiceClient),
		over(pb.RegisterCostServiceHandlerClient, pb.NewCostServiceClient),
		over(pb.RegisterAnalysisServiceHandlerClient, pb.NewAnalysisServiceClient),
		over(pb.RegisterPlanningServiceHandlerClient, pb.NewPlanningServiceClient),
	} {
		if err := register(ctx, mux, conn); err != nil {
			return err
		}
	}
	return nil
}

// over registers a service that is called by its client over a connection.
func over[C any](register func(context.Context, *runtime.ServeMux, C) error, client func(grpc.ClientConnInterface) C) func(context.Context, *runtime.ServeMux, grpc.ClientConnInterface) error {
	return func(ctx context.Context, mux *runtime.ServeMux, conn grpc.ClientConnInterface) error {
		return register(ctx, mux, client(conn))
	}
}

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
func RegisterGateway(ctx context.Context, mux *runtime.ServeMux, conn *grpc.ClientConn) error {
	for _, register := range []func(context.Context, *runtime.ServeMux, *grpc.ClientConn) error{
		pb.RegisterShopServiceHandler,
		pb.RegisterPersonServiceHandler,
		pb.RegisterPlaceServiceHandler,
		pb.RegisterScaleServiceHandler,
		pb.RegisterTareServiceHandler,
		pb.RegisterPartyServiceHandler,
		pb.RegisterPotServiceHandler,
		pb.RegisterSupplyServiceHandler,
		pb.RegisterAlloyServiceHandler,
		pb.RegisterLotServiceHandler,
		pb.RegisterHeatServiceHandler,
		pb.RegisterMoldServiceHandler,
		pb.RegisterCastingServiceHandler,
		pb.RegisterStocktakeServiceHandler,
		pb.RegisterEntryServiceHandler,
		pb.RegisterStockServiceHandler,
		pb.RegisterBalanceServiceHandler, pb.RegisterCostServiceHandler,
		pb.RegisterAnalysisServiceHandler,
		pb.RegisterPlanningServiceHandler,
		pb.RegisterOrderingServiceHandler,
		pb.RegisterPurchaseOrderServiceHandler,
		pb.RegisterOfferServiceHandler,
		pb.RegisterMarketPriceServiceHandler,
		pb.RegisterCommissionServiceHandler,
		pb.RegisterQuoteServiceHandler,
	} {
		if err := register(ctx, mux, conn); err != nil {
			return err
		}
	}
	return nil
}

package client

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/keepalive"

	pb "example.org/remelt/api/remelt/v1"
)

// Config says how to reach a server and how patient to be. The zero value of
// every field but Address is good.
type Config struct {
	// Address is host:port, or any target gRPC understands.
	Address string
	// Token is what the server gave this program to sign in with; "" is nothing.
	// Without TLS it is sent to this machine only.
	Token string
	// CA is a file with the certificates of those who may vouch for the server, in
	// PEM, or "system" for those that the system trusts. With it the connection is
	// TLS; without it plain text, which is for a server on the same machine.
	CA string
	// Dial is added to the options of the connection, such as a dialer for tests.
	Dial []grpc.DialOption
	// Tries is how often a call is sent before its error is given; 0 means 5.
	Tries int
	// Wait is about how long to wait before the second try; each later wait is
	// up to twice as long as the one before. 0 means 100 ms.
	Wait time.Duration
	// Timeout is how long one try may take; 0 means 15 s. Streams have none.
	Timeout time.Duration
	// OnRetry hears of each failed try that is followed by another. It may be nil.
	OnRetry func(err error, wait time.Duration)
}

const (
	defaultTries   = 5
	defaultWait    = 100 * time.Millisecond
	defaultTimeout = 15 * time.Second
	longestWait    = 10 * time.Second
)

// Client is one connection and the services on it. It is safe for concurrent use.
type Client struct {
	// Conn takes any call; those made through it are retried like all others.
	Conn *grpc.ClientConn

	Alloys      pb.AlloyServiceClient
	Analysis    pb.AnalysisServiceClient
	Balances    pb.BalanceServiceClient
	Castings    pb.CastingServiceClient
	Costs       pb.CostServiceClient
	Entries     pb.EntryServiceClient
	Heats       pb.HeatServiceClient
	Lots        pb.LotServiceClient
	Molds       pb.MoldServiceClient
	Market      pb.MarketPriceServiceClient
	Offers      pb.OfferServiceClient
	Parties     pb.PartyServiceClient
	People      pb.PersonServiceClient
	Places      pb.PlaceServiceClient
	Planning    pb.PlanningServiceClient
	Ordering    pb.OrderingServiceClient
	Pots        pb.PotServiceClient
	Purchases   pb.PurchaseOrderServiceClient
	Scales      pb.ScaleServiceClient
	Shops       pb.ShopServiceClient
	Stock       pb.StockServiceClient
	Stocktakes  pb.StocktakeServiceClient
	Supplies    pb.SupplyServiceClient
	Tares       pb.TareServiceClient
	Commissions pb.CommissionServiceClient
	Quotes      pb.QuoteServiceClient

	again again
}

// Dial makes a client. It does not wait for the server: the first call does.
func Dial(c Config) (*Client, error) {
	a := again{tries: c.Tries, first: c.Wait, timeout: c.Timeout, heard: c.OnRetry}
	if a.tries == 0 {
		a.tries = defaultTries
	}
	if a.first == 0 {
		a.first = defaultWait
	}
	if a.timeout == 0 {
		a.timeout = defaultTimeout
	}
	signed, err := c.credentials()
	if err != nil {
		return nil, err
	}
	options := append(signed,
		grpc.WithDisableServiceConfig(), // retrying is done here, with request ids
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: a.first, Multiplier: 1.6, Jitter: 0.2, MaxDelay: longestWait},
			MinConnectTimeout: 5 * time.Second,
		}),
		// A watch on a connection that died without a word must notice.
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 30 * time.Second, Timeout: 10 * time.Second}),
		grpc.WithChainUnaryInterceptor(a.unary),
		grpc.WithChainStreamInterceptor(streamFaults),
	)
	options = append(options, c.Dial...)
	conn, err := grpc.NewClient(c.Address, options...)
	if err != nil {
		return nil, fmt.Errorf("address %q: %w", c.Address, err)
	}
	return &Client{
		Conn:        conn,
		Alloys:      pb.NewAlloyServiceClient(conn),
		Analysis:    pb.NewAnalysisServiceClient(conn),
		Balances:    pb.NewBalanceServiceClient(conn),
		Castings:    pb.NewCastingServiceClient(conn),
		Costs:       pb.NewCostServiceClient(conn),
		Entries:     pb.NewEntryServiceClient(conn),
		Heats:       pb.NewHeatServiceClient(conn),
		Lots:        pb.NewLotServiceClient(conn),
		Molds:       pb.NewMoldServiceClient(conn),
		Market:      pb.NewMarketPriceServiceClient(conn),
		Offers:      pb.NewOfferServiceClient(conn),
		Parties:     pb.NewPartyServiceClient(conn),
		People:      pb.NewPersonServiceClient(conn),
		Places:      pb.NewPlaceServiceClient(conn),
		Planning:    pb.NewPlanningServiceClient(conn),
		Ordering:    pb.NewOrderingServiceClient(conn),
		Pots:        pb.NewPotServiceClient(conn),
		Purchases:   pb.NewPurchaseOrderServiceClient(conn),
		Scales:      pb.NewScaleServiceClient(conn),
		Shops:       pb.NewShopServiceClient(conn),
		Stock:       pb.NewStockServiceClient(conn),
		Stocktakes:  pb.NewStocktakeServiceClient(conn),
		Supplies:    pb.NewSupplyServiceClient(conn),
		Tares:       pb.NewTareServiceClient(conn),
		again:       a,
		Commissions: pb.NewCommissionServiceClient(conn),
		Quotes:      pb.NewQuoteServiceClient(conn),
	}, nil
}

// Close ends the connection.
func (c *Client) Close() error { return c.Conn.Close() }

// streamFaults gives the errors of a stream as a [Fault].
func streamFaults(ctx context.Context, d *grpc.StreamDesc, conn *grpc.ClientConn, method string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	s, err := open(ctx, d, conn, method, opts...)
	if err != nil {
		return nil, FromStatus(err)
	}
	return faultStream{s}, nil
}

type faultStream struct{ grpc.ClientStream }

func (s faultStream) RecvMsg(m any) error { return FromStatus(s.ClientStream.RecvMsg(m)) }

package paper

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/unit"
)

// Press makes documents of the books that a server keeps. Make one with New; it
// is safe for concurrent use.
type Press struct {
	call calls
	now  func() time.Time
}

// calls are the services that documents are read through.
type calls struct {
	analysis    pb.AnalysisServiceClient
	balances    pb.BalanceServiceClient
	castings    pb.CastingServiceClient
	commissions pb.CommissionServiceClient
	costs       pb.CostServiceClient
	entries     pb.EntryServiceClient
	heats       pb.HeatServiceClient
	lots        pb.LotServiceClient
	molds       pb.MoldServiceClient
	orders      pb.PurchaseOrderServiceClient
	parties     pb.PartyServiceClient
	places      pb.PlaceServiceClient
	planning    pb.PlanningServiceClient
	quotes      pb.QuoteServiceClient
	shops       pb.ShopServiceClient
	stock       pb.StockServiceClient
}

// New makes a press that reads over conn. now is the moment that documents state.
func New(conn grpc.ClientConnInterface, now func() time.Time) *Press {
	return &Press{now: now, call: calls{
		analysis: pb.NewAnalysisServiceClient(conn), balances: pb.NewBalanceServiceClient(conn), castings: pb.NewCastingServiceClient(conn),
		commissions: pb.NewCommissionServiceClient(conn), orders: pb.NewPurchaseOrderServiceClient(conn), parties: pb.NewPartyServiceClient(conn), quotes: pb.NewQuoteServiceClient(conn),
		costs: pb.NewCostServiceClient(conn), entries: pb.NewEntryServiceClient(conn), heats: pb.NewHeatServiceClient(conn),
		lots: pb.NewLotServiceClient(conn), molds: pb.NewMoldServiceClient(conn), places: pb.NewPlaceServiceClient(conn),
		planning: pb.NewPlanningServiceClient(conn), shops: pb.NewShopServiceClient(conn), stock: pb.NewStockServiceClient(conn),
	}}
}

// Document is a file to print.
type Document struct {
	Name  string // such as heat-41.pdf
	PDF   []byte
	Pages int
}

// job is one document of one shop: how its figures are shown, and its moment.
type job struct {
	*pb.Shop
	unit   unit.MassUnit
	zone   *time.Location
	stated time.Time
	size   Size
}

// begin reads what the shop of a resource name has chosen; size is that of the
// paper, the shop's usual one when it is the zero value.
func (p *Press) begin(ctx context.Context, name string, size Size) (*job, error) {
	parts := strings.SplitN(name, "/", 3)
	got, err := p.call.shops.GetShop(ctx, &pb.GetShopRequest{Name: strings.Join(parts[:min(2, len(parts))], "/")})
	if err != nil {
		return nil, err
	}
	j := &job{Shop: got.GetShop(), unit: unit.MassUnit(got.GetShop().GetMassUnit()), zone: time.UTC, stated: p.now().UTC().Truncate(time.Second), size: size}
	if zone, err := time.LoadLocation(j.GetTimeZone()); err == nil {
		j.zone = zone
	}
	if size == (Size{}) {
		j.size = usual(j.Shop)
	}
	return j, nil
}

// mass is a mass with its unit; "" for none at all.
func (j *job) mass(m *pb.Mass) string {
	if m == nil {
		return ""
	}
	return unit.FormatMass(m.GetMg(), j.unit, 0)
}

// figure is a mass in the shop's unit, without it; a dash for nothing.
func (j *job) figure(m *pb.Mass) string {
	if m.GetMg() == 0 {
		return "–"
	}
	return unit.FormatMassNumber(m.GetMg(), j.unit, 0)
}

func (j *job) day(t *timestamppb.Timestamp) string { return j.show(t, "2 Jan 2006") }

func (j *job) time(t *timestamppb.Timestamp) string { return j.show(t, "2 Jan 2006, 15:04") }

func (j *job) show(t *timestamppb.Timestamp, layout string) string {
	if t == nil {
		return ""
	}
	return t.AsTime().In(j.zone).Format(layout)
}

// printed says of what moment a document is.
func (j *job) printed() string { return j.stated.In(j.zone).Format("2 Jan 2006, 15:04 MST") }

// print draws a document that has pages like a report.
func (j *job) print(name, title string, draw func(*sheet)) (*Document, error) {
	s, err := render(j.size, title+" · "+j.GetDisplayName(), title+" · "+cut(j.GetDisplayName(), 60)+" · "+j.printed(), j.stated, draw)
	if err != nil {
		return nil, err
	}
	return s.document(name)
}

// all reads every page of a list.
func all[T any](read func(token string) ([]T, string, error)) (out []T, err error) {
	for token := ""; ; {
		some, next, err := read(token)
		if err != nil {
			return nil, err
		}
		if out = append(out, some...); next == "" {
			return out, nil
		}
		token = next
	}
}

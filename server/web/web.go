package web

import (
	"bytes"
	"context"
	"embed"
	"fmt"
	"html/template"
	"log/slog"
	"net/http"
	"path"
	"strings"
	"time"

	"google.golang.org/grpc"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/server/paper"
	"example.org/remelt/server/signin"
)

// Config is what the pages can be told.
type Config struct {
	Now    func() time.Time // the server's clock
	Log    *slog.Logger
	Door   *signin.Door // knows who asks
	Closed bool         // everybody must sign in
	Secure bool         // browsers come over TLS

	Trust Trust

	// May says whether somebody (nil: nobody) would be let in to a method of the API,
	// such as HeatService/SkimHeat, or to a page, by its pattern; and whether there is
	// such a thing.
	May func(c *signin.Caller, what string) (allowed, known bool)

	// TakesBack says whether somebody (nil: nobody) would be let to take back an entry of
	// a kind that somebody recorded.
	TakesBack func(c *signin.Caller, kind ledger.Kind, who string) bool

	// Verifying tells how many entries of how many are verified; pages say so until all are.
	Verifying func() (done, all int64)

	// Address is where a request came from.
	Address func(*http.Request) string
}

// unverified says how far the books are verified, while they are not.
func (c Config) unverified() string {
	if done, all := c.Verifying(); done < all {
		return fmt.Sprintf("%d of %d entries so far", done, all)
	}
	return ""
}

// Router is where pages are added; it decides who may see each.
type Router interface {
	Handle(pattern string, h http.Handler)
	HandleFunc(pattern string, h func(http.ResponseWriter, *http.Request))
}

// Pages serves every page. Make one with New.
type Pages struct {
	cfg       Config
	call      calls
	press     *paper.Press
	templates map[string]*template.Template
	static    *static
}

// calls are the services that pages read through.
type calls struct {
	alloys      pb.AlloyServiceClient
	analysis    pb.AnalysisServiceClient
	balances    pb.BalanceServiceClient
	castings    pb.CastingServiceClient
	commissions pb.CommissionServiceClient
	costs       pb.CostServiceClient
	entries     pb.EntryServiceClient
	heats       pb.HeatServiceClient
	lots        pb.LotServiceClient
	molds       pb.MoldServiceClient
	ordering    pb.OrderingServiceClient
	offers      pb.OfferServiceClient
	orders      pb.PurchaseOrderServiceClient
	parties     pb.PartyServiceClient
	people      pb.PersonServiceClient
	places      pb.PlaceServiceClient
	planning    pb.PlanningServiceClient
	pots        pb.PotServiceClient
	quotes      pb.QuoteServiceClient
	scales      pb.ScaleServiceClient
	shops       pb.ShopServiceClient
	stock       pb.StockServiceClient
	supplies    pb.SupplyServiceClient
	tares       pb.TareServiceClient
}

//go:embed page/*.html
var pageFiles embed.FS

// New makes the pages of the books that the server behind conn keeps.
func New(conn grpc.ClientConnInterface, c Config) (*Pages, error) {
	files, err := newStatic()
	if err != nil {
		return nil, err
	}
	p := &Pages{cfg: c, static: files, press: paper.New(conn, c.Now), templates: map[string]*template.Template{}, call: calls{
		alloys: pb.NewAlloyServiceClient(conn), analysis: pb.NewAnalysisServiceClient(conn), balances: pb.NewBalanceServiceClient(conn),
		castings: pb.NewCastingServiceClient(conn), costs: pb.NewCostServiceClient(conn), entries: pb.NewEntryServiceClient(conn), heats: pb.NewHeatServiceClient(conn),
		lots: pb.NewLotServiceClient(conn), molds: pb.NewMoldServiceClient(conn), ordering: pb.NewOrderingServiceClient(conn), places: pb.NewPlaceServiceClient(conn),
		planning: pb.NewPlanningServiceClient(conn), scales: pb.NewScaleServiceClient(conn), shops: pb.NewShopServiceClient(conn),
		commissions: pb.NewCommissionServiceClient(conn), quotes: pb.NewQuoteServiceClient(conn), parties: pb.NewPartyServiceClient(conn),
		offers: pb.NewOfferServiceClient(conn), people: pb.NewPersonServiceClient(conn), supplies: pb.NewSupplyServiceClient(conn),
		orders: pb.NewPurchaseOrderServiceClient(conn), pots: pb.NewPotServiceClient(conn),
		stock: pb.NewStockServiceClient(conn), tares: pb.NewTareServiceClient(conn),
	}}
	layout, err := template.New("layout.html").Funcs(files.funcs()).Funcs(template.FuncMap{"unverified": c.unverified}).ParseFS(pageFiles, "page/layout.html", "page/part-*.html")
	if err != nil {
		return nil, err
	}
	all, err := pageFiles.ReadDir("page")
	if err != nil {
		return nil, err
	}
	for _, f := range all {
		if f.Name() == "layout.html" || strings.HasPrefix(f.Name(), "part-") {
			continue
		}
		own, err := layout.Clone()
		if err != nil {
			return nil, err
		}
		if p.templates[f.Name()], err = own.ParseFS(pageFiles, path.Join("page", f.Name())); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// Serve adds the pages to a mux.
func (p *Pages) Serve(mux Router) {
	mux.Handle("GET /static/", p.static)
	mux.HandleFunc("GET /worker.js", p.static.worker)
	mux.HandleFunc("GET /app.webmanifest", p.static.manifest)
	mux.HandleFunc("GET /{$}", p.page("stock.html", p.stock))
	mux.HandleFunc("GET /shops/{shop}", p.page("stock.html", p.stock))
	mux.HandleFunc("GET /shops/{shop}/weigh-in", p.page("weigh-in.html", p.weighIn))
	mux.HandleFunc("GET /shops/{shop}/metal-in", p.page("metal-in.html", p.metalIn))
	mux.HandleFunc("GET /shops/{shop}/lots/{lot}", p.page("lot.html", p.lot))
	mux.HandleFunc("GET /shops/{shop}/heats", p.page("heats.html", p.heats))
	mux.HandleFunc("GET /shops/{shop}/plan-a-heat", p.page("plan.html", p.planHeat))
	mux.HandleFunc("GET /shops/{shop}/heats/{heat}", p.page("heat.html", p.heat))
	mux.HandleFunc("GET /shops/{shop}/heats/{heat}/charge", p.page("charge.html", p.charge))
	mux.HandleFunc("GET /shops/{shop}/stocktake", p.page("count.html", p.count))
	mux.HandleFunc("GET /shops/{shop}/to-buy", p.page("to-buy.html", p.toBuy))
	mux.HandleFunc("GET /shops/{shop}/what-is-lost", p.page("losses.html", p.losses))
	mux.HandleFunc("GET /shops/{shop}/commissions", p.page("commissions.html", p.commissions))
	mux.HandleFunc("GET /shops/{shop}/commissions/{commission}", p.page("commission.html", p.commission))
	mux.HandleFunc("GET /shops/{shop}/orders", p.page("orders.html", p.orders))
	mux.HandleFunc("GET /shops/{shop}/orders/{order}", p.page("order.html", p.order))
	mux.HandleFunc("GET /shops/{shop}/settings", p.page("settings.html", p.settings))
	mux.HandleFunc("GET /shops/{shop}/settings/{part}", p.page("setting.html", p.setting))
	mux.HandleFunc("GET /shops/{shop}/supplies", p.page("supplies.html", p.suppliesPage))
	mux.HandleFunc("GET /shops/{shop}/people", p.page("people.html", p.people))
	mux.HandleFunc("POST /shops/{shop}/code.svg", p.drawCode)
	mux.HandleFunc("GET /shops/{shop}/you", p.page("you.html", p.you))
	mux.HandleFunc("GET /shops/{shop}/entries", p.page("book.html", p.book))
	mux.HandleFunc("GET /shops/{shop}/entries/whole", p.page("whole.html", p.whole))
	mux.HandleFunc("GET /shops/{shop}/entries/backup", p.backup)
	mux.HandleFunc("GET /shops/{shop}/live", p.live)
	mux.HandleFunc("GET /shops/{shop}/scales/{scale}/readings", p.readings)
	p.enterRoutes(mux)
	p.trustRoutes(mux)
	p.paperRoutes(mux)
}

// frame is what the layout shows around a page's own part.
type frame struct {
	Title string
	Here  string // the navigation's entry this page belongs to
	Visit *visit
	Shops []string // to choose from, when none was chosen and there are several
	Live  bool     // the page is read again when the book grows
	After int64    // the newest entry when it was begun: what comes after is news to it

	Part, From string // only this part of the page, by its id, and where it is read; else all of it

	Cautioned bool // the page says itself what to mind and what comes first

	Main any // what the page's template shows
}

// page serves one page: look answers what it shows.
func (p *Pages) page(name string, look func(*visit) (frame, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := p.visit(r)
		if err == nil && v.Shop == nil {
			p.write(w, http.StatusOK, "choose.html", frame{Title: "Metal book", Visit: v, Shops: v.shops})
			return
		}
		var f frame
		after := int64(-1)
		if err == nil {
			after = p.newest(v)
			f, err = look(v)
		}
		if err != nil {
			p.fail(w, r, v, err)
			return
		}
		f.Visit, f.After = v, after
		p.write(w, http.StatusOK, name, f)
	}
}

// newest is the number of the newest entry, or -1 for who may not know.
func (p *Pages) newest(v *visit) int64 {
	got, err := p.call.entries.ListEntries(v.ctx, &pb.ListEntriesRequest{Parent: "shops/" + v.ID, OrderBy: "sequence desc", PageSize: 1})
	if err != nil || len(got.GetEntries()) == 0 {
		return -1
	}
	return got.GetEntries()[0].GetSequence()
}

// write renders a page whole before the first byte goes out.
func (p *Pages) write(w http.ResponseWriter, code int, name string, f frame) {
	var body bytes.Buffer
	if err := p.templates[name].ExecuteTemplate(&body, "layout.html", f); err != nil {
		panic(err) // the guard logs it and hides it
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(code)
	_, _ = w.Write(body.Bytes()) // the reader went away
}

// all reads every page of a list.
func all[T any](ctx context.Context, read func(ctx context.Context, token string) ([]T, string, error)) (out []T, err error) {
	for token := ""; ; {
		some, next, err := read(ctx, token)
		if err != nil {
			return nil, err
		}
		if out = append(out, some...); next == "" {
			return out, nil
		}
		token = next
	}
}

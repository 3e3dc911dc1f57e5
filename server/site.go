package server

import (
	"bytes"
	"context"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"runtime"
	"time"

	"example.org/remelt/api"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/shop"
	"example.org/remelt/ledger/unit"
)

//go:embed web/start.html web/style.css
var webFiles embed.FS

// site is everything served over HTTP that is not a call: the start page, what
// machines ask of a server, and the descriptions of the API.
type site struct {
	vitals *vitals
	books  *books
	page   *template.Template
}

func newSite(version string, v *vitals, b *books, gateway http.Handler) (http.Handler, error) {
	page, err := template.ParseFS(webFiles, "web/start.html")
	if err != nil {
		return nil, err
	}
	style, err := webFiles.ReadFile("web/style.css")
	if err != nil {
		return nil, err
	}
	build, err := json.Marshal(map[string]string{"name": "remelt", "version": version, "api": "v1", "go": runtime.Version()})
	if err != nil {
		return nil, err
	}
	s := &site{vitals: v, books: b, page: page}
	mux := http.NewServeMux()
	mux.Handle("/", gateway)
	mux.HandleFunc("GET /{$}", s.start)
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive") })
	mux.HandleFunc("GET /readyz", s.ready)
	mux.Handle("GET /version", fixed("application/json", append(build, '\n')))
	mux.Handle("GET /openapi.json", fixed("application/json", api.OpenAPI))
	mux.Handle("GET /openapi.v2.json", fixed("application/json", api.OpenAPIv2))
	mux.Handle("GET /style.css", fixed("text/css; charset=utf-8", style))
	return mux, nil
}

func fixed(contentType string, body []byte) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", contentType)
		_, _ = w.Write(body) // the reader went away
	})
}

func plain(w http.ResponseWriter, code int, s string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	_, _ = fmt.Fprintln(w, s) // the reader went away
}

// ready says whether the server takes writes; the reason is in its log only.
func (s *site) ready(w http.ResponseWriter, _ *http.Request) {
	if s.vitals.ready() != "" {
		w.Header().Set("Retry-After", "1")
		plain(w, http.StatusServiceUnavailable, "not ready")
		return
	}
	plain(w, http.StatusOK, "ready")
}

// startPage is what the start page shows.
type startPage struct {
	Shops []string // to choose from, when there are several and none was chosen
	Shop  ledger.Shop
	Open  bool
	Unit  string
	Other string // the unit to change to
	Seq   int64
	At    string
	Rows  []stockRow
	Total stockRow
}

// stockRow is a line of the stock table, as text in the page's unit.
type stockRow struct {
	Alloy, Family, Owner                                            string
	Usable, SpokenFor, ToClean, SetApart, InCrucible, InMolds, Skim string
}

func (s *site) start(w http.ResponseWriter, r *http.Request) {
	view, err := s.look(r.Context(), r.URL.Query().Get("shop"), r.URL.Query().Get("unit"))
	if err != nil {
		st, known := statusOf(err)
		if !known {
			panic(err) // the guard logs it and hides it
		}
		writeStatus(w, st, 0)
		return
	}
	var body bytes.Buffer
	if err := s.page.Execute(&body, view); err != nil {
		panic(err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(body.Bytes()) // the reader went away
}

// look reads what the page shows: the shop asked for, or the only one there is.
func (s *site) look(ctx context.Context, id, showIn string) (p startPage, err error) {
	if id == "" {
		if p.Shops, err = s.books.store.Shops(ctx); err != nil || len(p.Shops) != 1 {
			return p, err
		}
		id = p.Shops[0]
	}
	b, err := s.books.book(ctx, id)
	if err != nil {
		return p, err
	}
	own, err := ledger.Get[ledger.Shop](ctx, b.Book, ledger.RecShop, id)
	if err != nil {
		return p, err
	}
	stock, err := b.Stock(ctx, shop.AsOf{}, "")
	if err != nil {
		return p, err
	}
	p.Shop, p.Open, p.Seq, p.At = own.Value, true, stock.Seq, s.books.moment(own.Value.TimeZone)
	u := unit.MassUnit(own.Value.MassUnit)
	if showIn != "" {
		if u, err = unit.ParseMassUnit(showIn); err != nil {
			return p, refuse("UNKNOWN_UNIT", "unit", showIn, "must be a unit of mass such as kg or lb")
		}
	}
	p.Unit, p.Other = string(u), string(unit.LB)
	if u == unit.LB || u == unit.OZ || u == unit.LBOZ || u == unit.ShortTon {
		p.Other = string(unit.KG)
	}
	table, err := b.Table(ctx)
	if err != nil {
		return p, err
	}
	for _, pos := range stock.Positions {
		row := rowOf(pos, u)
		if a, err := table.Find(pos.Alloy); err == nil && !a.IsUnknown() { // else its id is all there is
			row.Family = string(a.Family)
		}
		p.Rows = append(p.Rows, row)
	}
	p.Total = rowOf(stock.Total, u)
	return p, nil
}

func rowOf(p shop.Position, u unit.MassUnit) stockRow {
	show := func(m ledger.Mass) string {
		if m == 0 {
			return "–"
		}
		return unit.FormatMassNumber(int64(m), u, 0)
	}
	return stockRow{Alloy: p.Alloy, Owner: p.Owner, Usable: show(p.Usable), SpokenFor: show(p.SpokenFor), ToClean: show(p.ToClean),
		SetApart: show(p.SetApart), InCrucible: show(p.InCrucible), InMolds: show(p.InMolds), Skim: show(p.Skimmings)}
}

// moment is now in a shop's time zone, for reading.
func (b *books) moment(zone string) string {
	now := time.Now
	if b.now != nil {
		now = b.now
	}
	at := now().UTC()
	if loc, err := time.LoadLocation(zone); err == nil {
		at = at.In(loc)
	}
	return at.Format("2 January 2006, 15:04 MST")
}

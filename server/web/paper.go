package web

import (
	"bytes"
	"mime"
	"net/http"
	"strconv"
	"time"

	"example.org/remelt/server/paper"
)

// paperRoutes are the documents to print. Each is linked from the page of what it
// is about, and made anew from the book whenever it is asked for.
func (p *Pages) paperRoutes(mux Router) {
	mux.HandleFunc("GET /shops/{shop}/paper/heats/{heat}", p.document(func(v *visit) (*paper.Document, error) {
		size, err := v.paper()
		if err != nil {
			return nil, err
		}
		return p.press.HeatSheet(v.ctx, v.name("heats/"+v.r.PathValue("heat")), size)
	}))
	mux.HandleFunc("GET /shops/{shop}/paper/lots/{lot}", p.document(func(v *visit) (*paper.Document, error) {
		return p.labels(v, v.name("lots/"+v.r.PathValue("lot")))
	}))
	mux.HandleFunc("GET /shops/{shop}/paper/labels", p.document(func(v *visit) (*paper.Document, error) { return p.labels(v) }))
	mux.HandleFunc("GET /shops/{shop}/paper/stocktake", p.document(func(v *visit) (*paper.Document, error) {
		size, err := v.paper()
		if err != nil {
			return nil, err
		}
		return p.press.StocktakeSheet(v.ctx, "shops/"+v.ID, v.r.URL.Query().Get("place"), size)
	}))
	mux.HandleFunc("GET /shops/{shop}/paper/periods/{period}", p.document(func(v *visit) (*paper.Document, error) {
		size, err := v.paper()
		if err != nil {
			return nil, err
		}
		when, err := paper.ParsePeriod(v.r.PathValue("period"), v.zone)
		if err != nil {
			return nil, err
		}
		return p.press.PeriodReport(v.ctx, "shops/"+v.ID, when, size)
	}))
	mux.HandleFunc("GET /shops/{shop}/paper/orders/{order}", p.document(func(v *visit) (*paper.Document, error) {
		size, err := v.paper()
		if err != nil {
			return nil, err
		}
		return p.press.OrderSheet(v.ctx, v.name("purchaseOrders/"+v.r.PathValue("order")), size)
	}))
	mux.HandleFunc("GET /shops/{shop}/paper/quotes/{commission}/{version}", p.document(func(v *visit) (*paper.Document, error) {
		size, err := v.paper()
		if err != nil {
			return nil, err
		}
		return p.press.QuoteSheet(v.ctx, v.name("commissions/"+v.r.PathValue("commission")+"/quotes/"+v.r.PathValue("version")), size)
	}))
	mux.HandleFunc("GET /shops/{shop}/paper/tables/{table}", p.table)
}

func (p *Pages) labels(v *visit, lots ...string) (*paper.Document, error) {
	q := v.r.URL.Query()
	o := paper.LabelOrder{Shop: "shops/" + v.ID, Lots: lots, Alloy: q.Get("alloy"), Place: q.Get("place")}
	var err error
	if on := q.Get("on"); on != "" {
		if o.On, err = paper.ParseStock(on); err != nil {
			return nil, err
		}
	}
	if used := q.Get("used"); used != "" {
		if o.Used, err = strconv.Atoi(used); err != nil {
			o.Used = -1 // refused with a better word
		}
	}
	return p.press.Labels(v.ctx, o)
}

// paper is the paper that the address asks for; the shop's usual one when it does
// not.
func (v *visit) paper() (paper.Size, error) {
	asked := v.r.URL.Query().Get("paper")
	if asked == "" {
		return paper.Size{}, nil
	}
	return paper.ParseSize(asked)
}

// document serves a document to look at and print.
func (p *Pages) document(draw func(*visit) (*paper.Document, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := p.visit(r)
		var doc *paper.Document
		if err == nil {
			doc, err = draw(v)
		}
		if err != nil {
			p.fail(w, r, v, err)
			return
		}
		h := w.Header()
		h.Set("Content-Type", "application/pdf")
		// Browsers show a document in a frame of their own making.
		h.Set("Content-Security-Policy", "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("Content-Disposition", mime.FormatMediaType("inline", map[string]string{"filename": doc.Name}))
		_, _ = w.Write(doc.PDF) // the reader went away
	}
}

// table serves a table as a workbook, or as CSV when that is asked for.
func (p *Pages) table(w http.ResponseWriter, r *http.Request) {
	v, err := p.visit(r)
	var when paper.Period
	asked := r.URL.Query().Get("period")
	if from, to := r.URL.Query().Get("from"), r.URL.Query().Get("to"); from+to != "" { // of a form with two days
		asked = from + ".." + to
	}
	if err == nil && asked != "" {
		when, err = paper.ParsePeriod(asked, v.zone)
	}
	var t *paper.Table
	if err == nil {
		t, err = p.press.Table(r.Context(), "shops/"+v.ID, r.PathValue("table"), when)
	}
	var body bytes.Buffer
	kind, ending := "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "xlsx"
	switch {
	case err != nil:
	case r.URL.Query().Get("as") == "csv":
		kind, ending = "text/csv; charset=utf-8", "csv"
		err = t.CSV(&body)
	default:
		err = t.XLSX(&body)
	}
	if err != nil {
		p.fail(w, r, v, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": t.Name + "." + ending}))
	_, _ = w.Write(body.Bytes()) // the reader went away
}

// Month is this month, or one so many before it, as reports are asked for.
func (v *visit) Month(before int) string {
	now := v.now.In(v.zone)
	return time.Date(now.Year(), now.Month()-time.Month(before), 1, 0, 0, 0, 0, v.zone).Format("2006-01")
}

// Year is this year, or one so many before it.
func (v *visit) Year(before int) string {
	return strconv.Itoa(v.now.In(v.zone).Year() - before)
}

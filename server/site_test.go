package server

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/ledgertest"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
)

// The page after the pour of the worked heat: the amounts are those of its table
// in DEVELOPERS.md (6.3 kg of pigs usable, 52.605 kg in molds, 0.475 kg of metal
// in skimmings, 0.24 kg swept up).
func TestStartPage(t *testing.T) {
	heat := ledgertest.RunHeat41(t)
	w := serve(t, func(c *Config) { c.Store = heat.Store })
	_, page := w.do("GET", "/", "")
	for _, want := range []string{"Harrow Lane Foundry", "6300", "52605", "475", "C87300", "Local codes"} {
		if !strings.Contains(page, want) {
			t.Errorf("no %q on the page", want)
		}
	}
	if strings.Contains(page, "<script") || strings.Contains(page, "style=") || strings.Contains(page, "http://") {
		t.Error("the page needs more than its headers allow, or something from elsewhere")
	}
	file := filepath.Join("..", "testdata", "rest", "start-page.html")
	if *update {
		if err := os.WriteFile(file, []byte(page), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	golden, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(golden), page); d != "" {
		t.Errorf("the page changed (-want +got; -update rewrites it):\n%s", d)
	}

	// 6.3 kg / 0.45359237 kg = 13.889… lb, 52.605 kg = 115.974… lb (NIST SP 811, appendix B.8)
	if _, page := w.do("GET", "/?unit=lb", ""); !strings.Contains(page, "13.89") || !strings.Contains(page, "115.97") {
		t.Errorf("in lb:\n%s", page)
	}
	w.refused("GET", "/?unit=stone", "", 400, "UNKNOWN_UNIT", "unit")
	w.refused("GET", "/?shop=nobody", "", 404, "NOT_FOUND", "shop")
}

func TestStartPageOfNoneAndOfSeveral(t *testing.T) {
	st := memory.New()
	w := serve(t, func(c *Config) { c.Store = st })
	if _, page := w.do("GET", "/", ""); !strings.Contains(page, "No book is open yet") {
		t.Errorf("without a book:\n%s", page)
	}
	for _, id := range []string{"quay", "mill"} {
		if _, err := shop.New(st, id, nil).OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: "The " + id + " <foundry>"}); err != nil {
			t.Fatal(err)
		}
	}
	_, page := w.do("GET", "/", "")
	if !strings.Contains(page, `href="/?shop=mill"`) || !strings.Contains(page, `href="/?shop=quay"`) {
		t.Errorf("of two:\n%s", page)
	}
	if _, page := w.do("GET", "/?shop=quay", ""); !strings.Contains(page, "The quay &lt;foundry&gt;") || !strings.Contains(page, "No metal is in the book yet") {
		t.Errorf("of one of two:\n%s", page)
	}
}

func TestPlainEndpoints(t *testing.T) {
	w := serve(t)
	for path, contentType := range map[string]string{
		"/":                "text/html; charset=utf-8",
		"/style.css":       "text/css; charset=utf-8",
		"/healthz":         "text/plain; charset=utf-8",
		"/version":         "application/json",
		"/openapi.json":    "application/json",
		"/openapi.v2.json": "application/json",
	} {
		resp, body := w.do("GET", path, "")
		if resp.StatusCode != 200 || resp.Header.Get("Content-Type") != contentType || body == "" {
			t.Errorf("%s: HTTP %d, %s, %d bytes", path, resp.StatusCode, resp.Header.Get("Content-Type"), len(body))
		}
		if contentType == "application/json" && !json.Valid([]byte(body)) {
			t.Errorf("%s is not JSON", path)
		}
		if resp, _ := w.do("POST", path, ""); resp.StatusCode < 400 {
			t.Errorf("POST %s: HTTP %d", path, resp.StatusCode)
		}
	}
	var v struct{ Name, Version string }
	if _, body := w.do("GET", "/version", ""); json.Unmarshal([]byte(body), &v) != nil || v.Version != "test" {
		t.Errorf("version %s", body)
	}
}

// The descriptions are of the version of OpenAPI that their paths say, and
// describe the routes that are served.
func TestOpenAPI(t *testing.T) {
	w := serve(t)
	for path, version := range map[string]string{"/openapi.json": "3.1", "/openapi.v2.json": "2.0"} {
		_, body := w.do("GET", path, "")
		var doc struct {
			OpenAPI, Swagger string
			Paths            map[string]any
		}
		if err := json.Unmarshal([]byte(body), &doc); err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(doc.OpenAPI+doc.Swagger, version) || len(doc.Paths) < 50 {
			t.Errorf("%s: version %s%s, %d paths", path, doc.OpenAPI, doc.Swagger, len(doc.Paths))
		}
	}
}

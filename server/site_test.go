package server

import (
	"encoding/json"
	"strings"
	"sync/atomic"
	"testing"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/shop"
)

// Without a book the page says how to open one; of several it asks which.
func TestFrontPageOfNoneAndOfSeveral(t *testing.T) {
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
	if !strings.Contains(page, `href="/shops/mill"`) || !strings.Contains(page, `href="/shops/quay"`) {
		t.Errorf("of two:\n%s", page)
	}
	if _, page := w.do("GET", "/shops/quay", ""); !strings.Contains(page, "The quay &lt;foundry&gt;") || !strings.Contains(page, "No metal is in the book yet") {
		t.Errorf("of one of two:\n%s", page)
	}
}

func TestPlainEndpoints(t *testing.T) {
	w := serve(t)
	for path, contentType := range map[string]string{
		"/":                 "text/html; charset=utf-8",
		"/static/style.css": "text/css; charset=utf-8",
		"/worker.js":        "text/javascript; charset=utf-8",
		"/app.webmanifest":  "application/manifest+json",
		"/healthz":          "text/plain; charset=utf-8",
		"/version":          "application/json",
		"/openapi.json":     "application/json",
		"/openapi.v2.json":  "application/json",
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

// While books are verified, those who use them and those who watch the server are told.
func TestVerifyingIsSaid(t *testing.T) {
	var done atomic.Int64
	w := serve(t, func(c *Config) { c.Verifying = func() (int64, int64) { return done.Load(), 1000 } })
	done.Store(300)
	for path, says := range map[string]string{"/shops/harrow": "Still being verified:</b> 300 of 1000 entries so far", "/readyz": "ready, and being verified: 300 of 1000 entries\n"} {
		if resp, body := w.do("GET", path, ""); resp.StatusCode != 200 || !strings.Contains(body, says) {
			t.Errorf("%s: HTTP %d: %s", path, resp.StatusCode, body)
		}
	}
	done.Store(1000)
	for _, path := range []string{"/shops/harrow", "/readyz"} {
		if _, body := w.do("GET", path, ""); strings.Contains(body, "verified") {
			t.Errorf("%s: %s", path, body)
		}
	}
}

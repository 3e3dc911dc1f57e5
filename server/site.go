package server

import (
	"encoding/json"
	"fmt"
	"net/http"
	"runtime"

	"example.org/remelt/api"
	"example.org/remelt/server/web"
)

// site is everything served over HTTP that is not a call: the pages, what machines
// ask of a server, and the descriptions of the API.
type site struct {
	vitals    *vitals
	verifying func() (done, all int64)
}

// routes is a mux on which everything is let in by its rule. What has no rule
// cannot be served.
type routes struct {
	mux       *http.ServeMux
	admission *admission
	refuse    func(http.ResponseWriter, *http.Request, error)
	patterns  []string
	unruled   []string
}

// Handle implements web.Router.
func (r *routes) Handle(pattern string, h http.Handler) {
	least, known := routeRules[pattern]
	if !known {
		r.unruled = append(r.unruled, pattern)
		return
	}
	r.patterns = append(r.patterns, pattern)
	r.mux.Handle(pattern, r.admission.page(least, h, r.refuse))
}

// HandleFunc implements web.Router.
func (r *routes) HandleFunc(pattern string, h func(http.ResponseWriter, *http.Request)) {
	r.Handle(pattern, http.HandlerFunc(h))
}

func newSite(cfg Config, v *vitals, a *admission, pages *web.Pages, gateway http.Handler) (*routes, error) {
	build, err := json.Marshal(map[string]string{"name": "remelt", "version": cfg.Version, "api": "v1", "go": runtime.Version()})
	if err != nil {
		return nil, err
	}
	s := &site{vitals: v, verifying: cfg.Verifying}
	mux := &routes{mux: http.NewServeMux(), admission: a, refuse: pages.Refuse}
	mux.Handle("/", gateway)
	pages.Serve(mux)
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { plain(w, http.StatusOK, "alive") })
	mux.HandleFunc("GET /readyz", s.ready)
	mux.Handle("GET /version", fixed("application/json", append(build, '\n')))
	mux.Handle("GET /openapi.json", fixed("application/json", api.OpenAPI))
	mux.Handle("GET /openapi.v2.json", fixed("application/json", api.OpenAPIv2))
	if len(mux.unruled) > 0 {
		return nil, fmt.Errorf("no rule in rules.go says who may see %v", mux.unruled)
	}
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
	plain(w, http.StatusOK, readyWords(s.verifying))
}

// readyWords say that a server is ready, and how far its books are verified.
func readyWords(verifying func() (done, all int64)) string {
	if done, all := verifying(); done < all {
		return fmt.Sprintf("ready, and being verified: %d of %d entries", done, all)
	}
	return "ready"
}

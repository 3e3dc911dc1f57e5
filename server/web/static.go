package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
)

//go:embed static
var staticFiles embed.FS

// static serves the files that pages load: by an address with the digest of the
// content in it, so that a browser may keep them for good. Scripts import each
// other by plain names, which are served too, to be asked for again each time.
type static struct {
	files   map[string]file // by name
	version string          // changes whenever any file does
}

type file struct {
	body   []byte
	digest string
	kind   string
}

func newStatic() (*static, error) {
	s := &static{files: map[string]file{}}
	whole := sha256.New()
	err := fs.WalkDir(staticFiles, "static", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := staticFiles.ReadFile(name)
		if err != nil {
			return err
		}
		sum := sha256.Sum256(body)
		whole.Write(sum[:])
		kind := mime.TypeByExtension(path.Ext(name))
		if path.Ext(name) == ".js" {
			kind = "text/javascript; charset=utf-8"
		}
		s.files[strings.TrimPrefix(name, "static/")] = file{body: body, digest: hex.EncodeToString(sum[:6]), kind: kind}
		return nil
	})
	s.version = hex.EncodeToString(whole.Sum(nil)[:6])
	return s, err
}

// url is the address of a file for pages.
func (s *static) url(name string) string { return "/static/" + name + "?v=" + s.files[name].digest }

func (s *static) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	f, ok := s.files[strings.TrimPrefix(r.URL.Path, "/static/")]
	if !ok {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("ETag", `"`+f.digest+`"`)
	if r.URL.Query().Get("v") == f.digest {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	} else {
		h.Set("Cache-Control", "no-cache")
	}
	if r.Header.Get("If-None-Match") == `"`+f.digest+`"` {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	_, _ = w.Write(f.body) // the reader went away
}

// worker serves the script that keeps the weigh-in page while the network is gone.
// It must come from the top, to be allowed to answer for every page.
func (s *static) worker(w http.ResponseWriter, _ *http.Request) {
	w.Header().Set("Content-Type", "text/javascript; charset=utf-8")
	w.Header().Set("Cache-Control", "no-cache")
	kept := []string{}
	for name := range s.files {
		if name != "worker.js" {
			kept = append(kept, "/static/"+name)
		}
	}
	list, err := json.Marshal(kept)
	if err != nil {
		panic(err)
	}
	head := "const version = \"" + s.version + "\";\nconst kept = " + string(list) + ";\n"
	_, _ = w.Write(append([]byte(head), s.files["worker.js"].body...)) // the reader went away
}

// manifest lets a phone install the weigh-in page.
func (s *static) manifest(w http.ResponseWriter, r *http.Request) {
	start := "/"
	if shop := r.URL.Query().Get("shop"); shop != "" {
		start = "/shops/" + shop + "/weigh-in"
	}
	body, err := json.Marshal(map[string]any{
		"name": "Metal book", "short_name": "Metal book", "start_url": start, "scope": "/", "display": "standalone",
		"background_color": "#fffdf9", "theme_color": "#7a3200",
		"icons": []map[string]string{{"src": s.url("icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"}},
	})
	if err != nil {
		panic(err)
	}
	w.Header().Set("Content-Type", "application/manifest+json")
	_, _ = w.Write(body) // the reader went away
}

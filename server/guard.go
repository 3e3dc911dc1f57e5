package server

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"runtime/debug"
	"strings"
	"time"
	"unicode/utf8"

	"crypto/rand"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// guard stands before everything that is served over HTTP. It refuses what a
// page of somebody else's could make a browser send (writes from another site,
// and requests for a name that is not this server's), bodies that are too large
// and paths that are not UTF-8, and puts the security headers on every answer.
type guard struct {
	log     *slog.Logger
	next    http.Handler
	hosts   map[string]bool // names taken beside loopback ones; see hostAllowed
	local   bool            // the listener is on loopback
	maxBody int64
	cross   *http.CrossOriginProtection
}

// bodyTime is how long a client may take to send a body.
const bodyTime = 30 * time.Second

func newGuard(log *slog.Logger, next http.Handler, hosts []string, local bool, maxBody int64) *guard {
	g := &guard{log: log, next: next, hosts: map[string]bool{}, local: local, maxBody: maxBody, cross: http.NewCrossOriginProtection()}
	for _, h := range hosts {
		g.hosts[strings.ToLower(h)] = true
	}
	return g
}

// ServeHTTP implements http.Handler.
func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	defer g.caught(w, r)
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("X-Frame-Options", "DENY")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cache-Control", "no-store")
	if st, code := g.refusal(w, r); st != nil {
		g.log.WarnContext(r.Context(), "refused", "method", r.Method, "path", clip(r.URL.Path), "peer", r.RemoteAddr,
			"host", clip(r.Host), "status", code, "why", st.Message())
		writeStatus(w, st, code)
		return
	}
	g.next.ServeHTTP(w, r)
}

// refusal says why a request is not served, or nil; it reads the body.
func (g *guard) refusal(w http.ResponseWriter, r *http.Request) (*status.Status, int) {
	if !g.hostAllowed(r.Host) {
		return newStatus(codes.PermissionDenied, "HOST_NOT_ALLOWED",
			fmt.Sprintf("this server does not answer to the name %q; it can be told to in its settings", clip(r.Host)),
			map[string]string{metaValue: clip(r.Host)}), http.StatusForbidden
	}
	if err := g.cross.Check(r); err != nil {
		return newStatus(codes.PermissionDenied, "CROSS_SITE",
			"a page of another site may not write here", map[string]string{metaValue: clip(r.Header.Get("Origin"))}), http.StatusForbidden
	}
	if !utf8.ValidString(r.URL.Path) {
		st, _ := statusOf(refuse("NOT_UTF8", "path", r.URL.Path, "must be UTF-8 text"))
		return st, http.StatusBadRequest
	}
	return g.readBody(w, r)
}

// readBody takes the whole body in before anything acts on it, so that a slow or
// endless one holds nothing but its own connection.
func (g *guard) readBody(w http.ResponseWriter, r *http.Request) (*status.Status, int) {
	if r.Body == nil || r.Body == http.NoBody {
		return nil, 0
	}
	if r.ContentLength > g.maxBody { // said beforehand: not read at all
		return g.tooLarge(), http.StatusRequestEntityTooLarge
	}
	rc := http.NewResponseController(w)
	_ = rc.SetReadDeadline(time.Now().Add(bodyTime)) // not supported by a test's recorder
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, g.maxBody))
	_ = rc.SetReadDeadline(time.Time{})
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		return g.tooLarge(), http.StatusRequestEntityTooLarge
	case err != nil:
		return newStatus(codes.InvalidArgument, "BODY_NOT_READ", "the body did not arrive whole", nil), http.StatusBadRequest
	}
	r.Body = io.NopCloser(bytes.NewReader(body))
	return nil, 0
}

func (g *guard) tooLarge() *status.Status {
	st, _ := statusOf(refuse("BODY_TOO_LARGE", "body", "", fmt.Sprintf("must be at most %d bytes", g.maxBody)))
	return st
}

// hostAllowed reports whether a request's Host is this server's. On a loopback
// listener only names of this machine itself are: any other name led a browser
// here by pointing at 127.0.0.1, and the page behind it would read the book. On
// other listeners every name is taken until names are set.
func (g *guard) hostAllowed(host string) bool {
	name := strings.ToLower(host)
	if h, _, err := net.SplitHostPort(name); err == nil {
		name = h
	}
	name = strings.TrimSuffix(strings.TrimSuffix(strings.TrimPrefix(name, "["), "]"), ".")
	if g.hosts[name] || !g.local && len(g.hosts) == 0 {
		return true
	}
	if name == "localhost" || strings.HasSuffix(name, ".localhost") { // RFC 6761, section 6.3
		return true
	}
	ip, err := netip.ParseAddr(name)
	return err == nil && ip.Unmap().IsLoopback()
}

// caught answers for a handler that panicked.
func (g *guard) caught(w http.ResponseWriter, r *http.Request) {
	p := recover()
	if p == nil {
		return
	}
	if p == http.ErrAbortHandler { //nolint:errorlint // the sentinel itself, by net/http's contract
		panic(p)
	}
	id := rand.Text()[:12]
	g.log.ErrorContext(r.Context(), "internal error", "log_id", id, "method", r.Method, "path", clip(r.URL.Path),
		"error", fmt.Sprint(p), "stack", string(debug.Stack()))
	writeStatus(w, hidden(id), 0)
}

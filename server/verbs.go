package server

import (
	"context"
	"net/http"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
)

// headToo answers HEAD as GET without its body, which net/http leaves out by itself. What
// was asked ends with the header: a stream would go on for nobody.
func headToo(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodHead {
			next.ServeHTTP(w, r)
			return
		}
		ctx, cancel := context.WithCancel(r.Context())
		defer cancel()
		r = r.WithContext(ctx)
		r.Method = http.MethodGet
		next.ServeHTTP(&headOnly{ResponseWriter: w, done: cancel}, r)
	})
}

// headOnly ends a question with its header.
type headOnly struct {
	http.ResponseWriter
	done context.CancelFunc
}

// Unwrap lets http.ResponseController flush.
func (w *headOnly) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// WriteHeader implements http.ResponseWriter.
func (w *headOnly) WriteHeader(code int) {
	w.ResponseWriter.WriteHeader(code)
	w.done()
}

// Write implements http.ResponseWriter.
func (w *headOnly) Write(p []byte) (int, error) {
	defer w.done()
	return w.ResponseWriter.Write(p)
}

// asked marks a request that only asks whether its path takes its method; its value is
// where to say so.
type asked struct{}

// onlyAsked answers such a request before it reaches what it is for.
func onlyAsked(next runtime.HandlerFunc) runtime.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request, inPath map[string]string) {
		if taken, ok := r.Context().Value(asked{}).(*bool); ok {
			*taken = true
			return
		}
		next(w, r, inPath)
	}
}

// takes are the methods that a path takes, for the Allow header of a refusal (RFC 9110,
// section 15.5.6).
func takes(mux http.Handler, r *http.Request) (out []string) {
	if r.Context().Value(asked{}) != nil {
		return nil
	}
	for _, m := range []string{http.MethodGet, http.MethodPost, http.MethodPatch} {
		taken := false
		ask := r.Clone(context.WithValue(r.Context(), asked{}, &taken))
		ask.Method, ask.Body, ask.ContentLength = m, http.NoBody, 0
		mux.ServeHTTP(nowhere{}, ask)
		switch {
		case taken && m == http.MethodGet:
			out = append(out, m, http.MethodHead)
		case taken:
			out = append(out, m)
		}
	}
	return out
}

// nowhere is where an answer goes that nobody reads.
type nowhere struct{}

// Header implements http.ResponseWriter.
func (nowhere) Header() http.Header { return http.Header{} }

// Write implements http.ResponseWriter.
func (nowhere) Write(p []byte) (int, error) { return len(p), nil }

// WriteHeader implements http.ResponseWriter.
func (nowhere) WriteHeader(int) {}

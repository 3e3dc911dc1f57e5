package server

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
)

// idempotencyKey is the metadata key that carries the header of the same name to
// the request id of a write.
const idempotencyKey = "idempotency-key"

// setStrictQuery makes every gateway of the process read queries strictly. The
// library keeps one parser for all of them in a variable that nothing guards, so
// it is set once, before the first gateway answers.
var setStrictQuery = sync.OnceFunc(func() { runtime.SetQueryParameterParser(&strictQuery{})(nil) })

// newGateway builds the REST interface. It calls the gRPC server over conn, so
// that a REST call is logged, checked and answered like any other.
func newGateway(ctx context.Context, conn grpc.ClientConnInterface) (http.Handler, error) {
	setStrictQuery()
	mux := runtime.NewServeMux(
		runtime.WithMarshalerOption(runtime.MIMEWildcard, newStrictJSON()),
		runtime.WithIncomingHeaderMatcher(func(h string) (string, bool) { // Authorization goes along in any case
			switch h {
			case "Idempotency-Key":
				return idempotencyKey, true
			case "If-Match":
				return ifMatch, true
			case "Traceparent":
				return "traceparent", true
			}
			return "", false
		}),
		runtime.WithOutgoingHeaderMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithOutgoingTrailerMatcher(func(string) (string, bool) { return "", false }),
		runtime.WithErrorHandler(func(_ context.Context, _ *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, _ *http.Request, err error) {
			writeStatus(w, gatewayStatus(err), 0)
		}),
		runtime.WithStreamErrorHandler(func(_ context.Context, err error) *status.Status { return gatewayStatus(err) }),
		runtime.WithRoutingErrorHandler(func(_ context.Context, mux *runtime.ServeMux, _ runtime.Marshaler, w http.ResponseWriter, r *http.Request, code int) {
			if code == http.StatusMethodNotAllowed {
				w.Header().Set("Allow", strings.Join(takes(mux, r), ", "))
			}
			writeStatus(w, routingStatus(r, code), code)
		}),
		runtime.WithMiddlewares(onlyAsked, saidOnce),
		runtime.WithDisableHTTPMethodOverride(),
		runtime.WithDisablePathLengthFallback(),
		runtime.WithUnescapingMode(runtime.UnescapingModeAllExceptReserved),
	)
	return headToo(bareErrors(mux)), RegisterGateway(ctx, mux, conn)
}

// gatewayStatus is the status of an error on its way out of the gateway: the
// server's own, what decoding had to say, or one that the gateway made itself.
func gatewayStatus(err error) *status.Status {
	var odd *runtime.HTTPStatusError
	if errors.As(err, &odd) { // a path that cannot be unescaped
		return newStatus(codes.InvalidArgument, "BAD_PATH", "the path is not a possible one", nil)
	}
	return complete(unsealed(status.Convert(err)))
}

func routingStatus(r *http.Request, code int) *status.Status {
	meta := map[string]string{"method": clip(r.Method), "path": clip(r.URL.Path)}
	switch code {
	case http.StatusMethodNotAllowed:
		return newStatus(codes.Unimplemented, "METHOD_NOT_ALLOWED", "this path does not take "+clip(r.Method)+"; /openapi.json lists what there is", meta)
	case http.StatusNotFound:
		return newStatus(codes.NotFound, "NO_SUCH_PATH", "there is nothing at "+clip(r.URL.Path)+"; /openapi.json lists what there is", meta)
	}
	return newStatus(codes.InvalidArgument, "BAD_PATH", "the path is not a possible one", meta)
}

// statusJSON is a google.rpc.Status in JSON, without its empty fields and the
// same bytes each time.
func statusJSON(st *status.Status) []byte {
	raw, err := protojson.Marshal(st.Proto())
	var body bytes.Buffer
	if err == nil {
		err = json.Compact(&body, raw)
	}
	if err != nil { // a detail of an unknown type
		return []byte(`{"code":13,"message":"the error cannot be shown"}`)
	}
	return body.Bytes()
}

// writeStatus answers with a google.rpc.Status in JSON. httpCode 0 takes the
// HTTP status that belongs to the code.
func writeStatus(w http.ResponseWriter, st *status.Status, httpCode int) {
	if httpCode == 0 {
		httpCode = runtime.HTTPStatusFromCode(st.Code())
	}
	h := w.Header()
	h.Del("Trailer")
	h.Del("Transfer-Encoding")
	h.Set("Content-Type", "application/json")
	for _, d := range st.Details() {
		if r, ok := d.(*errdetails.RetryInfo); ok {
			h.Set("Retry-After", strconv.Itoa(int(math.Ceil(r.GetRetryDelay().AsDuration().Seconds()))))
		}
	}
	w.WriteHeader(httpCode)
	_, _ = w.Write(append(statusJSON(st), '\n')) // the reader went away
}

// bareErrors makes a stream that fails before its first message answer as a call
// does: with the bare status. The library puts it under "error" like one that
// comes after some messages, where a reader of lines needs the difference.
func bareErrors(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { next.ServeHTTP(&bareWriter{ResponseWriter: w}, r) })
}

type bareWriter struct {
	http.ResponseWriter
	failed bool // the status is that of an error, and its body has not come yet
}

// Unwrap lets http.ResponseController flush.
func (w *bareWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// WriteHeader implements http.ResponseWriter.
func (w *bareWriter) WriteHeader(code int) {
	w.failed = code >= http.StatusBadRequest
	w.ResponseWriter.WriteHeader(code)
}

// Write implements http.ResponseWriter.
func (w *bareWriter) Write(p []byte) (int, error) {
	if w.failed {
		w.failed = false
		var chunk struct{ Error json.RawMessage }
		if json.Unmarshal(p, &chunk) == nil && chunk.Error != nil {
			if _, err := w.ResponseWriter.Write(chunk.Error); err != nil {
				return 0, err
			}
			return len(p), nil
		}
	}
	return w.ResponseWriter.Write(p)
}

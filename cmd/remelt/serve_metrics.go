package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/pprof" // its handlers are put on a listener of their own; the default one is not served
	"net/netip"
	"net/url"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/exporters/stdout/stdouttrace"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/sdk/resource"
	"go.opentelemetry.io/otel/sdk/trace"
	"google.golang.org/grpc/stats"

	"example.org/remelt/server"
)

// metricsServer is the listener for those who watch over the server: what it counts, why it
// is not ready, and with --pprof what it spends its time on. Nothing there tells
// what is in a book.
type metricsServer struct {
	on       net.Listener
	http     *http.Server
	registry *prometheus.Registry
}

// see prepares what was asked for to watch over a server with.
func (v *serveFlags) see(ctx context.Context, out io.Writer, c *server.Config) (counted *metricsServer, endTraces func(), err error) {
	if v.pprof && v.metrics == "" {
		return nil, nil, usagef("--pprof: say with --metrics at which address")
	}
	traces, end, err := newTraces(ctx, v.traces, out)
	if err != nil {
		return nil, nil, err
	}
	if c.Traces = traces; v.metrics != "" {
		if counted, err = newMetricsServer(v.metrics, v.pprof); err != nil {
			return nil, nil, err
		}
		c.Metrics = counted.registry
	}
	return counted, func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), traceTime)
		defer cancel()
		_ = end(ctx) // what a collector did not take is lost, as it may be
	}, nil
}

// traceTime is how long the last traces may take on their way.
const traceTime = 5 * time.Second

// newMetricsServer takes the address; serve serves.
func newMetricsServer(address string, profiled bool) (*metricsServer, error) {
	on, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("the address for metrics: %w", err)
	}
	if at, ok := on.Addr().(*net.TCPAddr); profiled && (!ok || !at.IP.IsLoopback()) {
		_ = on.Close()
		return nil, usagef("--pprof with --metrics %q: profiles are only for an address of this machine, such as 127.0.0.1:9100", address)
	}
	s := &metricsServer{on: on, registry: prometheus.NewRegistry()}
	s.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return s, nil
}

// serve serves until stop is called.
func (s *metricsServer) serve(profiled bool, why, ready func() string) (stop func()) {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.registry, promhttp.HandlerOpts{}))
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) {
		if not := why(); not != "" {
			http.Error(w, "not ready: "+not, http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, ready())
	})
	if profiled {
		mux.HandleFunc("GET /debug/pprof/", pprof.Index)
		mux.HandleFunc("GET /debug/pprof/profile", pprof.Profile)
		mux.HandleFunc("GET /debug/pprof/trace", pprof.Trace)
	}
	s.http = &http.Server{Handler: s.onlyHere(mux), ReadHeaderTimeout: 10 * time.Second}
	ended := make(chan struct{})
	go func() { defer close(ended); _ = s.http.Serve(s.on) }() // it ends when it is closed
	return func() { _ = s.http.Close(); <-ended }
}

// onlyHere refuses, on an address of this machine, what a page of another site made
// a browser ask under a name of its own.
func (s *metricsServer) onlyHere(next http.Handler) http.Handler {
	at, ok := s.on.Addr().(*net.TCPAddr)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if ok && at.IP.IsLoopback() && !namesThisMachine(r.Host) {
			http.Error(w, "this address answers to the names of this machine only", http.StatusForbidden)
			return
		}
		next.ServeHTTP(w, r)
	})
}

func namesThisMachine(host string) bool {
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	ip, err := netip.ParseAddr(host)
	return host == "localhost" || err == nil && ip.IsLoopback()
}

// newTraces gives what hears of every call and sends a span of it to stdout or to
// an OTLP collector; nil for nowhere. A span has the call's method and code.
func newTraces(ctx context.Context, to string, out io.Writer) (hears stats.Handler, stop func(context.Context) error, err error) {
	var spans trace.SpanExporter
	switch to {
	case "":
		return nil, func(context.Context) error { return nil }, nil
	case "stdout":
		spans, err = stdouttrace.New(stdouttrace.WithWriter(out))
	default:
		if u, bad := url.Parse(to); bad != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
			return nil, nil, usagef("--traces %q: must be stdout or the URL of a collector, such as http://127.0.0.1:4317", to)
		}
		spans, err = otlptracegrpc.New(ctx, otlptracegrpc.WithEndpointURL(to))
	}
	if err != nil {
		return nil, nil, fmt.Errorf("--traces %q: %w", to, err)
	}
	from := trace.NewTracerProvider(trace.WithBatcher(spans), trace.WithResource(resource.NewSchemaless(attribute.String("service.name", "remelt"))))
	return otelgrpc.NewServerHandler(otelgrpc.WithTracerProvider(from), otelgrpc.WithPropagators(propagation.TraceContext{})), from.Shutdown, nil
}

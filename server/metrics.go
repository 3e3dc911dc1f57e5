package server

import (
	"errors"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"

	"example.org/remelt/ledger"
)

// metrics counts what a server does, for whoever watches it. Labels are names of
// this program and of codes, never of shops or things: those are many, and nobody's
// business there.
type metrics struct {
	calls   *prometheus.HistogramVec
	streams *prometheus.CounterVec
	writes  *prometheus.CounterVec
	known   map[string]bool // the methods that there are
}

// know tells which methods there are, before any is called.
func (m *metrics) know(services map[string]grpc.ServiceInfo) {
	m.known = map[string]bool{}
	for service, info := range services {
		for _, method := range info.Methods {
			m.known["/"+service+"/"+method.Name] = true
		}
	}
}

// newMetrics registers them; with no registry they count for nobody.
func newMetrics(r prometheus.Registerer, ready func() string) (*metrics, error) {
	m := &metrics{
		calls: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "remelt_call_duration_seconds", Help: "How long calls took, by method and code.",
			Buckets: []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30}}, []string{"method", "code"}),
		streams: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "remelt_streams_total", Help: "Streams that have ended, by method and code."}, []string{"method", "code"}),
		writes:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: "remelt_writes_total", Help: "Transactions that were to write, by what became of them."}, []string{"outcome"}),
	}
	if r == nil {
		return m, nil
	}
	serving := prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "remelt_ready", Help: "1 when the server takes writes."}, func() float64 {
		if ready() == "" {
			return 1
		}
		return 0
	})
	for _, c := range []prometheus.Collector{m.calls, m.streams, m.writes, serving} {
		if err := r.Register(c); err != nil {
			return nil, err
		}
	}
	return m, nil
}

func (m *metrics) call(method string, isStream bool, code codes.Code, took time.Duration) {
	if !m.known[method] {
		method = "unknown" // anybody may call anything
	}
	if isStream {
		m.streams.WithLabelValues(method, codeName(code)).Inc()
		return
	}
	m.calls.WithLabelValues(method, codeName(code)).Observe(took.Seconds())
}

func (m *metrics) wrote(err error) {
	outcome := "refused" // by a rule, or only asked
	switch {
	case err == nil:
		outcome = "done"
	case errors.Is(err, ledger.ErrUnavailable):
		outcome = "unavailable"
	case errors.Is(err, ledger.ErrCorrupt):
		outcome = "corrupt"
	}
	m.writes.WithLabelValues(outcome).Inc()
}

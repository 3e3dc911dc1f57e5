package server

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"slices"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"example.org/remelt/ledger"
)

// vitals knows whether the server can do its work, which is to write: it hears of
// every write that the store refused, and asks the store now and then.
type vitals struct {
	*health.Server
	log *slog.Logger

	mu       sync.Mutex
	services []string // every service, and "" for the server
	why      string   // why it does not serve; empty when it does
	draining bool
}

func newVitals(log *slog.Logger) *vitals {
	return &vitals{Server: health.NewServer(), log: log, why: "starting"}
}

// serve names the services whose health this is.
func (v *vitals) serve(services map[string]grpc.ServiceInfo) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.services = append(slices.Sorted(maps.Keys(services)), "")
	for _, s := range v.services {
		v.SetServingStatus(s, healthpb.HealthCheckResponse_NOT_SERVING)
	}
}

// wrote hears what became of a write.
func (v *vitals) wrote(err error) {
	switch {
	case err == nil:
		v.set("")
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
	case errors.Is(err, ledger.ErrUnavailable), errors.Is(err, ledger.ErrCorrupt):
		v.set("the store does not take writes: " + err.Error())
	}
}

// set says why the server does not serve, or with "" that it does.
func (v *vitals) set(why string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.draining || v.why == why {
		return
	}
	state := healthpb.HealthCheckResponse_SERVING
	if why != "" {
		state = healthpb.HealthCheckResponse_NOT_SERVING
		v.log.Error("not serving", "why", why)
	} else {
		v.log.Info("ready", "after", v.why)
	}
	v.why = why
	for _, s := range v.services {
		v.SetServingStatus(s, state)
	}
}

// drain says once and for all that the server is going away.
func (v *vitals) drain() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.draining, v.why = true, "stopping"
	v.Shutdown()
}

// ready returns why the server does not serve, or "".
func (v *vitals) ready() string {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.why
}

// watch asks the store every so often until ctx is done.
func (v *vitals) watch(ctx context.Context, store ledger.Store, every time.Duration) {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		ask, cancel := context.WithTimeout(ctx, every)
		err := canWrite(ask, store)
		cancel()
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			v.set("the store does not take writes: " + err.Error())
		} else {
			v.set("")
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

package server

import (
	"context"
	"errors"
	"net/http"
	"sync/atomic"
	"testing"
	"time"

	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

// fullDisk is a store that cannot write while full is set; it still reads.
type fullDisk struct {
	ledger.Store
	full atomic.Bool
}

func (f *fullDisk) Update(ctx context.Context, shop string, fn func(ledger.Tx) error) error {
	if f.full.Load() {
		return &ledger.Error{Class: ledger.ErrUnavailable, Reason: "DISK_FULL", Want: "nothing was recorded", Cause: errors.New("no space left")}
	}
	return f.Store.Update(ctx, shop, fn)
}

func TestHealthFollowsTheStore(t *testing.T) {
	disk := &fullDisk{}
	w := serve(t, func(c *Config) { disk.Store, c.Store = c.Store, disk })
	health := healthpb.NewHealthClient(w.conn)
	is := func(want healthpb.HealthCheckResponse_ServingStatus, code int) {
		t.Helper()
		for _, service := range []string{"", "remelt.v1.LotService"} {
			var got healthpb.HealthCheckResponse_ServingStatus
			for deadline := time.Now().Add(5 * time.Second); ; time.Sleep(time.Millisecond) { // the first look at the store is on its way
				h, err := health.Check(t.Context(), &healthpb.HealthCheckRequest{Service: service})
				if err != nil {
					t.Fatal(err)
				}
				if got = h.GetStatus(); got == want || time.Now().After(deadline) {
					break
				}
			}
			if got != want {
				t.Errorf("service %q is %v, want %v", service, got, want)
			}
		}
		if resp, body := w.do("GET", "/readyz", ""); resp.StatusCode != code {
			t.Errorf("/readyz: HTTP %d, want %d: %s", resp.StatusCode, code, body)
		}
		if resp, _ := w.do("GET", "/healthz", ""); resp.StatusCode != http.StatusOK { // the process itself is well
			t.Errorf("/healthz: HTTP %d", resp.StatusCode)
		}
	}
	is(healthpb.HealthCheckResponse_SERVING, 200)

	disk.full.Store(true)
	place := &pb.UpdatePlaceRequest{Place: &pb.Place{Name: "shops/harrow/places/shelf", DisplayName: "Shelf"}, AllowMissing: true}
	_, err := pb.NewPlaceServiceClient(w.conn).UpdatePlace(t.Context(), place)
	if err == nil {
		t.Fatal("it was recorded")
	}
	is(healthpb.HealthCheckResponse_NOT_SERVING, 503)
	if l := w.log.lines("not serving"); len(l) != 1 {
		t.Errorf("logged %v", l)
	}
	if _, err := pb.NewPlaceServiceClient(w.conn).GetPlace(t.Context(), &pb.GetPlaceRequest{Name: "shops/harrow/places/rack"}); err != nil {
		t.Errorf("reading: %v", err)
	}

	disk.full.Store(false)
	if _, err := pb.NewPlaceServiceClient(w.conn).UpdatePlace(t.Context(), place); err != nil {
		t.Fatal(err)
	}
	is(healthpb.HealthCheckResponse_SERVING, 200)
}

// Without anybody writing, the look at the store now and then is what tells.
func TestTheStoreIsAskedNowAndThen(t *testing.T) {
	w := serve(t)
	disk := &fullDisk{Store: w.book.Store}
	disk.full.Store(true)
	ctx, cancel := context.WithCancel(t.Context())
	v := newVitals(w.cfg.Log)
	done := make(chan struct{})
	go func() { defer close(done); v.watch(ctx, disk, time.Millisecond) }()
	for v.ready() == "starting" {
		time.Sleep(time.Millisecond)
	}
	if v.ready() == "" {
		t.Error("it serves on a full disk")
	}
	disk.full.Store(false)
	for v.ready() != "" {
		time.Sleep(time.Millisecond)
	}
	cancel()
	<-done
	v.drain()
	v.set("")
	if v.ready() != "stopping" {
		t.Error("it came back after it had said it stops")
	}
}

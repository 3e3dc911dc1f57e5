package server

import (
	"context"
	"net/http"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc/metadata"

	pb "example.org/remelt/api/remelt/v1"
)

// TestInsideIsAsOverAConnection: a method that the gateway calls inside the process gets
// of the request what a connection brings, which traced calls come by, and nothing else.
func TestInsideIsAsOverAConnection(t *testing.T) {
	for name, change := range map[string]func(*Config){
		"inside":            func(*Config) {},
		"over a connection": func(c *Config) { c.Traces = &hears{} },
	} {
		t.Run(name, func(t *testing.T) {
			var got context.Context
			var asked string
			w := serve(t, withGetPlace(func(ctx context.Context, r *pb.GetPlaceRequest) error {
				got, asked = ctx, r.GetName()
				return nil
			}), change)
			resp, body := w.do("GET", "/v1/shops/harrow/places/rack", "", "If-Match", `"7"`, "X-Secret", "not for methods")
			if resp.StatusCode != http.StatusOK || asked != "shops/harrow/places/rack" {
				t.Fatalf("HTTP %d %s, asked for %q", resp.StatusCode, body, asked)
			}
			said, _ := metadata.FromIncomingContext(got)
			if m := said.Get(ifMatch); len(m) != 1 || m[0] != `"7"` || len(said.Get("x-secret")) != 0 {
				t.Errorf("metadata %v", said)
			}
			if _, limited := got.Deadline(); !limited {
				t.Error("no deadline")
			}
			if _, out := metadata.FromOutgoingContext(got); out || got.Value(http.ServerContextKey) != nil {
				t.Error("what is the gateway's own is in the method's context")
			}
			if peer := peerOf(got); hostOf(peer) != "127.0.0.1" {
				t.Errorf("called by %q", peer)
			}
			if got.Err() == nil {
				t.Error("the context goes on after the call")
			}
		})
	}
}

// TestWhoGivesUpEndsTheCall: a method is told when the HTTP client is gone.
func TestWhoGivesUpEndsTheCall(t *testing.T) {
	began, ended := make(chan struct{}), make(chan struct{})
	w := serve(t, withGetPlace(func(ctx context.Context, _ *pb.GetPlaceRequest) error {
		close(began)
		<-ctx.Done()
		close(ended)
		return ctx.Err()
	}))
	ctx, leave := context.WithCancel(t.Context())
	go func() { <-began; leave() }()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+w.HTTPAddr()+"/v1/shops/harrow/places/rack", http.NoBody)
	if err != nil {
		t.Fatal(err)
	}
	if resp, err := http.DefaultClient.Do(r); err == nil {
		_ = resp.Body.Close()
		t.Error("a call that was given up was answered")
	}
	select {
	case <-ended:
	case <-time.After(10 * time.Second): // long before its deadline
		t.Error("the method was not told")
	}
}

// TestRunWaitsForCallsByREST: a call that was cut off is not left running when Run ends.
func TestRunWaitsForCallsByREST(t *testing.T) {
	var ended atomic.Bool
	begun, finish := make(chan struct{}), make(chan struct{})
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error {
		close(begun)
		<-finish
		time.Sleep(50 * time.Millisecond)
		ended.Store(true)
		return nil
	}), func(c *Config) { c.Drain = 50 * time.Millisecond })
	answered, stopped := make(chan struct{}), make(chan error, 1)
	go func() {
		defer close(answered)
		w.asks("/v1/shops/harrow/places/rack")
	}()
	<-begun
	go func() { stopped <- w.stop() }()
	<-answered
	close(finish)
	if err := <-stopped; err == nil || !ended.Load() {
		t.Errorf("Run: %v; the call had ended: %v", err, ended.Load())
	}
}

// asks asks for a page, and for nothing but that it was asked for.
func (w *world) asks(path string, headers ...string) (code int) {
	r, err := http.NewRequest(http.MethodGet, "http://"+w.HTTPAddr()+path, http.NoBody) //nolint:noctx // until it is cut off
	if err != nil {
		return 0
	}
	for i := 0; i < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		return 0
	}
	_ = resp.Body.Close()
	return resp.StatusCode
}

// TestTooLateIsNotCalled: a call whose time was over before it came is none.
func TestTooLateIsNotCalled(t *testing.T) {
	called := false
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error { called = true; return nil }))
	if code := w.asks("/v1/shops/harrow/places/rack", "Grpc-Timeout", "1n"); code != http.StatusGatewayTimeout || called {
		t.Errorf("HTTP %d, called: %v", code, called)
	}
}

// TestCallsByRESTAreBounded: no more of them run at a time than on one connection.
func TestCallsByRESTAreBounded(t *testing.T) {
	var now, most atomic.Int64
	var once sync.Once
	full, finish := make(chan struct{}), make(chan struct{})
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error {
		n := now.Add(1)
		defer now.Add(-1)
		for m := most.Load(); n > m && !most.CompareAndSwap(m, n); m = most.Load() {
		}
		if n == maxStreams { // again and again, as places are left and taken
			once.Do(func() { close(full) })
		}
		<-finish
		return nil
	}))
	var all sync.WaitGroup
	var answered atomic.Int64
	for range maxStreams + 50 {
		all.Go(func() {
			if w.asks("/v1/shops/harrow/places/rack") == http.StatusOK {
				answered.Add(1)
			}
		})
	}
	<-full
	time.Sleep(50 * time.Millisecond)
	close(finish)
	all.Wait()
	if n := most.Load(); n != maxStreams {
		t.Errorf("%d at a time", n)
	}
	if n := answered.Load(); n != maxStreams+50 {
		t.Errorf("%d were answered", n)
	}
}

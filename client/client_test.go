package client_test

import (
	"context"
	"errors"
	"net"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
)

// places is the smallest server with a real book behind it: one write, one read.
type places struct {
	pb.UnimplementedPlaceServiceServer
	pb.UnimplementedEntryServiceServer
	pb.UnimplementedShopServiceServer
	book *ledger.Book

	watch  func(*pb.WatchEntriesRequest, grpc.ServerStreamingServer[pb.WatchEntriesResponse]) error
	backup func(grpc.ServerStreamingServer[pb.BackupShopResponse]) error
}

func (p *places) UpdatePlace(ctx context.Context, req *pb.UpdatePlaceRequest) (*pb.UpdatePlaceResponse, error) {
	id, err := ledger.ParseRequestID(req.GetRequestId())
	if err != nil {
		return nil, status.Error(codes.InvalidArgument, err.Error())
	}
	e, err := p.book.SetPlace(ctx, ledger.Meta{Request: id}, ledger.Place{ID: req.GetPlace().GetName(), Name: req.GetPlace().GetDisplayName()})
	if err != nil {
		st, _ := status.New(codes.InvalidArgument, err.Error()).WithDetails(&errdetails.ErrorInfo{
			Domain: "remelt", Reason: "REQUIRED", Metadata: map[string]string{"class": "invalid", "field": "display_name"}})
		return nil, st.Err()
	}
	return &pb.UpdatePlaceResponse{Place: req.GetPlace(), Entry: &pb.Entry{Sequence: e.Seq, RequestId: e.Request.String()}}, nil
}

func (p *places) WatchEntries(req *pb.WatchEntriesRequest, s grpc.ServerStreamingServer[pb.WatchEntriesResponse]) error {
	return p.watch(req, s)
}

func (p *places) BackupShop(_ *pb.BackupShopRequest, s grpc.ServerStreamingServer[pb.BackupShopResponse]) error {
	return p.backup(s)
}

// world is a server whose wire can be cut, and a client of it.
type world struct {
	*client.Client
	places *places
	calls  atomic.Int32
	spoil  func(try int, do func() (any, error)) (any, error) // around each call
	mu     sync.Mutex
	wires  []net.Conn
}

func newWorld(t *testing.T) *world {
	t.Helper()
	st := memory.New()
	w := &world{places: &places{book: &ledger.Book{Store: st, Shop: "harrow"}}}
	if _, err := w.places.book.OpenBook(t.Context(), ledger.Meta{}, ledger.Shop{Name: "Harrow Lane Foundry"}); err != nil {
		t.Fatal(err)
	}
	s := grpc.NewServer(grpc.UnaryInterceptor(func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
		try := int(w.calls.Add(1))
		do := func() (any, error) { return next(context.WithoutCancel(ctx), req) }
		if w.spoil == nil {
			return do()
		}
		return w.spoil(try, do)
	}))
	pb.RegisterPlaceServiceServer(s, w.places)
	pb.RegisterEntryServiceServer(s, w.places)
	pb.RegisterShopServiceServer(s, w.places)
	l := bufconn.Listen(1 << 16)
	go func() { _ = s.Serve(l) }()
	c, err := client.Dial(client.Config{
		Address: "passthrough:///harrow", Wait: 5 * time.Millisecond, Timeout: 500 * time.Millisecond,
		Dial: []grpc.DialOption{grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
			wire, err := l.DialContext(ctx)
			if err == nil {
				w.mu.Lock()
				w.wires = append(w.wires, wire)
				w.mu.Unlock()
			}
			return wire, err
		})},
	})
	if err != nil {
		t.Fatal(err)
	}
	w.Client = c
	t.Cleanup(func() { _ = c.Close(); s.Stop(); _ = st.Close() })
	return w
}

// cut breaks every connection.
func (w *world) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, wire := range w.wires {
		_ = wire.Close()
	}
	w.wires = nil
}

// entries is how many places were set, by the book.
func (w *world) entries(t *testing.T) int {
	t.Helper()
	page, err := w.places.book.Entries(t.Context(), 1, 100) // after the opening
	if err != nil {
		t.Fatal(err)
	}
	return len(page)
}

func rack() *pb.UpdatePlaceRequest {
	return &pb.UpdatePlaceRequest{Place: &pb.Place{Name: "rack", DisplayName: "ingot rack"}, AllowMissing: true}
}

// Whatever happens to a call on its way, and on its way back, the fact is in the
// book exactly once.
func TestFailedOnItsWayIsRecordedOnce(t *testing.T) {
	gone := status.Error(codes.Unavailable, "gone")
	for name, spoil := range map[string]func(*world) func(int, func() (any, error)) (any, error){
		"not saved": func(*world) func(int, func() (any, error)) (any, error) {
			return func(try int, do func() (any, error)) (any, error) {
				if try <= 2 {
					return nil, gone
				}
				return do()
			}
		},
		"saved, answered with a failure": func(*world) func(int, func() (any, error)) (any, error) {
			return func(try int, do func() (any, error)) (any, error) {
				out, err := do()
				if try <= 4 {
					return nil, gone
				}
				return out, err
			}
		},
		"saved, then the wire breaks": func(w *world) func(int, func() (any, error)) (any, error) {
			return func(try int, do func() (any, error)) (any, error) {
				out, err := do()
				if try <= 2 {
					w.cut()
				}
				return out, err
			}
		},
		"saved, then no answer in time": func(*world) func(int, func() (any, error)) (any, error) {
			return func(try int, do func() (any, error)) (any, error) {
				out, err := do()
				if try == 1 {
					time.Sleep(700 * time.Millisecond)
				}
				return out, err
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWorld(t)
			w.spoil = spoil(w)
			got, err := w.Places.UpdatePlace(t.Context(), rack())
			if err != nil {
				t.Fatal(err)
			}
			if n := w.entries(t); n != 1 {
				t.Errorf("%d entries, want 1", n)
			}
			if w.calls.Load() < 2 {
				t.Error("the call was not spoilt")
			}
			if got.GetEntry().GetSequence() != 2 {
				t.Errorf("entry %d was given, want the one that was recorded", got.GetEntry().GetSequence())
			}
		})
	}
}

func TestGivesUpAfterFiveTries(t *testing.T) {
	w := newWorld(t)
	w.spoil = func(int, func() (any, error)) (any, error) { return nil, status.Error(codes.Unavailable, "gone") }
	_, err := w.Places.UpdatePlace(t.Context(), rack())
	var f *client.Fault
	if !errors.As(err, &f) || f.Refused != nil {
		t.Errorf("error %v, want a Fault that nobody refused", err)
	}
	if n := w.calls.Load(); n != 5 {
		t.Errorf("sent %d times, want 5", n)
	}
}

func TestRefusalIsNotSentAgain(t *testing.T) {
	w := newWorld(t)
	req := rack()
	req.Place.DisplayName = ""
	_, err := w.Places.UpdatePlace(t.Context(), req)
	if !errors.Is(err, ledger.ErrInvalid) {
		t.Errorf("error %v, want the domain's own", err)
	}
	if n := w.calls.Load(); n != 1 {
		t.Errorf("sent %d times, want once", n)
	}
}

// The same message in two calls is two wishes; the caller's own id stays.
func TestOneIDForEachCall(t *testing.T) {
	w := newWorld(t)
	req := rack()
	a, err := w.Places.UpdatePlace(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	b, err := w.Places.UpdatePlace(t.Context(), req)
	if err != nil {
		t.Fatal(err)
	}
	if a.GetEntry().GetRequestId() == b.GetEntry().GetRequestId() || w.entries(t) != 2 || req.GetRequestId() != "" {
		t.Errorf("ids %s and %s, %d entries, and the message now holds %q", a.GetEntry().GetRequestId(), b.GetEntry().GetRequestId(), w.entries(t), req.GetRequestId())
	}
	req.RequestId = "0191e0a4-7b1c-4cc2-9e0d-3d2f5a6b7c8d"
	for range 2 {
		c, err := w.Places.UpdatePlace(t.Context(), req)
		if err != nil {
			t.Fatal(err)
		}
		if c.GetEntry().GetRequestId() != req.GetRequestId() {
			t.Errorf("the id %s became %s", req.GetRequestId(), c.GetEntry().GetRequestId())
		}
	}
	if n := w.entries(t); n != 3 {
		t.Errorf("%d entries, want 3", n)
	}
}

func TestStopsWhenTheCallerDoes(t *testing.T) {
	w := newWorld(t)
	ctx, cancel := context.WithCancel(t.Context())
	w.spoil = func(int, func() (any, error)) (any, error) {
		cancel()
		return nil, status.Error(codes.Unavailable, "gone")
	}
	if _, err := w.Places.UpdatePlace(ctx, rack()); err == nil {
		t.Error("no error")
	}
	if n := w.calls.Load(); n != 1 {
		t.Errorf("sent %d times, want once", n)
	}
}

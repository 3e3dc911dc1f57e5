package server

import (
	"context"
	"encoding/binary"
	"log/slog"
	"net"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/memory"
	"example.org/remelt/ledger/storetest"
	"example.org/remelt/server/signin"
)

// bench is a gRPC server with the services on an empty store in memory, reached
// over a connection inside the test. Nothing is between the caller and the
// handlers, so what a test sees is theirs.
type bench struct {
	*testing.T
	store ledger.Store
	conn  *grpc.ClientConn
	now   time.Time
	asked uint64
}

func newBench(t *testing.T, change ...func(*Deps)) *bench {
	t.Helper()
	b := &bench{T: t, store: storetest.Rehearsing{Store: memory.New()}, now: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	t.Cleanup(func() { _ = b.store.Close() })
	hub := newHub(time.Hour, time.Hour, 8)
	known := newBooks(watchedStore{Store: b.store, wrote: func(shop string, _ error) { hub.wake(shop) }}, func() time.Time { return b.now })
	d := Deps{Books: known.book, Shops: b.store.Shops, Follow: hub.follow,
		Door: signin.New(b.store, func() time.Time { return b.now }, slog.New(slog.DiscardHandler))}
	for _, c := range change {
		c(&d)
	}
	// The domain's errors go over the wire whole enough to be compared.
	s := grpc.NewServer(
		grpc.UnaryInterceptor(func(ctx context.Context, req any, _ *grpc.UnaryServerInfo, next grpc.UnaryHandler) (any, error) {
			resp, err := next(ctx, req)
			return resp, overTheWire(err)
		}),
		grpc.StreamInterceptor(func(srv any, ss grpc.ServerStream, _ *grpc.StreamServerInfo, next grpc.StreamHandler) error {
			return overTheWire(next(srv, ss))
		}))
	RegisterServices(s, d)
	l := bufconn.Listen(1 << 20)
	go s.Serve(l) //nolint:errcheck // ends with the test
	t.Cleanup(s.Stop)
	var err error
	b.conn, err = grpc.NewClient("passthrough:///bench", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.conn.Close() })
	return b
}

func overTheWire(err error) error {
	if err == nil {
		return nil
	}
	st, known := statusOf(err)
	if !known {
		return err
	}
	return st.Err()
}

// methodOf finds the method that takes a request.
func methodOf(r proto.Message) (found protoreflect.MethodDescriptor) {
	name := r.ProtoReflect().Descriptor().FullName()
	eachMethod(func(m protoreflect.MethodDescriptor) {
		if m.Input().FullName() == name {
			found = m
		}
	})
	return found
}

func eachMethod(fn func(protoreflect.MethodDescriptor)) {
	protoregistry.GlobalFiles.RangeFilesByPackage("remelt.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			all := f.Services().Get(i).Methods()
			for k := range all.Len() {
				fn(all.Get(k))
			}
		}
		return true
	})
}

func path(m protoreflect.MethodDescriptor) string {
	return "/" + string(m.Parent().FullName()) + "/" + string(m.Name())
}

// call makes the call that a request is for.
func (b *bench) call(r proto.Message) (proto.Message, error) {
	b.Helper()
	m := methodOf(r)
	kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
	if err != nil {
		b.Fatal(err)
	}
	resp := kind.New().Interface()
	return resp, b.conn.Invoke(context.Background(), path(m), r, resp)
}

// do makes a call that must succeed. A write gets a request id of its own.
func do[R proto.Message](b *bench, r proto.Message) R {
	b.Helper()
	b.identify(r)
	resp, err := b.call(r)
	if err != nil {
		b.Fatalf("%s: %v", r.ProtoReflect().Descriptor().Name(), err)
	}
	return resp.(R)
}

// identify gives a write a request id if it has none.
func (b *bench) identify(r proto.Message) {
	m := r.ProtoReflect()
	if f := m.Descriptor().Fields().ByName("request_id"); f != nil && !m.Has(f) {
		b.asked++
		var id ledger.RequestID
		binary.BigEndian.PutUint64(id[8:], b.asked)
		id[6], id[8] = 0x40, 0x80 // version 4
		m.Set(f, protoreflect.ValueOfString(id.String()))
	}
}

// refusedBy makes a call that must be refused with a reason, naming a field.
func (b *bench) refusedBy(r proto.Message, reason, field string) {
	b.Helper()
	resp, err := b.call(r)
	if err == nil {
		b.Errorf("%T: answered %v, want it refused with %s", r, resp, reason)
		return
	}
	if got, at := reasonOf(b.T, err); got != reason || at != field {
		b.Errorf("%T: %s of %q (%v), want %s of %q", r, got, at, err, reason, field)
	}
}

func (b *bench) head() int64 {
	b.Helper()
	var seq int64
	err := b.store.View(context.Background(), "harrow", func(r ledger.Reader) error {
		h, err := r.Head()
		seq = h.Seq
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return seq
}

// Short forms of what the tests say often.

func g(grams int64) *pb.Mass { return &pb.Mass{Mg: grams * 1000} }

func onFloor(grams int64) *pb.Weighing { return &pb.Weighing{Scale: "floor", Net: g(grams)} }

func pieces(grams, n int64) *pb.Weighing {
	return &pb.Weighing{Scale: "floor", Net: g(grams), Pieces: n}
}

func mask(paths ...string) *fieldmaskpb.FieldMask { return &fieldmaskpb.FieldMask{Paths: paths} }

func day(n int) *timestamppb.Timestamp {
	return timestamppb.New(time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC).AddDate(0, 0, n))
}

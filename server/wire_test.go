package server

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protowire"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

// rawBytes is a codec of a client that sends whatever bytes it is given.
type rawBytes struct{}

func (rawBytes) Name() string { return "proto" }
func (rawBytes) Marshal(v any) (mem.BufferSlice, error) {
	return mem.BufferSlice{mem.SliceBuffer(v.([]byte))}, nil
}
func (rawBytes) Unmarshal(mem.BufferSlice, any) error { return nil }

func text(field protowire.Number, value string) []byte {
	return protowire.AppendString(protowire.AppendTag(nil, field, protowire.BytesType), value)
}

// Bytes that no well-behaved client sends, over gRPC itself. Field numbers are
// those of the schema.
func TestBrokenMessages(t *testing.T) {
	w := serve(t)
	element := func(symbol string) string { return string(text(1, symbol)) }
	receive := (&pb.ReceiveLotRequest{}).ProtoReflect().Descriptor().Fields()
	cert := (&pb.Certificate{}).ProtoReflect().Descriptor().Fields()
	certificate := text(receive.ByName("certificate").Number(), string(append(
		text(cert.ByName("elements").Number(), element("Si")), text(cert.ByName("elements").Number(), element("C\xff"))...)))
	for name, c := range map[string]struct {
		method, reason, field string
		raw                   []byte
	}{
		"a name":         {pb.PlaceService_GetPlace_FullMethodName, "NOT_UTF8", "name", text(1, "shops/\xff")},
		"deep":           {pb.LotService_ReceiveLot_FullMethodName, "NOT_UTF8", "certificate.elements[1].symbol", certificate},
		"of a stream":    {pb.EntryService_WatchEntries_FullMethodName, "NOT_UTF8", "parent", text(1, "shops/\xff")},
		"cut off":        {pb.PlaceService_GetPlace_FullMethodName, "BAD_MESSAGE", "", text(1, "shops/harrow")[:5]},
		"no message":     {pb.PlaceService_GetPlace_FullMethodName, "BAD_MESSAGE", "", []byte("GET / HTTP/1.1")},
		"an old service": {"/grpc.health.v1.Health/Check", "NOT_UTF8", "service", text(1, "\xff")},
	} {
		t.Run(name, func(t *testing.T) {
			stream, err := w.conn.NewStream(t.Context(), &grpc.StreamDesc{ServerStreams: true}, c.method, grpc.ForceCodecV2(rawBytes{}))
			if err != nil {
				t.Fatal(err)
			}
			if err := stream.SendMsg(c.raw); err != nil {
				t.Fatal(err)
			}
			if err := stream.CloseSend(); err != nil {
				t.Fatal(err)
			}
			err = stream.RecvMsg(nil)
			var e *ledger.Error
			if status.Code(err) != codes.InvalidArgument || !errors.As(client.FromStatus(err), &e) {
				t.Fatalf("got %v", err)
			}
			if e.Reason != c.reason || e.Field != c.field || strings.Contains(err.Error(), mark) {
				t.Errorf("got %+v", e)
			}
		})
	}
	var logged bool
	for _, l := range w.log.lines("call") {
		logged = logged || l["reason"] == "NOT_UTF8" && l["method"] == pb.PlaceService_GetPlace_FullMethodName
	}
	if !logged {
		t.Error("a call that could not be decoded is not in the log")
	}
}

func TestAMessageThatIsTooLarge(t *testing.T) {
	w := serve(t)
	_, err := pb.NewPlaceServiceClient(w.conn).GetPlace(t.Context(), &pb.GetPlaceRequest{Name: strings.Repeat("x", maxMessage)})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("got %.200v", err)
	}
	if err := w.getPlace("shops/harrow/places/rack"); err != nil {
		t.Errorf("afterwards: %v", err)
	}
}

package server

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/encoding"
	_ "google.golang.org/grpc/encoding/proto" // the codec wrapped below
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.org/remelt/ledger"
)

// strictProto decodes requests as the standard codec does, but tells which field
// could not be read, as the caller's doing. gRPC calls every such error an internal
// one and answers with it at once; so the codec does not fail, but leaves word with
// the message, and whoever asked for the message must ask fault about it.
type strictProto struct {
	encoding.CodecV2
	faults *sync.Map // proto.Message that could not be read → *ledger.Error
}

func newStrictProto() strictProto { return strictProto{encoding.GetCodecV2("proto"), &sync.Map{}} }

// Unmarshal implements encoding.CodecV2.
func (c strictProto) Unmarshal(data mem.BufferSlice, v any) error {
	err := c.CodecV2.Unmarshal(data, v)
	m, ok := v.(proto.Message)
	if err == nil || !ok {
		return err
	}
	e := blameWire(m.ProtoReflect().Descriptor(), data.Materialize(), "")
	if e == nil {
		e = refuse("BAD_MESSAGE", "", "", "the message does not fit the schema")
	}
	c.faults.Store(m, e)
	return nil
}

// fault returns, once, why a message could not be read.
func (c strictProto) fault(m any) error {
	if e, found := c.faults.LoadAndDelete(m); found {
		return e.(*ledger.Error)
	}
	return nil
}

// blameWire finds the first field of an encoded message that cannot be read. It
// returns nil when the fault is of another kind.
func blameWire(md protoreflect.MessageDescriptor, data []byte, path string) *ledger.Error {
	seen := map[protoreflect.FieldNumber]int{}
	for len(data) > 0 {
		num, kind, n := protowire.ConsumeTag(data)
		size := -1
		if n > 0 {
			size = protowire.ConsumeFieldValue(num, kind, data[n:])
		}
		if size < 0 {
			return refuse("BAD_MESSAGE", path, "", "the message is cut off or is not a protocol buffer")
		}
		raw := data[n : n+size]
		data = data[n+size:]
		fd := md.Fields().ByNumber(num)
		if fd == nil || kind != protowire.BytesType {
			continue
		}
		at := strings.TrimPrefix(path+"."+string(fd.Name()), ".")
		if fd.IsList() {
			at = fmt.Sprintf("%s[%d]", at, seen[num])
			seen[num]++
		}
		value, _ := protowire.ConsumeBytes(raw)
		switch {
		case fd.Kind() == protoreflect.StringKind && !utf8.Valid(value):
			return refuse("NOT_UTF8", at, string(value), "must be UTF-8 text")
		case fd.Message() != nil:
			if e := blameWire(fd.Message(), value, at); e != nil {
				return e
			}
		}
	}
	return nil
}

// registrar registers services whose unary methods ask whether their request
// could be read. Interceptors run after the decoding and do not see such a call;
// those of streams do, see stream.RecvMsg.
type registrar struct {
	*grpc.Server
	calls   *calls
	methods map[string]method // notes the unary ones
}

// RegisterService implements grpc.ServiceRegistrar.
func (r registrar) RegisterService(desc *grpc.ServiceDesc, impl any) {
	d := *desc
	d.Methods = slices.Clone(desc.Methods)
	for i, m := range desc.Methods {
		name := "/" + d.ServiceName + "/" + m.MethodName
		r.methods[name] = func(ctx context.Context, decode func(any) error, around grpc.UnaryServerInterceptor) (any, error) {
			return m.Handler(impl, ctx, decode, around)
		}
		d.Methods[i].Handler = func(srv any, ctx context.Context, decode func(any) error, around grpc.UnaryServerInterceptor) (any, error) {
			begun := time.Now()
			return m.Handler(srv, ctx, func(v any) (err error) {
				if err = decode(v); err != nil {
					return err
				}
				if err = r.calls.codec.fault(v); err != nil {
					r.calls.answer(ctx, name, &err)
					r.calls.logCall(ctx, name, nil, begun, err)
				}
				return err
			}, around)
		}
	}
	r.Server.RegisterService(&d, impl)
}

// The generated gateway code turns every error of decoding into text. So the text
// carries the status: a mark that no client can know, then the status.
var mark = "status/" + rand.Text() + ":"

type sealedError string

func (e sealedError) Error() string { return string(e) }

func sealed(err error) error {
	st, _ := statusOf(err)
	raw, mErr := proto.Marshal(st.Proto())
	if mErr != nil {
		return err
	}
	return sealedError(mark + base64.StdEncoding.EncodeToString(raw))
}

// unsealed gives back the status that a text carries, or st.
func unsealed(st *status.Status) *status.Status {
	_, text, found := strings.Cut(st.Message(), mark)
	if !found {
		return st
	}
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		return st
	}
	p := &spb.Status{}
	if proto.Unmarshal(raw, p) != nil {
		return st
	}
	return status.FromProto(p)
}

package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.org/remelt/ledger"
)

// longestCall is how long a call may take that asks for its own deadline.
const longestCall = 5 * time.Minute

// errShuttingDown ends a stream when the server stops. Nothing a stream does
// writes, so "nothing was recorded" holds.
var errShuttingDown = &ledger.Error{Class: ledger.ErrUnavailable, Reason: "SHUTTING_DOWN",
	Want: "the server is stopping; connect again and go on from the last number seen"}

// calls is what happens around every call, whichever way it came: it is logged,
// given a deadline, checked, and its error is translated once, here.
type calls struct {
	log       *slog.Logger
	deadline  time.Duration
	validator protovalidate.Validator
	codec     strictProto
	draining  context.Context // done when the server stops
	admission *admission
	metrics   *metrics
}

func newCalls(draining context.Context, log *slog.Logger, deadline time.Duration, a *admission, m *metrics) (*calls, error) {
	v, err := protovalidate.New()
	if err != nil {
		return nil, fmt.Errorf("the rules of request fields: %w", err)
	}
	return &calls{log: log, deadline: deadline, validator: v, codec: newStrictProto(), draining: draining, admission: a, metrics: m}, nil
}

func (c *calls) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, next grpc.UnaryHandler) (resp any, err error) {
	begun := time.Now()
	defer func() {
		c.metrics.call(info.FullMethod, false, status.Code(err), time.Since(begun))
		c.logCall(ctx, info.FullMethod, req, begun, err)
	}()
	defer c.answer(ctx, info.FullMethod, &err)
	allowed := c.deadline
	if _, given := ctx.Deadline(); given {
		allowed = longestCall // theirs, if it is sooner
	}
	ctx, cancel := context.WithTimeout(ctx, allowed)
	defer cancel()
	if ctx, err = c.admission.admit(ctx, info.FullMethod); err != nil {
		return nil, err
	}
	if err := c.check(ctx, req); err != nil {
		return nil, err
	}
	return bySettings(ctx, req, next)
}

func (c *calls) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, next grpc.StreamHandler) (err error) {
	begun := time.Now()
	ctx, cancel := context.WithCancel(ss.Context())
	defer cancel()
	defer context.AfterFunc(c.draining, cancel)()
	s := &stream{ServerStream: ss, ctx: ctx, calls: c, method: info.FullMethod, listens: info.IsClientStream, admitted: begun}
	defer func() {
		c.metrics.call(info.FullMethod, true, status.Code(err), time.Since(begun))
		c.logCall(ss.Context(), info.FullMethod, s.first, begun, err)
	}()
	defer c.answer(ctx, info.FullMethod, &err)
	if s.ctx, err = c.admission.admit(ctx, info.FullMethod); err != nil {
		return err
	}
	err = next(srv, s)
	if err != nil && c.draining.Err() != nil && ss.Context().Err() == nil {
		return errShuttingDown
	}
	return err
}

// stream is a server stream that ends when the server stops.
type stream struct {
	grpc.ServerStream
	ctx     context.Context
	calls   *calls
	method  string
	listens bool // the client goes on sending
	first   any

	admitted time.Time // when the caller was last let in
}

// askAgain is after how long a stream's caller is let in anew, so that it ends
// soon after what they came with does.
const askAgain = 10 * time.Second

// SendMsg implements grpc.ServerStream.
func (s *stream) SendMsg(m any) error {
	if now := time.Now(); now.Sub(s.admitted) > askAgain {
		if _, err := s.calls.admission.admit(s.ServerStream.Context(), s.method); err != nil {
			return err
		}
		s.admitted = now
	}
	return s.ServerStream.SendMsg(m)
}

func (s *stream) Context() context.Context { return s.ctx }

// RecvMsg checks what arrives. A handler that waits for the client would not
// notice that the server stops, so its waiting ends with the context.
func (s *stream) RecvMsg(m any) error {
	receive := func() error {
		if err := s.ServerStream.RecvMsg(m); err != nil {
			return err
		}
		if err := s.calls.codec.fault(m); err != nil {
			return err
		}
		return s.calls.check(s.ctx, m)
	}
	if !s.listens {
		s.first = m
		return receive()
	}
	got := make(chan error, 1)
	go func() { got <- receive() }()
	select {
	case err := <-got:
		return err
	case <-s.ctx.Done():
		return s.ctx.Err()
	}
}

// answer translates the error of a call, a panic included. What nobody named is
// logged with an id and hidden.
func (c *calls) answer(ctx context.Context, method string, err *error) {
	var stack []byte
	if p := recover(); p != nil {
		*err, stack = fmt.Errorf("panic: %v", p), debug.Stack()
	}
	if *err == nil {
		return
	}
	st, known := statusOf(*err)
	if !known {
		id := rand.Text()[:12]
		c.log.ErrorContext(ctx, "internal error", "log_id", id, "method", method, "error", (*err).Error(), "stack", string(stack))
		st = hidden(id)
	} else if code := st.Code(); (code == codes.DataLoss || code == codes.Unavailable) && !errors.Is(*err, errShuttingDown) {
		c.log.ErrorContext(ctx, "the store failed", "method", method, "error", (*err).Error()) // with the cause the caller is not shown
	}
	*err = st.Err()
}

// check puts the Idempotency-Key of the call into the request, and the parent of an
// import into its rows, and holds the request against the rules in the schema.
func (c *calls) check(ctx context.Context, req any) error {
	m, ok := req.(proto.Message)
	if !ok {
		return nil
	}
	if err := adoptKey(ctx, m.ProtoReflect()); err != nil {
		return err
	}
	adoptParent(req)
	err := c.validator.Validate(m)
	var bad *protovalidate.ValidationError
	if errors.As(err, &bad) {
		return invalidFields(bad).Err()
	}
	return err
}

// adoptKey takes the request id from metadata when the request has a field for
// it and leaves it empty.
func adoptKey(ctx context.Context, m protoreflect.Message) error {
	keys := slices.DeleteFunc(metadata.ValueFromIncomingContext(ctx, idempotencyKey), func(k string) bool { return k == "" })
	field := m.Descriptor().Fields().ByName("request_id")
	if len(keys) == 0 || field == nil || field.Kind() != protoreflect.StringKind || field.IsList() {
		return nil
	}
	key := strings.Trim(keys[0], `"`) // a quoted string in the header, by its draft
	given := m.Get(field).String()
	if len(keys) > 1 || given != "" && given != key {
		return &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_REQUEST_ID", Field: "request_id", Value: given,
			Want: "differs from the Idempotency-Key header; give one of them"}
	}
	m.Set(field, protoreflect.ValueOfString(key))
	return nil
}

// invalidFields tells every field that breaks a rule of the schema; the one
// ErrorInfo names the first.
func invalidFields(bad *protovalidate.ValidationError) *status.Status {
	d := &errdetails.BadRequest{}
	meta := map[string]string{metaClass: "invalid"}
	var text []string
	for _, v := range bad.Violations {
		f := &errdetails.BadRequest_FieldViolation{
			Field:       protovalidate.FieldPathString(v.Proto.GetField()),
			Reason:      strings.ToUpper(strings.NewReplacer(".", "_", "-", "_").Replace(v.Proto.GetRuleId())),
			Description: v.Proto.GetMessage(),
		}
		d.FieldViolations = append(d.FieldViolations, f)
		if len(text) == 0 {
			meta[metaField], meta[metaWant] = f.GetField(), f.GetDescription()
			if v.FieldValue.IsValid() && v.FieldDescriptor != nil && v.FieldDescriptor.Message() == nil && !v.FieldDescriptor.IsList() {
				meta[metaValue] = clip(v.FieldValue.String())
			}
		}
		text = append(text, f.GetField()+": "+f.GetDescription())
	}
	return newStatus(codes.InvalidArgument, "BAD_FIELD", strings.Join(text, "; "), meta, d)
}

// logCall writes the line of a call. It holds no content but ids: nothing of a
// request's other fields, no headers.
func (c *calls) logCall(ctx context.Context, method string, req any, begun time.Time, err error) {
	st := status.Convert(err)
	level := slog.LevelInfo
	switch {
	case strings.HasPrefix(method, "/grpc."): // health and reflection
		level = slog.LevelDebug
	case c.draining.Err() != nil && st.Code() == codes.Unavailable: // a stream that was ended
	case st.Code() == codes.Internal || st.Code() == codes.DataLoss || st.Code() == codes.Unavailable:
		level = slog.LevelError
	}
	if !c.log.Enabled(ctx, level) {
		return
	}
	attrs := []slog.Attr{
		slog.String("method", method), slog.String("code", codeName(st.Code())),
		slog.Float64("duration_ms", float64(time.Since(begun).Microseconds())/1000),
		slog.String("peer", peerOf(ctx)),
	}
	if m, ok := req.(proto.Message); ok {
		if shop := shopIn(m.ProtoReflect()); shop != "" {
			attrs = append(attrs, slog.String("shop", shop))
		}
		if id := textIn(m.ProtoReflect(), "request_id"); id != "" {
			attrs = append(attrs, slog.String("request_id", clip(id)))
		}
	}
	for _, d := range st.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			attrs = append(attrs, slog.String("reason", info.GetReason()))
			if id := info.GetMetadata()[metaLogID]; id != "" {
				attrs = append(attrs, slog.String("log_id", id))
			}
		}
	}
	c.log.LogAttrs(ctx, level, "call", attrs...)
}

// peerOf is who called: for a call through the gateway, who called the gateway.
func peerOf(ctx context.Context) string {
	p, ok := peer.FromContext(ctx)
	if !ok || p.Addr == nil {
		return ""
	}
	if p.Addr.Network() == "bufconn" { // nobody else can reach it, so its metadata is the gateway's
		if via := metadata.ValueFromIncomingContext(ctx, "x-forwarded-for"); len(via) > 0 {
			all := strings.Split(via[len(via)-1], ",")
			return strings.TrimSpace(all[len(all)-1]) // the gateway's own; what came before it anybody can say
		}
	}
	return p.Addr.String()
}

// shopIn is the shop a request is about: "shops/ID" at the head of its parent or
// name, or of the name of the thing it carries.
func shopIn(m protoreflect.Message) string {
	for _, field := range []protoreflect.Name{"parent", "name", "shop"} {
		if rest, ok := strings.CutPrefix(textIn(m, field), "shops/"); ok {
			id, _, _ := strings.Cut(rest, "/")
			return clip(id)
		}
	}
	if id := textIn(m, "shop_id"); id != "" {
		return clip(id)
	}
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if f.Message() != nil && !f.IsList() && !f.IsMap() && m.Has(f) {
			if rest, ok := strings.CutPrefix(textIn(m.Get(f).Message(), "name"), "shops/"); ok {
				id, _, _ := strings.Cut(rest, "/")
				return clip(id)
			}
		}
	}
	return ""
}

func textIn(m protoreflect.Message, name protoreflect.Name) string {
	f := m.Descriptor().Fields().ByName(name)
	if f == nil || f.Kind() != protoreflect.StringKind || f.IsList() || f.IsMap() {
		return ""
	}
	return m.Get(f).String()
}

// hostOf is the host of a peer's address, so that many connections count as one.
func hostOf(peer string) string {
	if host, _, err := net.SplitHostPort(peer); err == nil {
		return host
	}
	return peer
}

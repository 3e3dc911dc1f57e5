package client

import (
	"context"
	"errors"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// again sends calls that failed on their way once more.
type again struct {
	tries   int
	first   time.Duration
	timeout time.Duration
	heard   func(error, time.Duration)
}

// unary is the interceptor of every unary call. Each is either a read or carries
// a request id, so that sending it again is harmless.
func (a again) unary(ctx context.Context, method string, req, reply any, conn *grpc.ClientConn, call grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	req = withRequestID(req)
	for try := 1; ; try++ {
		one, cancel := context.WithTimeout(ctx, a.timeout)
		err := FromStatus(call(one, method, req, reply, conn, opts...))
		cancel()
		if err == nil || ctx.Err() != nil || try >= a.tries || !worthAnother(err) {
			return err
		}
		if a.pause(ctx, err, try) != nil {
			return err
		}
	}
}

// pause waits before try number done+1: at most first × 2^done, and as long as
// the server asked for. It gives ctx's error when that ends first.
func (a again) pause(ctx context.Context, err error, done int) error {
	wait := a.wait(err, done)
	if a.heard != nil {
		a.heard(err, wait)
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}

func (a again) wait(err error, done int) time.Duration {
	most := a.first
	for range min(done-1, 20) {
		if most *= 2; most >= longestWait {
			most = longestWait
			break
		}
	}
	wait := most/2 + rand.N(most/2+1) //nolint:gosec // luck, so that clients do not return together; no secret
	var f *Fault
	if errors.As(err, &f) {
		wait += min(f.RetryAfter, longestWait)
	}
	return wait
}

// worthAnother reports whether a call that failed so may succeed when it is sent
// once more: nobody refused it, or the store could not write just then.
func worthAnother(err error) bool {
	var f *Fault
	if !errors.As(err, &f) {
		return false
	}
	switch code := f.status.Code(); {
	case code == codes.Unavailable, code == codes.DeadlineExceeded, code == codes.Canceled:
		return true
	case f.Refused != nil:
		return false
	default: // without an ErrorInfo the server did not say it: a stream broke on the way
		return (code == codes.Internal || code == codes.Unknown) && !f.fromServer()
	}
}

func (f *Fault) fromServer() bool {
	for _, d := range f.status.Details() {
		if _, ok := d.(*errdetails.ErrorInfo); ok {
			return true
		}
	}
	return false
}

// withRequestID gives a write that has none a fresh id. The caller's message stays
// as it is: sent in another call it is another wish.
func withRequestID(req any) any {
	m, ok := req.(proto.Message)
	if !ok {
		return req
	}
	field := m.ProtoReflect().Descriptor().Fields().ByName("request_id")
	if field == nil || field.Kind() != protoreflect.StringKind || field.IsList() || m.ProtoReflect().Get(field).String() != "" {
		return req
	}
	m = proto.Clone(m)
	m.ProtoReflect().Set(field, protoreflect.ValueOfString(uuid.NewString()))
	return m
}

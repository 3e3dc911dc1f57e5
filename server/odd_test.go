package server

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.org/remelt/ledger"
)

// TestOddRequests takes every request of the first weeks and every read, and for
// each field in turn leaves it out and puts odd values in. Whatever is answered,
// it is an answer or a refusal that somebody named, never a crash, and the book
// stays whole.
func TestOddRequests(t *testing.T) {
	b := done(t)
	sent, refused := 0, 0
	for _, r := range append(work(), reads()...) {
		eachOdd(r.ProtoReflect(), "", func(what string) {
			odd := proto.Clone(r)
			b.identify(odd)
			sent++
			if _, err := b.call(odd); err != nil {
				refused++
				if st := status.Convert(err); st.Code() == codes.Unknown || st.Code() == codes.Internal || st.Code() == codes.Unavailable || st.Code() == codes.DataLoss {
					t.Errorf("%T with %s: %v", r, what, err)
				}
			}
		})
	}
	if sent < 1500 || refused < 500 {
		t.Errorf("%d sent, %d refused", sent, refused)
	}
	for _, shop := range must(b.store.Shops(context.Background())) {
		v, err := ledger.Verify(context.Background(), b.store, shop, nil)
		if err != nil || v.Fault != nil {
			t.Errorf("verify %s: %v, %+v", shop, err, v.Fault)
		}
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(errors.Join(errors.New("test"), err))
	}
	return v
}

// eachOdd changes one field of a message at a time, calls fn, and puts it back.
func eachOdd(m protoreflect.Message, at string, fn func(what string)) {
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		name := strings.TrimPrefix(at+"."+string(f.Name()), ".")
		if behaves(f, annotations.FieldBehavior_OUTPUT_ONLY) || name == "request_id" || name == "validate_only" {
			continue
		}
		had, was := m.Has(f), m.Get(f)
		try := func(what string, v protoreflect.Value) {
			m.Set(f, v)
			fn(name + " " + what)
			m.Clear(f)
			if had {
				m.Set(f, was)
			}
		}
		if had {
			m.Clear(f)
			fn(name + " left out")
			m.Set(f, was)
		}
		switch {
		case f.IsList():
			all := m.NewField(f).List()
			for range 3 { // empty ones, and the same one several times
				all.Append(all.NewElement())
			}
			try("of three empty ones", protoreflect.ValueOfList(all))
			for k := 0; f.Message() != nil && had && k < was.List().Len(); k++ {
				eachOdd(was.List().Get(k).Message(), fmt.Sprintf("%s[%d]", name, k), fn)
			}
		case f.Message() != nil:
			try("empty", m.NewField(f))
			if had && f.Message().ParentFile().Package() == "remelt.v1" || f.Message().Name() == "Timestamp" && had {
				eachOdd(was.Message(), name, fn)
			}
		case f.Kind() == protoreflect.StringKind:
			for _, s := range []string{"x", "shops/", "shops/harrow/lots/gating", "-1", "1e9 kg", "\x00", strings.Repeat("ß", 300)} {
				try(fmt.Sprintf("%.20q", s), protoreflect.ValueOfString(s))
			}
		case f.Kind() == protoreflect.Int64Kind:
			for _, n := range []int64{-1, 1, math.MaxInt64, math.MinInt64} {
				try(fmt.Sprint(n), protoreflect.ValueOfInt64(n))
			}
		case f.Kind() == protoreflect.Int32Kind:
			for _, n := range []int32{-1, math.MaxInt32} {
				try(fmt.Sprint(n), protoreflect.ValueOfInt32(n))
			}
		case f.Kind() == protoreflect.DoubleKind:
			for _, x := range []float64{math.NaN(), math.Inf(1), -1, 1e300} {
				try(fmt.Sprint(x), protoreflect.ValueOfFloat64(x))
			}
		case f.Kind() == protoreflect.BoolKind:
			try("true", protoreflect.ValueOfBool(true))
		}
	}
}

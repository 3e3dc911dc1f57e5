package server

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"example.org/remelt/ledger/memory"
)

// patience is how long a fuzzed input may take: it is meant to catch what never
// ends or grows with the square of its length, also on a busy machine.
const patience = 10 * time.Second

// fuzzed is a whole server, interceptors and gateway included, on a book in memory
// with the work of the first weeks in it.
func fuzzed(f *testing.F) (*Server, *grpc.ClientConn) {
	f.Helper()
	s, err := New(Config{Store: memory.New(), GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Log: slog.New(slog.DiscardHandler),
		Now: func() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC) }})
	if err != nil {
		f.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- s.Run(ctx) }()
	f.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			f.Error(err)
		}
	})
	conn, err := grpc.NewClient(s.GRPCAddr(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		f.Fatal(err)
	}
	f.Cleanup(func() { _ = conn.Close() })
	for i, r := range work() {
		if rev, ok := proto.Clone(r).(interface{ GetName() string }); ok && strings.Contains(rev.GetName(), lastEntry) {
			continue
		}
		if _, err := invoke(ctx, conn, methodOf(r), r); err != nil {
			f.Logf("step %d, %T: %v", i, r, err) // what hangs on the reversals left out
		}
	}
	return s, conn
}

// invoke makes a call; of a stream it takes the first answer.
func invoke(ctx context.Context, conn *grpc.ClientConn, m protoreflect.MethodDescriptor, r proto.Message) (proto.Message, error) {
	kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Output().FullName())
	if err != nil {
		return nil, err
	}
	resp := kind.New().Interface()
	if !m.IsStreamingServer() {
		return resp, conn.Invoke(ctx, path(m), r, resp)
	}
	ctx, cancel := context.WithTimeout(ctx, 200*time.Millisecond)
	defer cancel()
	stream, err := conn.NewStream(ctx, &grpc.StreamDesc{ServerStreams: true}, path(m))
	if err == nil {
		err = errors.Join(stream.SendMsg(r), stream.CloseSend())
	}
	if err == nil {
		err = stream.RecvMsg(resp)
	}
	if errors.Is(err, io.EOF) || status.Code(err) == codes.DeadlineExceeded { // nothing to say, yet
		err = nil
	}
	return resp, err
}

func methods() (all []protoreflect.MethodDescriptor) {
	eachMethod(func(m protoreflect.MethodDescriptor) { all = append(all, m) })
	slices.SortFunc(all, func(x, y protoreflect.MethodDescriptor) int { return cmp.Compare(x.FullName(), y.FullName()) })
	return all
}

// FuzzRequest: whatever a request of any method says, in JSON or on the wire, it is
// answered, or refused for a reason that somebody named. Writes are tried only, so
// that the book stays as it is.
func FuzzRequest(f *testing.F) {
	_, conn := fuzzed(f)
	all := methods()
	for _, r := range append(work(), reads()...) {
		text, err := protojson.Marshal(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint16(slices.Index(all, methodOf(r))), text)
		wire, err := proto.Marshal(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(uint16(slices.Index(all, methodOf(r))), wire)
	}
	f.Fuzz(func(t *testing.T, which uint16, raw []byte) {
		m := all[int(which)%len(all)]
		kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Input().FullName())
		if err != nil {
			t.Fatal(err)
		}
		r := kind.New()
		if protojson.Unmarshal(raw, r.Interface()) != nil && proto.Unmarshal(raw, r.Interface()) != nil {
			t.Skip("no request")
		}
		if dry := r.Descriptor().Fields().ByName("validate_only"); dry != nil {
			r.Set(dry, protoreflect.ValueOfBool(true))
		}
		ctx, cancel := context.WithTimeout(t.Context(), patience)
		defer cancel()
		if _, err := invoke(ctx, conn, m, r.Interface()); err != nil && !named(status.Code(err)) {
			t.Errorf("%s of %v: %v", m.Name(), r.Interface(), err)
		}
	})
}

// named tells whether a refusal with this code is one that the caller can do
// something about. Text that is not UTF-8 does not get past the encoding, whose
// code the libraries choose.
func named(c codes.Code) bool {
	switch c {
	case codes.InvalidArgument, codes.NotFound, codes.AlreadyExists, codes.FailedPrecondition, codes.Aborted, codes.OutOfRange,
		codes.ResourceExhausted, codes.Unauthenticated, codes.PermissionDenied, codes.Unimplemented:
		return true
	default:
		return false
	}
}

// FuzzREST: whatever comes over HTTP, no answer is the server's own failure, and
// every refusal of the API is JSON with a code and a message.
func FuzzREST(f *testing.F) {
	s, _ := fuzzed(f)
	for _, seed := range [][3]string{
		{"GET", "/v1/shops/harrow/lots?page_size=2&alloy=C87300", ""},
		{"GET", "/v1/shops/harrow/lots?page_token=AAAA", ""},
		{"GET", "/v1/shops/harrow/entries?order_by=sequence desc&page_size=-1", ""},
		{"GET", "/v1/shops/harrow/heats/41?view=FULL", ""},
		{"POST", "/v1/shops/harrow/lots:weighIn", `{"alloy":"C87300","weighing":{"net":{"text":"5,62 kg"}},"validate_only":true}`},
		{"POST", "/v1/shops/harrow/lots:weighIn", `{"weighing":{"net":{"mg":"9e99"}}}`},
		{"PATCH", "/v1/shops/harrow/places/rack", `{"place":{"display_name":"<b>"},"update_mask":"displayName"}`},
		{"DELETE", "/v1/shops/harrow", ""},
		{"GET", "/lots/ingots", ""},
		{"GET", "/weigh-in?alloy=%00", ""},
		{"GET", "/heats/41/charge?from=x", ""},
		{"GET", "/shops/harrow/paper/labels?lot=ingots", ""},
		{"GET", "/shops/harrow/lots/ingots", ""},
	} {
		f.Add(seed[0], seed[1], []byte(seed[2]))
	}
	client := &http.Client{Timeout: patience, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	f.Fuzz(func(t *testing.T, method, path string, body []byte) {
		if !strings.HasPrefix(path, "/") || strings.Contains(path, "watch") || strings.HasPrefix(path, "/debug") {
			t.Skip("not a path, or a stream")
		}
		r, err := http.NewRequestWithContext(t.Context(), method, "http://"+s.HTTPAddr()+path, strings.NewReader(string(body)))
		if err != nil || method == "CONNECT" {
			t.Skip("no request")
		}
		r.Header.Set("Content-Type", "application/json")
		resp, err := client.Do(r)
		if err != nil {
			if strings.Contains(err.Error(), "invalid") || strings.Contains(err.Error(), "malformed") {
				t.Skip("the client does not send it")
			}
			t.Fatalf("%s %q: %v", method, path, err)
		}
		defer resp.Body.Close()
		got, err := io.ReadAll(io.LimitReader(resp.Body, 16<<20))
		if err != nil {
			t.Fatalf("%s %q: %v", method, path, err)
		}
		if resp.StatusCode >= 500 && resp.StatusCode != http.StatusNotImplemented {
			t.Errorf("%s %q with %q: HTTP %d: %s", method, path, body, resp.StatusCode, got)
		}
		if resp.StatusCode >= 400 && strings.HasPrefix(resp.Header.Get("Content-Type"), "application/json") && !json.Valid(got) {
			t.Errorf("%s %q: HTTP %d and no JSON: %q", method, path, resp.StatusCode, got)
		}
	})
}

// FuzzList: whatever a list is asked to keep, and wherever its page token says that the
// page before ended, it is answered, or refused for a reason that somebody named. The
// token is one of that very question, since any other is refused before it is read.
func FuzzList(f *testing.F) {
	_, conn := fuzzed(f)
	var lists []protoreflect.MethodDescriptor
	for _, m := range methods() {
		if m.Input().Fields().ByName("page_token") != nil {
			lists = append(lists, m)
		}
	}
	if len(lists) < 10 {
		f.Fatalf("%d lists", len(lists))
	}
	for i := range lists {
		for _, end := range []string{"ingots", "41", "-1", "9223372036854775808", "lot/L1\x00", "\xff"} {
			f.Add(uint16(i), end, "C87300")
		}
	}
	f.Fuzz(func(t *testing.T, which uint16, end, keep string) {
		m := lists[int(which)%len(lists)]
		kind, err := protoregistry.GlobalTypes.FindMessageByName(m.Input().FullName())
		if err != nil {
			t.Fatal(err)
		}
		r := kind.New()
		for i := range r.Descriptor().Fields().Len() {
			if field := r.Descriptor().Fields().Get(i); field.Kind() == protoreflect.StringKind && !field.IsList() && field.Name() != "page_token" {
				r.Set(field, protoreflect.ValueOfString(strings.ToValidUTF8(keep, "?")))
			}
		}
		if parent := r.Descriptor().Fields().ByName("parent"); parent != nil {
			r.Set(parent, protoreflect.ValueOfString("shops/harrow"))
		}
		of := (&desk{ctx: t.Context()}).page(r.Interface().(listRequest))
		of.limit = 0
		r.Set(r.Descriptor().Fields().ByName("page_token"), protoreflect.ValueOfString(of.next(0, end)))
		ctx, cancel := context.WithTimeout(t.Context(), patience)
		defer cancel()
		if _, err := invoke(ctx, conn, m, r.Interface()); err != nil && !named(status.Code(err)) {
			t.Errorf("%s of %v: %v", m.Name(), r.Interface(), err)
		}
	})
}

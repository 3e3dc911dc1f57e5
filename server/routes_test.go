package server

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// TestEveryRoute sends a REST request for every HTTP rule of the schema, further
// bindings included, and sees that it reaches that very method with the resource
// name in its field: no rule hides another.
func TestEveryRoute(t *testing.T) {
	var reached string
	var request proto.Message
	stop := status.Error(codes.Aborted, "seen")
	conn, err := grpc.NewClient("passthrough:///nowhere", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithUnaryInterceptor(func(_ context.Context, method string, req, _ any, _ *grpc.ClientConn, _ grpc.UnaryInvoker, _ ...grpc.CallOption) error {
			reached, request = method, req.(proto.Message)
			return stop
		}),
		grpc.WithStreamInterceptor(func(_ context.Context, _ *grpc.StreamDesc, _ *grpc.ClientConn, method string, _ grpc.Streamer, _ ...grpc.CallOption) (grpc.ClientStream, error) {
			reached = method
			return nil, stop
		}))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	mux, err := newGateway(context.Background(), conn)
	if err != nil {
		t.Fatal(err)
	}
	routes := 0
	eachMethod(func(m protoreflect.MethodDescriptor) {
		rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
		for _, r := range append([]*annotations.HttpRule{rule}, rule.GetAdditionalBindings()...) {
			routes++
			verb, template := "GET", r.GetGet()
			if r.GetPost() != "" {
				verb, template = "POST", r.GetPost()
			} else if r.GetPatch() != "" {
				verb, template = "PATCH", r.GetPatch()
			}
			url, field, name := filled(template)
			reached, request = "", nil
			if verb == "GET" {
				w := httptest.NewRecorder()
				mux.ServeHTTP(w, httptest.NewRequest(verb, url+"?unto=2020", http.NoBody))
				if info := infoOf(t, w.Body.String()); reached != "" || info.Reason != "UNKNOWN_PARAMETER" || info.Metadata["field"] != "unto" {
					t.Errorf("%s %s with a mistyped parameter reaches %q: HTTP %d %v", verb, url, reached, w.Code, info)
				}
			}
			w := httptest.NewRecorder()
			mux.ServeHTTP(w, httptest.NewRequest(verb, url, strings.NewReader(map[bool]string{true: "{}"}[verb != "GET"])))
			if reached != path(m) {
				t.Errorf("%s %s reaches %q, want %s: %s", verb, url, reached, path(m), w.Body)
				continue
			}
			if request == nil || field == "" {
				continue
			}
			at := request.ProtoReflect()
			parts := strings.Split(field, ".")
			for _, p := range parts[:len(parts)-1] {
				at = at.Get(at.Descriptor().Fields().ByName(protoreflect.Name(p))).Message()
			}
			if got := at.Get(at.Descriptor().Fields().ByName(protoreflect.Name(parts[len(parts)-1]))).String(); got != name {
				t.Errorf("%s %s: %s is %q, want %q", verb, url, field, got, name)
			}
			other, body, parameter := "UNKNOWN_PARAMETER", nested(parts, name), "?validateOnly=true"
			if verb == "GET" {
				other, body, parameter = "CONTRADICTION", "", "?"+field+"=shops/x9"
			}
			for want, r := range map[string]*http.Request{
				other:           httptest.NewRequest(verb, url+parameter, strings.NewReader(body)),
				"CONTRADICTION": httptest.NewRequest(verb, url+map[bool]string{true: parameter}[verb == "GET"], strings.NewReader(nested(parts, "shops/x9"))),
			} {
				reached = ""
				w := httptest.NewRecorder()
				mux.ServeHTTP(w, r)
				if info := infoOf(t, w.Body.String()); reached != "" || w.Code != http.StatusBadRequest || info.Reason != want || want == "CONTRADICTION" && info.Metadata["field"] != field {
					t.Errorf("%s %s reaches %q, HTTP %d %v, want %s", verb, r.URL, reached, w.Code, info, want)
				}
			}
			reached = ""
			if mux.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(verb, url, strings.NewReader(body))); reached != path(m) {
				t.Errorf("%s %s with the same name in its body reaches %q", verb, url, reached)
			}
		}
	})
	if routes < 85 {
		t.Errorf("only %d routes", routes)
	}
}

// nested is an object with a text in a field, or in a field of an object in it.
func nested(path []string, text string) string {
	body := `"` + text + `"`
	for i := len(path) - 1; i >= 0; i-- {
		body = `{"` + path[i] + `": ` + body + `}`
	}
	return body
}

// filled makes a URL of a path template, with "x1" and so on for the stars.
func filled(template string) (url, field, name string) {
	before, rest, found := strings.Cut(template, "{")
	if !found {
		return template, "", ""
	}
	inside, after, _ := strings.Cut(rest, "}")
	field, pattern, _ := strings.Cut(inside, "=")
	for n := 1; strings.Contains(pattern, "*"); n++ {
		pattern = strings.Replace(pattern, "*", "x"+string(rune('0'+n)), 1)
	}
	return before + pattern + after, field, pattern
}

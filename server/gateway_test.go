package server

import (
	"bytes"
	"context"
	"net/http"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"

	pb "example.org/remelt/api/remelt/v1"
)

const receive = "/v1/shops/harrow/lots:receive"

func TestBodiesThatAreRefused(t *testing.T) {
	w := serve(t)
	head, err := w.book.HeadOf(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		body   string
		reason string
		field  string
	}{
		"unknown field":           {`{"alloi": "C87300"}`, "UNKNOWN_FIELD", "alloi"},
		"unknown inside":          {`{"weighing": {"net": {"gm": "5"}}}`, "UNKNOWN_FIELD", "weighing.net.gm"},
		"unknown in a list":       {`{"certificate": {"elements": [{"symbol": "Si"}, {"symbl": "Cu"}]}}`, "UNKNOWN_FIELD", "certificate.elements[1].symbl"},
		"wrong type":              {`{"weighing": {"pieces": "three"}}`, "BAD_JSON_VALUE", "weighing.pieces"},
		"number out of range":     {`{"weighing": {"net": {"mg": 9223372036854775808}}}`, "BAD_JSON_VALUE", "weighing.net.mg"},
		"fraction of a milligram": {`{"weighing": {"net": {"mg": 1.5}}}`, "BAD_JSON_VALUE", "weighing.net.mg"},
		"unknown enum":            {`{"form": "FORM_BRICK"}`, "BAD_JSON_VALUE", "form"},
		"time":                    {`{"happenedTime": "yesterday"}`, "BAD_JSON_VALUE", "happened_time"},
		"object for a text":       {`{"alloy": {}}`, "BAD_JSON_VALUE", "alloy"},
		"text for an object":      {`{"weighing": "5 kg"}`, "BAD_JSON_VALUE", "weighing"},
		"twice":                   {`{"alloy": "C87300", "alloy": "C95400"}`, "BAD_JSON", "body"},
		"two values":              {`{"alloy": "C87300"} {}`, "BAD_JSON", "body"},
		"cut off":                 {`{"alloy": "C87300"`, "BAD_JSON", "body"},
		"a list":                  {`[]`, "BAD_JSON_VALUE", "body"},
		"invalid UTF-8":           {"{\"certificate\": {\"number\": \"caf\xe9\"}}", "NOT_UTF8", "certificate.number"},
		"unpaired surrogate":      {`{"alloy": "\ud800"}`, "BAD_JSON_VALUE", "alloy"},
	} {
		t.Run(name, func(t *testing.T) {
			w := &world{T: t, Server: w.Server}
			w.refused("POST", receive, c.body, http.StatusBadRequest, c.reason, c.field)
		})
	}
	if after, _ := w.book.HeadOf(t.Context()); after != head {
		t.Error("something was recorded")
	}
}

func TestRefusalsOfTheGateway(t *testing.T) {
	w := serve(t)
	for name, c := range map[string]struct{ method, path, body string }{
		"refuse-unknown-field":     {"POST", receive, `{"alloi": "C87300"}`},
		"refuse-enum":              {"POST", receive, `{"form": "FORM_BRICK"}`},
		"refuse-unknown-parameter": {"GET", "/v1/shops/harrow/lots?alloi=C87300", ""},
		"refuse-bad-parameter":     {"GET", "/v1/shops/harrow/lots?pageSize=many", ""},
		"refuse-path":              {"GET", "/v1/shop/harrow", ""},
		"refuse-method":            {"DELETE", "/v1/shops/harrow/lots/L7-9", ""},
		"refuse-field-rule":        {"GET", "/v1/shops/harrow/lots?pageSize=-1", ""},
		"refuse-large-body":        {"POST", receive, `{"alloy": "` + strings.Repeat("x", 1<<20) + `"}`},
		"refuse-utf8":              {"POST", receive, "{\"alloy\": \"caf\xe9\"}"},
	} {
		resp, body := w.do(c.method, c.path, c.body)
		if ct := resp.Header.Get("Content-Type"); ct != "application/json" {
			t.Errorf("%s: content type %q", name, ct)
		}
		infoOf(t, body)
		golden(t, name, resp.StatusCode, body)
	}
}

func TestParametersThatAreRefused(t *testing.T) {
	w := serve(t)
	w.refused("GET", "/v1/shops/harrow/lots?alloi=C87300", "", 400, "UNKNOWN_PARAMETER", "alloi")
	w.refused("GET", "/v1/shops/harrow/lots?alloy.id=C87300", "", 400, "UNKNOWN_PARAMETER", "alloy.id")
	w.refused("GET", "/v1/shops/harrow/lots?pageSize=many", "", 400, "BAD_PARAMETER", "page_size")
	w.refused("GET", "/v1/shops/harrow/lots?alloy=%ff", "", 400, "NOT_UTF8", "alloy")
	w.refused("GET", "/v1/shops/%ff/lots", "", 400, "NOT_UTF8", "path")
	w.refused("GET", "/v1/shops/harrow/nothing", "", 404, "NO_SUCH_PATH", "")
	w.refused("DELETE", "/v1/shops/harrow/lots/L7-9", "", 405, "METHOD_NOT_ALLOWED", "")
	w.refused("GET", "/v1/shops/harrow/lots", "", 400, "INVALID_ARGUMENT", "", "Grpc-Timeout", "soon")
}

// TestMethodsOfAPath: RFC 9110, sections 9.3.2 (HEAD is GET without the body) and 15.5.6
// (a refused method is answered with those that there are).
func TestMethodsOfAPath(t *testing.T) {
	w := serve(t)
	got, body := w.do("GET", "/v1/shops/harrow", "")
	head, empty := w.do("HEAD", "/v1/shops/harrow", "")
	if head.StatusCode != http.StatusOK || got.StatusCode != http.StatusOK || body == "" || empty != "" || head.Header.Get("Content-Type") != got.Header.Get("Content-Type") {
		t.Errorf("HEAD answers %d %v %q, GET %d %v", head.StatusCode, head.Header, empty, got.StatusCode, got.Header)
	}
	if head, _ := w.do("HEAD", "/v1/shops/harrow/entries:watch?afterSequence=0", ""); head.StatusCode != http.StatusOK {
		t.Errorf("HEAD of a stream answers %d", head.StatusCode)
	}
	if head, _ := w.do("HEAD", "/v1/shops/nobody", ""); head.StatusCode != http.StatusNotFound {
		t.Errorf("HEAD of what there is not answers %d", head.StatusCode)
	}
	for path, want := range map[string]string{
		"/v1/shops/harrow":                "GET, HEAD, PATCH",
		"/v1/shops/harrow/lots":           "GET, HEAD",
		"/v1/shops/harrow/lots:weighIn":   "POST",
		"/v1/shops/harrow/purchaseOrders": "GET, HEAD, POST",
	} {
		resp, _ := w.do("DELETE", path, "")
		if got := resp.Header.Get("Allow"); resp.StatusCode != http.StatusMethodNotAllowed || got != want {
			t.Errorf("DELETE %s: %d, Allow %q, want %q", path, resp.StatusCode, got, want)
		}
	}
}

func TestABodyOfTenMegabytes(t *testing.T) {
	w := serve(t)
	big := `{"alloy": "` + strings.Repeat("x", 10<<20) + `"}`
	w.refused("POST", receive, big, http.StatusRequestEntityTooLarge, "BODY_TOO_LARGE", "body")

	// the same without saying beforehand how long it is
	r, err := http.NewRequest("POST", "http://"+w.HTTPAddr()+receive, struct{ *bytes.Reader }{bytes.NewReader([]byte(big))})
	if err != nil {
		t.Fatal(err)
	}
	r.ContentLength = -1
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if resp.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("HTTP %d", resp.StatusCode)
	}
	if resp, body := w.do("GET", "/healthz", ""); resp.StatusCode != 200 {
		t.Errorf("afterwards: %s", body)
	}
}

// fakeLots records what the handler of ReceiveLot was asked.
type fakeLots struct {
	pb.UnimplementedLotServiceServer
	got *pb.ReceiveLotRequest
}

func (f *fakeLots) ReceiveLot(_ context.Context, r *pb.ReceiveLotRequest) (*pb.ReceiveLotResponse, error) {
	f.got = r
	return &pb.ReceiveLotResponse{Lot: &pb.Lot{Name: r.GetParent() + "/lots/L7-9"}}, nil
}

func TestIdempotencyKey(t *testing.T) {
	lots := &fakeLots{}
	w := serve(t, func(c *Config) {
		c.services = func(r grpc.ServiceRegistrar, _ Deps) { pb.RegisterLotServiceServer(r, lots) }
	})
	const id, other = "0191e0a4-7b1c-7cc2-9e0d-3d2f5a6b7c8d", "0191e0a4-7b1c-7cc2-9e0d-3d2f5a6b7c8e"
	for _, c := range []struct{ header, body, want string }{
		{id, `{"weighing": {}}`, id},
		{`"` + id + `"`, `{"weighing": {}}`, id}, // the quoted form of the header's draft
		{id, `{"weighing": {}, "requestId": "` + id + `"}`, id},
		{"", `{"weighing": {}, "requestId": "` + id + `"}`, id},
	} {
		lots.got = nil
		if resp, body := w.do("POST", receive, c.body, "Idempotency-Key", c.header); resp.StatusCode != 200 || lots.got.GetRequestId() != c.want {
			t.Errorf("header %q body %s: request id %q: %s", c.header, c.body, lots.got.GetRequestId(), body)
		}
	}
	w.refused("POST", receive, `{"requestId": "`+other+`"}`, 400, "BAD_REQUEST_ID", "request_id", "Idempotency-Key", id)
	if l := w.log.lines("call"); l[0]["request_id"] != id || l[0]["shop"] != "harrow" {
		t.Errorf("logged %v", l[0])
	}
}

// Every field is written, names are lowerCamelCase and 64-bit integers are texts,
// by the JSON mapping of protocol buffers, whose own reader takes it back.
func TestTheFormOfAnswers(t *testing.T) {
	lots := &fakeLots{}
	w := serve(t, func(c *Config) {
		c.services = func(r grpc.ServiceRegistrar, _ Deps) { pb.RegisterLotServiceServer(r, lots) }
	})
	_, body := w.do("POST", receive, `{"weighing": {"net": {"mg": "9007199254740993"}}}`)
	for _, want := range []string{`"name":"shops/harrow/lots/L7-9"`, `"entry":null`} {
		if !strings.Contains(strings.ReplaceAll(body, " ", ""), want) {
			t.Errorf("no %s in %s", want, body)
		}
	}
	if got := lots.got.GetWeighing().GetNet().GetMg(); got != 9007199254740993 { // 2⁵³+1, which a float would round
		t.Errorf("mg %d", got)
	}
	if err := protojson.Unmarshal([]byte(body), &pb.ReceiveLotResponse{}); err != nil {
		t.Error(err)
	}
	w.refused("POST", receive, ``, 400, "BAD_FIELD", "weighing") // no body is an empty one, not bad JSON
}

// What a write says beside its body is refused and nothing of it is recorded.
func TestWritesSayAllInTheirBody(t *testing.T) {
	w := serve(t)
	head, err := w.book.HeadOf(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	const in, three = "/v1/shops/harrow/lots:weighIn", `{"alloy": "C87300", "weighing": {"net": {"text": "3 kg"}}`
	w.refused("POST", in+"?validate_only=true", three+"}", 400, "UNKNOWN_PARAMETER", "validate_only")
	w.refused("POST", in+"?%zz", three+"}", 400, "UNKNOWN_PARAMETER", "query")
	w.refused("POST", in, three+`, "parent": "shops/second"}`, 400, "CONTRADICTION", "parent")
	w.refused("PATCH", "/v1/shops/harrow/places/rack", `{"place": {"name": "shops/harrow/places/bins", "displayName": "y"}, "allowMissing": true}`, 400, "CONTRADICTION", "place.name")
	w.refused("GET", "/v1/shops/harrow/lots?parent=shops/second", "", 400, "CONTRADICTION", "parent")
	if after, _ := w.book.HeadOf(t.Context()); after != head {
		t.Error("something was recorded")
	}
}

// The mask of all there is clears what is not said, as it does over gRPC.
func TestAMaskOfAllThereIs(t *testing.T) {
	w := serve(t)
	const party = "/v1/shops/harrow/parties/tin"
	for _, c := range []struct{ body, want string }{
		{`{"party": {"displayName": "Tin and Sons", "roles": ["ROLE_SUPPLIER"]}, "allowMissing": true}`, `"roles":["ROLE_SUPPLIER"]`},
		{`{"party": {"displayName": "Tin & Sons"}}`, `"roles":["ROLE_SUPPLIER"]`},
		{`{"party": {"displayName": "say \"updateMask\": \"*\""}}`, `"roles":["ROLE_SUPPLIER"]`},
		{`{"party": {"displayName": "Tin & Sons"}, "updateMask": "*"}`, `"roles":[]`},
	} {
		if resp, body := w.do("PATCH", party, c.body); resp.StatusCode != 200 || !strings.Contains(strings.ReplaceAll(body, " ", ""), c.want) {
			t.Errorf("%s: HTTP %d, no %s in %s", c.body, resp.StatusCode, c.want, body)
		}
	}
	w.refused("PATCH", party, `{"party": {"displayName": 5}, "updateMask": "*"}`, 400, "BAD_JSON_VALUE", "party.display_name")
	w.refused("PATCH", party, `{"party": {"updateMask": "*"}}`, 400, "UNKNOWN_FIELD", "party.updateMask")
	w.refused("PATCH", party, `{"party": {}, "party": {}, "updateMask": "*"}`, 400, "BAD_JSON", "body")
	w.refused("POST", receive, `{"updateMask": "*"}`, 400, "UNKNOWN_FIELD", "updateMask")
}

// A client cannot forge what a decoding error says by sending its form.
func TestAStatusInATextIsOnlyText(t *testing.T) {
	w := serve(t)
	w.refused("GET", "/v1/shops/harrow/lots?pageSize=status/AAAA:CAUSBGV2aWw%3D", "", 400, "BAD_PARAMETER", "page_size")
}

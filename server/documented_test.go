package server

import (
	"bytes"
	"encoding/json"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.org/remelt/api"
)

// documented is the OpenAPI document that is served, to hold answers against. Its schemas
// are JSON Schemas (OpenAPI 3.1.0, Schema Object), and a library of others reads them.
type documented struct {
	*testing.T
	paths    map[string]map[string]operation
	compiler *jsonschema.Compiler
}

type operation struct {
	ID        string `json:"operationId"`
	Responses map[string]struct{ Content map[string]any }
}

const documentURL = "https://remelt.invalid/openapi.json"

func readDocument(t *testing.T) *documented {
	t.Helper()
	whole, err := jsonschema.UnmarshalJSON(bytes.NewReader(api.OpenAPI))
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Paths map[string]map[string]operation
	}
	if err := json.Unmarshal(api.OpenAPI, &doc); err != nil {
		t.Fatal(err)
	}
	d := &documented{t, doc.Paths, jsonschema.NewCompiler()}
	d.compiler.DefaultDraft(jsonschema.Draft2020)
	if err := d.compiler.AddResource(documentURL, whole); err != nil {
		t.Fatal(err)
	}
	return d
}

// answers holds what an operation answered, one JSON value or one a line, against what
// the document says of it.
func (d *documented) answers(template, verb, code, form, body string) {
	d.Helper()
	op := d.paths[template][verb]
	if _, found := op.Responses[code]; !found {
		code = "default"
	}
	if op.Responses[code].Content[form] == nil {
		d.Errorf("%s %s answers %s with %s, which is not documented", verb, template, code, form)
		return
	}
	at := ""
	for _, step := range []string{"paths", template, verb, "responses", code, "content", form, "schema"} {
		at += "/" + url.PathEscape(strings.NewReplacer("~", "~0", "/", "~1").Replace(step))
	}
	schema, err := d.compiler.Compile(documentURL + "#" + at)
	if err != nil {
		d.Fatal(err)
	}
	values := json.NewDecoder(strings.NewReader(body))
	values.UseNumber()
	for values.More() {
		var v any
		if err := values.Decode(&v); err != nil {
			d.Fatalf("%s %s: %v: %s", verb, template, err, body)
		}
		if err := schema.Validate(v); err != nil {
			d.Errorf("%s %s: %v", verb, template, err)
		}
	}
}

// template finds the path of the document that a path is one of: of several, the one
// with the most of its text in it.
func (d *documented) template(path string) (best string) {
	path, _, _ = strings.Cut(path, "?")
	for t := range d.paths {
		pattern := regexp.MustCompile(`\\\{[^}]*\\\}`).ReplaceAllString(regexp.QuoteMeta(t), `[^/:]+`)
		if regexp.MustCompile("^"+pattern+"$").MatchString(path) && len(t) > len(best) {
			best = t
		}
	}
	return best
}

// named finds an operation by its method.
func (d *documented) named(m protoreflect.MethodDescriptor) (template, verb string) {
	id := string(m.Parent().Name()) + "_" + string(m.Name())
	for t, item := range d.paths {
		for v, op := range item {
			if op.ID == id {
				return t, v
			}
		}
	}
	d.Errorf("nothing in the document is called %s", id)
	return "", ""
}

// body is an answer as the gateway writes it.
func (d *documented) body(m protoreflect.MethodDescriptor, resp proto.Message) string {
	d.Helper()
	var written any = resp
	rule, _ := proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
	if part := rule.GetResponseBody(); part != "" {
		written = resp.ProtoReflect().Get(m.Output().Fields().ByName(protoreflect.Name(part))).Message().Interface()
	}
	raw, err := newStrictJSON().Marshal(written)
	if err != nil {
		d.Fatal(err)
	}
	return string(raw)
}

// TestAnswersAreAsDocumented: what each method answers in a shop's first weeks, written
// as the gateway writes it, is what the document says, what is not set included.
func TestAnswersAreAsDocumented(t *testing.T) {
	d, b := readDocument(t), newBench(t)
	hold := func(r proto.Message) {
		m := methodOf(r)
		template, verb := d.named(m)
		d.answers(template, verb, "200", "application/json", d.body(m, do[proto.Message](b, r)))
	}
	for _, r := range work() {
		b.step(r)
		hold(r)
	}
	for _, r := range reads() {
		hold(r)
	}
}

// TestStreamsAreAsDocumented, over REST: in the form that is documented, a line at a time.
func TestStreamsAreAsDocumented(t *testing.T) {
	d, w := readDocument(t), serve(t)
	for _, path := range []string{"/v1/shops/harrow:verify", "/v1/shops/nobody:verify"} {
		resp, body := w.do("GET", path, "")
		d.answers(d.template(path), "get", map[bool]string{true: "200"}[resp.StatusCode == 200], resp.Header.Get("Content-Type"), body)
	}
}

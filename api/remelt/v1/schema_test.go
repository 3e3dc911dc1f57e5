package remeltv1_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "example.org/remelt/api/remelt/v1"
)

// These tests hold the schema against the API Improvement Proposals (aip.dev) by
// number, where buf lint does not.

type method struct {
	protoreflect.MethodDescriptor
	rule *annotations.HttpRule
	verb string // GET, POST, PATCH
	path string
}

// tells are methods that tell this server something and record nothing.
var tells = []protoreflect.Name{"ShowReading"}

// writes reports whether the method records something.
func (m method) writes() bool { return m.verb != "GET" && !slices.Contains(tells, m.Name()) }

func (m method) request(field protoreflect.Name) protoreflect.FieldDescriptor {
	return m.Input().Fields().ByName(field)
}

func methods(t *testing.T) (out []method) {
	t.Helper()
	protoregistry.GlobalFiles.RangeFilesByPackage("remelt.v1", func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			all := f.Services().Get(i).Methods()
			for k := range all.Len() {
				m := method{MethodDescriptor: all.Get(k)}
				m.rule, _ = proto.GetExtension(m.Options(), annotations.E_Http).(*annotations.HttpRule)
				switch p := m.rule.GetPattern().(type) {
				case *annotations.HttpRule_Get:
					m.verb, m.path = "GET", p.Get
				case *annotations.HttpRule_Post:
					m.verb, m.path = "POST", p.Post
				case *annotations.HttpRule_Patch:
					m.verb, m.path = "PATCH", p.Patch
				}
				out = append(out, m)
			}
		}
		return true
	})
	if len(out) < 70 {
		t.Fatalf("only %d methods found", len(out))
	}
	return out
}

func messages() (out []protoreflect.MessageDescriptor) {
	var add func(protoreflect.MessageDescriptors)
	add = func(ms protoreflect.MessageDescriptors) {
		for i := range ms.Len() {
			out = append(out, ms.Get(i))
			add(ms.Get(i).Messages())
		}
	}
	protoregistry.GlobalFiles.RangeFilesByPackage("remelt.v1", func(f protoreflect.FileDescriptor) bool {
		add(f.Messages())
		return true
	})
	return out
}

func fieldsOf(m protoreflect.MessageDescriptor) (out []protoreflect.FieldDescriptor) {
	for i := range m.Fields().Len() {
		out = append(out, m.Fields().Get(i))
	}
	return out
}

func behaviors(f protoreflect.FieldDescriptor) []annotations.FieldBehavior {
	b, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	return b
}

// AIP-127: every method has an HTTP rule; a read is a GET, a write has its
// fields in the body. AIP-136: the verb of a custom method is in its name.
func TestEveryMethodHasAnHTTPRule(t *testing.T) {
	for _, m := range methods(t) {
		if m.path == "" {
			t.Errorf("%s has no HTTP rule", m.FullName())
			continue
		}
		if want := map[bool]string{true: "*"}[m.verb != "GET"]; m.rule.GetBody() != want {
			t.Errorf("%s: body %q, want %q", m.FullName(), m.rule.GetBody(), want)
		}
		if _, verb, custom := strings.Cut(m.path, ":"); custom {
			if m.rule.GetResponseBody() != "" {
				t.Errorf("%s: a custom method answers with the whole response", m.FullName())
			}
			name := strings.ToLower(string(m.Name()))
			if v := strings.ToLower(verb); !strings.HasPrefix(name, v) && v != "history" {
				t.Errorf("%s: the verb %q is not at the head of the name", m.FullName(), verb)
			}
		} else if b := m.rule.GetResponseBody(); b == "" && !strings.HasPrefix(string(m.Name()), "List") {
			t.Errorf("%s: a standard method answers with the resource alone over REST (response_body)", m.FullName())
		} else if b != "" && m.Output().Fields().ByName(protoreflect.Name(b)) == nil {
			t.Errorf("%s: response_body %q is no field", m.FullName(), b)
		}
	}
}

// AIP-155 and AIP-163: each request that writes has request_id and validate_only,
// and what else every entry of the book keeps. A read has none of them.
func TestEveryWriteCarriesItsRequestID(t *testing.T) {
	want := []struct {
		name   protoreflect.Name
		number protoreflect.FieldNumber
		kind   protoreflect.Kind
	}{
		{"request_id", 20, protoreflect.StringKind}, {"validate_only", 21, protoreflect.BoolKind},
		{"happened_time", 22, protoreflect.MessageKind}, {"reason", 23, protoreflect.StringKind},
		{"who", 24, protoreflect.StringKind}, {"device", 25, protoreflect.StringKind},
	}
	writes := 0
	for _, m := range methods(t) {
		if slices.Contains(tells, m.Name()) {
			continue
		}
		for _, w := range want {
			f := m.request(w.name)
			if !m.writes() {
				if f != nil && w.name != "happened_time" { // reads ask as of it
					t.Errorf("%s reads and has %s", m.FullName(), w.name)
				}
				continue
			}
			if f == nil || f.Number() != w.number || f.Kind() != w.kind {
				t.Errorf("%s: want %s = %d", m.FullName(), w.name, w.number)
			}
		}
		if !m.writes() {
			continue
		}
		writes++
		if f := m.request("request_id"); f != nil {
			info, _ := proto.GetExtension(f.Options(), annotations.E_FieldInfo).(*annotations.FieldInfo)
			if info.GetFormat() != annotations.FieldInfo_UUID4 {
				t.Errorf("%s: request_id does not say that it is a UUID", m.FullName())
			}
		}
		if rows := m.Output().Fields().ByName("rows"); rows != nil { // each names its own
			if rows.Message().Fields().ByName("entry") == nil {
				t.Errorf("%s: the rows of the answer have no entries", m.FullName())
			}
			continue
		}
		if f := m.Output().Fields().ByName("entry"); f == nil || f.Message().Name() != "Entry" {
			t.Errorf("%s: the answer has no entry", m.FullName())
		}
	}
	if writes < 40 {
		t.Errorf("only %d methods write", writes)
	}
}

// AIP-203: every field says how it behaves; what a response holds is the server's.
func TestEveryFieldSaysHowItBehaves(t *testing.T) {
	for _, m := range messages() {
		for _, f := range fieldsOf(m) {
			if len(behaviors(f)) == 0 {
				t.Errorf("%s has no field_behavior", f.FullName())
			}
			if strings.HasSuffix(string(m.Name()), "Response") && fmt.Sprint(behaviors(f)) != "[OUTPUT_ONLY]" {
				t.Errorf("%s is %v, want OUTPUT_ONLY", f.FullName(), behaviors(f))
			}
		}
	}
}

var star = regexp.MustCompile(`\{[a-z_]+\}`)

// AIP-122, AIP-123 and AIP-131: a resource has a name, an IDENTIFIER, whose
// pattern is the path of its Get; AIP-154: what can be updated has an etag.
func TestResourceNames(t *testing.T) {
	byName := map[string]method{}
	for _, m := range methods(t) {
		byName[string(m.Name())] = m
	}
	resources := 0
	for _, m := range messages() {
		r, _ := proto.GetExtension(m.Options(), annotations.E_Resource).(*annotations.ResourceDescriptor)
		if r == nil {
			continue
		}
		resources++
		f := m.Fields().ByName("name")
		if f == nil || fmt.Sprint(behaviors(f)) != "[IDENTIFIER]" || f.Number() != 1 {
			t.Errorf("%s: name is not its identifier", m.FullName())
		}
		if r.GetType() != "remelt.example.org/"+string(m.Name()) {
			t.Errorf("%s: type %s", m.FullName(), r.GetType())
		}
		get, has := byName["Get"+string(m.Name())]
		if want := "/v1/{name=" + star.ReplaceAllString(r.GetPattern()[0], "*") + "}"; has && get.path != want {
			t.Errorf("%s: read at %s, want %s", m.FullName(), get.path, want)
		}
		if up, has := byName["Update"+string(m.Name())]; has {
			if e := m.Fields().ByName("etag"); e == nil {
				t.Errorf("%s can be updated and has no etag", m.FullName())
			}
			if up.request("update_mask") == nil { // AIP-134
				t.Errorf("%s has no update_mask", up.FullName())
			}
		}
	}
	if resources < 15 {
		t.Errorf("only %d resources", resources)
	}
}

// AIP-158: lists are paged from the first day on.
func TestListsArePaged(t *testing.T) {
	for _, m := range methods(t) {
		if !strings.HasPrefix(string(m.Name()), "List") {
			continue
		}
		size, token, next := m.request("page_size"), m.request("page_token"), m.Output().Fields().ByName("next_page_token")
		if size == nil || size.Kind() != protoreflect.Int32Kind || token == nil || next == nil {
			t.Errorf("%s is not paged", m.FullName())
		}
		if first := m.Output().Fields().ByNumber(1); first == nil || !first.IsList() {
			t.Errorf("%s: field 1 of the answer is not the list", m.FullName())
		}
	}
}

// An enum that comes in is refused when it is not one of the schema's, and a list
// that comes in has a size it may not exceed.
func TestInputIsBounded(t *testing.T) {
	var visit func(t *testing.T, m protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool)
	visit = func(t *testing.T, m protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool) {
		if seen[m.FullName()] || m.ParentFile().Package() != "remelt.v1" {
			return
		}
		seen[m.FullName()] = true
		for _, f := range fieldsOf(m) {
			if b := fmt.Sprint(behaviors(f)); strings.Contains(b, "OUTPUT_ONLY") {
				continue
			}
			rules, _ := proto.GetExtension(f.Options(), validate.E_Field).(*validate.FieldRules)
			one := rules
			if f.IsList() {
				one = rules.GetRepeated().GetItems()
				if rules.GetRepeated().GetMaxItems() == 0 {
					t.Errorf("%s has no max_items", f.FullName())
				}
			}
			if f.Enum() != nil && !one.GetEnum().GetDefinedOnly() {
				t.Errorf("%s takes values that are not defined", f.FullName())
			}
			if f.Message() != nil {
				visit(t, f.Message(), seen)
			}
		}
	}
	seen := map[protoreflect.FullName]bool{}
	for _, m := range methods(t) {
		visit(t, m.Input(), seen)
	}
}

// Masses and money are integers; only figures of the sciences are floating point,
// which all of the analyses and plans are.
func TestNoFloatsButInTheSciences(t *testing.T) {
	science := map[protoreflect.FullName]bool{
		"remelt.v1.OwnAlloy": true, "remelt.v1.Figure": true, "remelt.v1.Limit": true, "remelt.v1.MixLimit": true,
		"remelt.v1.EstimateMetalRequest": true, "remelt.v1.EstimateMetalResponse": true,
	}
	for _, m := range messages() {
		file := m.ParentFile().Path()
		science[m.FullName()] = science[m.FullName()] || file == "remelt/v1/analysis.proto" || file == "remelt/v1/ordering.proto" || file == "remelt/v1/planning.proto"
		for _, f := range fieldsOf(m) {
			if f.Kind() == protoreflect.FloatKind || f.Kind() == protoreflect.DoubleKind && !science[m.FullName()] {
				t.Errorf("%s is %s", f.FullName(), f.Kind())
			}
			// AIP-142: a moment is a Timestamp and is called so.
			if isTime := f.Message() != nil && f.Message().FullName() == "google.protobuf.Timestamp"; isTime != strings.HasSuffix(string(f.Name()), "_time") {
				t.Errorf("%s: moments, and they alone, end in _time", f.FullName())
			}
		}
	}
}

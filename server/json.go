package server

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/dynamicpb"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"example.org/remelt/ledger"
)

// strictJSON is the JSON of the REST interface: names in lowerCamelCase, every
// field written even when empty, 64-bit integers as strings, and nothing read
// that is not in the schema. A refusal names the field by its path.
type strictJSON struct{ runtime.JSONPb }

func newStrictJSON() *strictJSON {
	return &strictJSON{runtime.JSONPb{MarshalOptions: protojson.MarshalOptions{EmitUnpopulated: true}}}
}

// StreamContentType names the form of a stream: one JSON object a line.
func (j *strictJSON) StreamContentType(any) string { return "application/x-ndjson" }

// Marshal writes a message; an error at the end of a stream as any other error.
func (j *strictJSON) Marshal(v any) ([]byte, error) {
	if end, ok := v.(map[string]proto.Message); ok {
		if st, ok := end["error"].(*spb.Status); ok {
			return fmt.Appendf(nil, `{"error":%s}`, statusJSON(status.FromProto(st))), nil
		}
	}
	return j.JSONPb.Marshal(v)
}

// NewDecoder reads one JSON value, to the end of the body.
func (j *strictJSON) NewDecoder(r io.Reader) runtime.Decoder {
	return runtime.DecoderFunc(func(v any) error {
		data, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		if len(bytes.TrimSpace(data)) == 0 {
			return io.EOF // no body: every field keeps its zero
		}
		if err := j.decode(data, v); err != nil {
			return sealed(err)
		}
		if bound, ok := r.(*boundBody); ok {
			if m, ok := v.(proto.Message); ok {
				if e := bound.agrees(m); e != nil {
					return sealed(e)
				}
			}
		}
		return nil
	})
}

// wholeMask is an update mask of all there is, which the library does not read in JSON.
// Within a text quotes are written otherwise.
var wholeMask = regexp.MustCompile(`("(?:updateMask|update_mask)"\s*:\s*)"\*"`)

func (j *strictJSON) decode(data []byte, v any) error {
	if m, ok := v.(proto.Message); ok && j.UnmarshalOptions.Unmarshal(data, m) == nil {
		return nil // what is wrong with others is looked for below
	}
	if plain := wholeMask.ReplaceAll(data, []byte(`$1""`)); len(plain) < len(data) {
		if m, ok := v.(proto.Message); ok {
			if mask := m.ProtoReflect().Descriptor().Fields().ByName("update_mask"); mask != nil {
				if err := j.decode(plain, v); err != nil {
					return err
				}
				m.ProtoReflect().Set(mask, protoreflect.ValueOfMessage((&fieldmaskpb.FieldMask{Paths: []string{"*"}}).ProtoReflect()))
				return nil
			}
		}
	}
	if err := json.Unmarshal(data, new(json.RawMessage)); err != nil {
		at := ""
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			at = fmt.Sprintf(" (at byte %d)", syntax.Offset)
		}
		return refuse("BAD_JSON", "body", "", "must be one JSON value: "+err.Error()+at)
	}
	err := j.Unmarshal(data, v)
	if err == nil {
		return nil
	}
	if md := messageOf(v); md != nil {
		if e := blame(md, data, ""); e != nil {
			return e
		}
	}
	// No field is wrong by itself: one is given twice, or two of a choice.
	return refuse("BAD_JSON", "body", "", "does not fit the schema: "+strings.TrimSpace(strings.TrimPrefix(plainSpaces(err.Error()), "proto:")))
}

func refuse(reason, field, value, want string) *ledger.Error {
	return &ledger.Error{Class: ledger.ErrInvalid, Reason: reason, Field: field, Value: value, Want: want}
}

// messageOf is the schema of what a body is decoded into: a message, or a
// pointer to a field that holds one.
func messageOf(v any) protoreflect.MessageDescriptor {
	for t := reflect.TypeOf(v); t.Kind() == reflect.Pointer; t = t.Elem() {
		if m, ok := reflect.Zero(t).Interface().(proto.Message); ok {
			return m.ProtoReflect().Descriptor()
		}
	}
	return nil
}

// blame finds the field of an object that cannot be read, by trying each alone,
// and in it the innermost. It returns nil when each can be read alone.
func blame(md protoreflect.MessageDescriptor, data []byte, path string) *ledger.Error {
	var object map[string]json.RawMessage
	if json.Unmarshal(data, &object) != nil {
		return refuse("BAD_JSON_VALUE", orBody(path), string(data), "must be a JSON object")
	}
	for _, name := range slices.Sorted(maps.Keys(object)) {
		raw := object[name]
		at := strings.TrimPrefix(path+"."+name, ".")
		fd := md.Fields().ByJSONName(name)
		if fd == nil {
			fd = md.Fields().ByTextName(name)
		}
		if fd == nil {
			return refuse("UNKNOWN_FIELD", utf8Only(at), "", "is not a field of "+string(md.Name())+nearest(md, name))
		}
		if alone, err := json.Marshal(map[string]json.RawMessage{fd.JSONName(): raw}); err == nil &&
			utf8.Valid(raw) && protojson.Unmarshal(alone, dynamicpb.NewMessage(md)) == nil {
			continue
		}
		if e := blameValue(fd, raw, strings.TrimPrefix(path+"."+string(fd.Name()), ".")); e != nil { // named as errors name it everywhere
			return e
		}
	}
	return nil
}

func blameValue(fd protoreflect.FieldDescriptor, raw []byte, at string) *ledger.Error {
	inner := fd.Message() != nil && !fd.IsMap() && fd.Message().ParentFile().Package() != "google.protobuf"
	var items []json.RawMessage
	switch {
	case fd.IsList() && json.Unmarshal(raw, &items) == nil:
		for i, item := range items {
			at := fmt.Sprintf("%s[%d]", at, i)
			if inner {
				if e := blame(fd.Message(), item, at); e != nil {
					return e
				}
				continue
			}
			one, err := json.Marshal(map[string][]json.RawMessage{fd.JSONName(): {item}})
			if err != nil || !utf8.Valid(item) || protojson.Unmarshal(one, dynamicpb.NewMessage(fd.ContainingMessage())) != nil {
				return badValue(fd, item, at)
			}
		}
	case fd.IsList():
		return refuse("BAD_JSON_VALUE", at, string(raw), "must be a JSON array")
	case inner:
		if e := blame(fd.Message(), raw, at); e != nil {
			return e
		}
	}
	return badValue(fd, raw, at)
}

func badValue(fd protoreflect.FieldDescriptor, raw []byte, at string) *ledger.Error {
	value := string(raw)
	var text string
	if json.Unmarshal(raw, &text) == nil {
		value = text
	}
	if !utf8.Valid(raw) {
		return refuse("NOT_UTF8", at, value, "must be UTF-8 text")
	}
	return refuse("BAD_JSON_VALUE", at, value, "must be "+kindOf(fd))
}

// kindOf says what JSON a field takes.
func kindOf(fd protoreflect.FieldDescriptor) string {
	switch {
	case fd.IsMap():
		return "a JSON object"
	case fd.Enum() != nil:
		var names []string
		for i := range fd.Enum().Values().Len() {
			if v := fd.Enum().Values().Get(i); v.Number() != 0 {
				names = append(names, string(v.Name()))
			}
		}
		return "one of " + strings.Join(names, ", ")
	case fd.Message() != nil:
		switch fd.Message().Name() {
		case "Timestamp":
			return "a time such as 2026-03-02T08:00:00Z"
		case "Duration":
			return "a duration in seconds such as 15s"
		case "FieldMask":
			return `field names in lowerCamelCase with commas between, or "*"`
		}
		return "a " + string(fd.Message().Name())
	case fd.Kind() == protoreflect.BoolKind:
		return "true or false"
	case fd.Kind() == protoreflect.StringKind:
		return "a JSON string"
	case fd.Kind() == protoreflect.BytesKind:
		return "base64 text"
	}
	return "a number (" + fd.Kind().String() + ")"
}

// nearest offers the field that a misspelt name probably means, if one is near.
func nearest(md protoreflect.MessageDescriptor, name string) string {
	plain := func(s string) string { return strings.ToLower(strings.ReplaceAll(s, "_", "")) }
	best, least := "", 1+min(2, len(name)/3)
	if len(name) > 64 { // no field is that long, and comparing takes time
		return ""
	}
	for i := range md.Fields().Len() {
		f := md.Fields().Get(i).JSONName()
		if n := edits(plain(f), plain(name)); n < least {
			best, least = f, n
		}
	}
	if best == "" {
		return ""
	}
	return "; did you mean " + best + "?"
}

// edits counts the letters to insert, delete or replace to make b from a.
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before := row[0] // of the row above, one to the left
		row[0] = i + 1
		for j := range len(b) {
			cost := before
			if a[i] != b[j] {
				cost++
			}
			before, row[j+1] = row[j+1], min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

func orBody(path string) string {
	if path == "" {
		return "body"
	}
	return path
}

// plainSpaces undoes the no-break spaces by which the library says that its
// texts are not to be relied on; this one is only shown.
func plainSpaces(s string) string { return strings.ReplaceAll(s, "\u00a0", " ") }

package server

import (
	"maps"
	"net/url"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.org/remelt/ledger"
)

// strictQuery reads query parameters as the library does, but refuses a name
// that is no field instead of passing over it: a filter that was mistyped must
// not answer with everything.
type strictQuery struct{ runtime.DefaultQueryParser }

// Parse implements runtime.QueryParameterParser.
func (q *strictQuery) Parse(m proto.Message, values url.Values, filter *utilities.DoubleArray) error {
	for _, key := range slices.Sorted(maps.Keys(values)) { // so that of two that are wrong the same is named each time
		vs := values[key]
		fd, e := parameter(m.ProtoReflect().Descriptor(), key)
		if e != nil {
			return sealed(e)
		}
		for _, v := range vs {
			if !utf8.ValidString(v) {
				return sealed(refuse("NOT_UTF8", key, v, "must be UTF-8 text"))
			}
		}
		one := m.ProtoReflect().New().Interface()
		if err := q.DefaultQueryParser.Parse(one, url.Values{key: vs}, utilities.NewDoubleArray(nil)); err != nil {
			return sealed(refuse("BAD_PARAMETER", key, strings.Join(vs, ","), "must be "+kindOf(fd)))
		}
	}
	if err := q.DefaultQueryParser.Parse(m, values, filter); err != nil {
		return sealed(refuse("BAD_PARAMETER", "query", "", plainSpaces(err.Error())))
	}
	return nil
}

// parameter finds the field that a query parameter names, through its parents.
func parameter(md protoreflect.MessageDescriptor, key string) (fd protoreflect.FieldDescriptor, _ *ledger.Error) {
	name, _, _ := strings.Cut(key, "[") // of a map
	for _, part := range strings.Split(name, ".") {
		hint := ""
		if fd = nil; md != nil {
			if fd = md.Fields().ByJSONName(part); fd == nil {
				fd = md.Fields().ByTextName(part)
			}
			hint = nearest(md, part)
		}
		if fd == nil {
			return nil, refuse("UNKNOWN_PARAMETER", utf8Only(key), "", "is not a parameter of this request"+hint)
		}
		md = fd.Message()
	}
	return fd, nil
}

package server

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"github.com/grpc-ecosystem/grpc-gateway/v2/utilities"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

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
		fd, name, e := parameter(m.ProtoReflect().Descriptor(), key)
		if e != nil {
			return sealed(e)
		}
		for _, v := range vs {
			if !utf8.ValidString(v) {
				return sealed(refuse("NOT_UTF8", name, v, "must be UTF-8 text"))
			}
		}
		one := m.ProtoReflect().New().Interface()
		if err := q.DefaultQueryParser.Parse(one, url.Values{key: vs}, utilities.NewDoubleArray(nil)); err != nil {
			return sealed(refuse("BAD_PARAMETER", name, strings.Join(vs, ","), "must be "+kindOf(fd)))
		}
	}
	if err := q.DefaultQueryParser.Parse(m, values, filter); err != nil {
		return sealed(refuse("BAD_PARAMETER", "query", "", plainSpaces(err.Error())))
	}
	return nil
}

// known refuses parameters of a call that reads and has none of the name; the library asks
// strictQuery only where a method has some.
func known(r *http.Request) *ledger.Error {
	if r.URL.RawQuery == "" {
		return nil
	}
	pattern, _ := runtime.HTTPPattern(r.Context())
	md := reading()[pattern.String()]
	if md == nil {
		return nil
	}
	for _, key := range slices.Sorted(maps.Keys(r.URL.Query())) {
		if _, _, e := parameter(md, key); e != nil {
			return e
		}
	}
	return nil
}

// reading is what each path that is read is asked with, by its pattern.
var reading = sync.OnceValue(func() map[string]protoreflect.MessageDescriptor {
	out := map[string]protoreflect.MessageDescriptor{}
	protoregistry.GlobalFiles.RangeFilesByPackage("remelt.v1", func(f protoreflect.FileDescriptor) bool {
		for s := range f.Services().Len() {
			methods := f.Services().Get(s).Methods()
			for i := range methods.Len() {
				rule, _ := proto.GetExtension(methods.Get(i).Options(), annotations.E_Http).(*annotations.HttpRule)
				for _, r := range append([]*annotations.HttpRule{rule}, rule.GetAdditionalBindings()...) {
					if r.GetGet() != "" {
						out[r.GetGet()] = methods.Get(i).Input()
					}
				}
			}
		}
		return true
	})
	return out
})

// parameter finds the field that a query parameter names, through its parents, and gives
// the name it has in the schema, which is what errors say everywhere.
func parameter(md protoreflect.MessageDescriptor, key string) (fd protoreflect.FieldDescriptor, name string, _ *ledger.Error) {
	path, inMap, of := strings.Cut(key, "[") // of a map
	var names []string
	for _, part := range strings.Split(path, ".") {
		hint := ""
		if fd = nil; md != nil {
			if fd = md.Fields().ByJSONName(part); fd == nil {
				fd = md.Fields().ByTextName(part)
			}
			hint = nearest(md, part)
		}
		if fd == nil {
			return nil, "", refuse("UNKNOWN_PARAMETER", utf8Only(key), "", "is not a parameter of this request"+hint)
		}
		names = append(names, string(fd.Name()))
		md = fd.Message()
	}
	if name = strings.Join(names, "."); of {
		name += "[" + utf8Only(inMap)
	}
	return fd, name, nil
}

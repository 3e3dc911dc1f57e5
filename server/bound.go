package server

import (
	"io"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/grpc-ecosystem/grpc-gateway/v2/runtime"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.org/remelt/ledger"
)

// saidOnce stands before every method of the REST interface: what is said in a place
// where the library would not look is refused. What reads says it in the path and the
// parameters, all else in the path and the body, and the two may not contradict.
func saidOnce(next runtime.HandlerFunc) runtime.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request, inPath map[string]string) {
		var e *ledger.Error
		if r.Method == http.MethodGet {
			if e = sameAsPath(r.URL.Query(), inPath); e == nil {
				e = known(r)
			}
		} else {
			e = noParameters(r)
			r.Body = &boundBody{r.Body, inPath}
		}
		if e != nil {
			st, _ := statusOf(e)
			writeStatus(w, st, 0)
			return
		}
		next(w, r, inPath)
	}
}

// noParameters refuses parameters beside a body, which would be passed over: a
// rehearsal that is asked for there would be recorded.
func noParameters(r *http.Request) *ledger.Error {
	if r.URL.RawQuery == "" {
		return nil
	}
	name := "query"
	if keys := slices.Sorted(maps.Keys(r.URL.Query())); len(keys) > 0 {
		name = utf8Only(keys[0])
	}
	return refuse("UNKNOWN_PARAMETER", name, r.URL.Query().Get(name), "is no parameter of a "+r.Method+", which has none; say it in the body")
}

func sameAsPath(query url.Values, inPath map[string]string) *ledger.Error {
	for field, in := range inPath {
		for _, said := range query[field] {
			if said != in {
				return contradicts(field, said, in)
			}
		}
	}
	return nil
}

// boundBody is a body with what the path says of the message in it.
type boundBody struct {
	io.ReadCloser
	inPath map[string]string
}

// agrees refuses a message that says another thing than its path, by which the
// library would replace it.
func (b *boundBody) agrees(m proto.Message) *ledger.Error {
	for field, in := range b.inPath {
		if said := textAt(m.ProtoReflect(), field); said != "" && said != in {
			return contradicts(field, said, in)
		}
	}
	return nil
}

func contradicts(field, said, in string) *ledger.Error {
	return refuse("CONTRADICTION", field, said, "must be that of the path, "+in+", or not said")
}

// textAt is the text in a field of a message, or of a message in it: place.name.
func textAt(m protoreflect.Message, path string) string {
	head, rest, deeper := strings.Cut(path, ".")
	switch f := m.Descriptor().Fields().ByName(protoreflect.Name(head)); {
	case f == nil || !m.Has(f):
		return ""
	case deeper:
		return textAt(m.Get(f).Message(), rest)
	default:
		return m.Get(f).String()
	}
}

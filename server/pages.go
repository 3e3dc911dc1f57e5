package server

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"example.org/remelt/ledger"
)

// usualPage is how much a list gives when nothing was said.
const usualPage = 100

// page is where in a list a call is. A page token is the last key of the page
// before, bound to the question by a digest of the request's other fields, so
// that it is not taken for a place in another list.
type page struct {
	limit int
	after string // the key after which it begins; "" at the start
	bound [8]byte
}

type listRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// page reads a list request's size and token.
func (d *desk) page(r listRequest) (p page) {
	switch n := r.GetPageSize(); {
	case n < 0:
		d.invalid("NEGATIVE", "page_size", fmt.Sprint(n), "must not be negative")
	case n == 0:
		p.limit = usualPage
	default:
		p.limit = min(int(n), ledger.MaxPage)
	}
	question := proto.Clone(r).ProtoReflect()
	for _, f := range []protoreflect.Name{"page_size", "page_token"} {
		question.Clear(question.Descriptor().Fields().ByName(f))
	}
	raw, err := proto.MarshalOptions{Deterministic: true}.Marshal(question.Interface())
	d.fail(err)
	sum := sha256.Sum256(append([]byte(question.Descriptor().FullName()+"\x00"), raw...))
	copy(p.bound[:], sum[:])
	if token := r.GetPageToken(); token != "" {
		raw, err := base64.RawURLEncoding.DecodeString(token)
		if err != nil || len(raw) <= len(p.bound) || string(raw[:len(p.bound)]) != string(p.bound[:]) {
			d.invalid("BAD_PAGE_TOKEN", "page_token", token, "must be the next_page_token of the same list with the same fields")
			return p
		}
		p.after = string(raw[len(p.bound):])
	}
	return p
}

// afterNumber is after for a list by number.
func (d *desk) afterNumber(p page) int64 {
	if p.after == "" {
		return 0
	}
	n, err := strconv.ParseInt(p.after, 10, 64)
	if err != nil {
		d.invalid("BAD_PAGE_TOKEN", "page_token", p.after, "must be the next_page_token of the same list")
	}
	return n
}

// next is the token of the page after one whose last key is given; "" when the
// page was not full.
func (p page) next(n int, last string) string {
	if n < p.limit {
		return ""
	}
	return p.token(last)
}

// token stands for the page after a key; "" for none.
func (p page) token(after string) string {
	if after == "" {
		return ""
	}
	return base64.RawURLEncoding.EncodeToString(append(p.bound[:], after...))
}

// list reads a page of the things of a kind that a filter keeps; nil keeps all.
func list[T any](d *desk, r listRequest, kind ledger.RecordKind, parent string, keep func(T) bool) ([]ledger.Stamped[T], string) {
	p := d.page(r)
	if d.err != nil {
		return nil, ""
	}
	out, next, err := ledger.Page(d.ctx, d.Book, kind, parent, p.after, p.limit, keep)
	d.fail(err)
	return out, p.token(next)
}

// showAll shows each of a list.
func showAll[T, P any](all []T, show func(T) P) []P {
	var out []P
	for _, v := range all {
		out = append(out, show(v))
	}
	return out
}

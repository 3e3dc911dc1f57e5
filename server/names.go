package server

import (
	"strings"

	"example.org/remelt/ledger"
)

// parseName reads a resource name by a pattern such as "shops/*/lots/*" and
// returns what stands for the stars.
func parseName(field, name, pattern string) ([]string, error) {
	parts, want := strings.Split(name, "/"), strings.Split(pattern, "/")
	var ids []string
	ok := len(parts) == len(want)
	for i := 0; ok && i < len(want); i++ {
		if want[i] != "*" {
			ok = parts[i] == want[i]
		} else if ok = parts[i] != ""; ok {
			ids = append(ids, parts[i])
		}
	}
	if !ok {
		return nil, &ledger.Error{Class: ledger.ErrInvalid, Reason: "BAD_NAME", Field: field, Value: name, Want: "must be " + shape(pattern)}
	}
	return ids, nil
}

// shape writes a pattern for people: shops/{shop}/lots/{lot}.
func shape(pattern string) string {
	parts := strings.Split(pattern, "/")
	for i := range parts {
		if parts[i] == "*" {
			parts[i] = "{" + singular(parts[i-1]) + "}"
		}
	}
	return strings.Join(parts, "/")
}

func singular(collection string) string {
	if stem, ok := strings.CutSuffix(collection, "ies"); ok {
		return stem + "y"
	}
	return strings.TrimSuffix(collection, "s")
}

// name is the resource name of a thing of this shop; "" of nothing.
func (d *desk) name(collection, id string) string {
	if id == "" || d.Shop == nil {
		return ""
	}
	return "shops/" + d.Book.Shop + "/" + collection + "/" + id
}

// nameIn is the resource name of a thing of one of this shop's heats.
func (d *desk) nameIn(heat, collection, id string) string {
	if id == "" {
		return ""
	}
	return d.name("heats", heat) + "/" + collection + "/" + id
}

// ref reads a reference to another thing of this shop: its resource name, or its
// id alone.
func (d *desk) ref(field, value, collection string) string {
	if !strings.HasPrefix(value, "shops/") { // nearly always, and then no pattern is needed
		return value
	}
	return d.refTo(field, value, "shops/*/"+collection+"/*")
}

func (d *desk) refTo(field, value, pattern string) string {
	if d.err != nil || !strings.HasPrefix(value, "shops/") {
		return value
	}
	ids, err := parseName(field, value, pattern)
	if err != nil {
		d.fail(err)
		return ""
	}
	if ids[0] != d.Book.Shop {
		d.invalid("OTHER_SHOP", field, value, "must be of shop "+d.Book.Shop+"; each shop's book is its own")
		return ""
	}
	return ids[len(ids)-1]
}

// refs reads several references.
func (d *desk) refs(field string, values []string, collection string) []string {
	var out []string
	for i, v := range values {
		out = append(out, d.ref(indexed(field, i), v, collection))
	}
	return out
}

package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	pb "example.org/remelt/api/remelt/v1"
)

// accountWords says in the shop's words what an account of the book is: "molds/46"
// is what is in molds of heat 46.
func accountWords(account string) string {
	kind, ref, _ := strings.Cut(account, "/")
	switch kind {
	case "heat":
		return "the crucible, heat " + ref
	case "molds":
		return "molds of heat " + ref
	case "heel":
		return "the heel in " + ref
	case "oxide", "vapour", "spill", "kerf":
		return kind + " of heat " + ref
	case "unaccounted":
		return "unaccounted for, heat " + ref
	case "before":
		return "before the book began"
	case "origin":
		return "a heat not known"
	case "count":
		return "count differences of " + ref
	case "left":
		return "gone: " + ref
	case "additive":
		return "metal of an addition (" + ref + ")"
	case "supplied":
		return "supplied (" + ref + ")"
	case "supply":
		return ref + " on the shelf"
	case "spent":
		return ref + " used up"
	}
	return kind + " " + ref // lot, casting, supplier, customer
}

// movedOf says what an entry put into or took out of one account, and whence or
// whither; what else the entry moved is of other things.
func movedOf(e *pb.Entry, account string) string {
	var change int64
	text, others := "", []string(nil)
	for _, m := range e.GetPostings() {
		if m.GetAccount() == account {
			change, text = m.GetMass().GetMg(), m.GetMass().GetText()
		}
	}
	if change == 0 {
		return movedBy(&pb.Entry{Changes: e.GetChanges()})
	}
	for _, m := range e.GetPostings() {
		if m.GetAccount() != account && (m.GetMass().GetMg() < 0) == (change > 0) {
			others = append(others, accountWords(m.GetAccount()))
		}
	}
	direction := "from"
	if change < 0 {
		direction = "to"
	}
	if len(others) > 2 {
		others = append(others[:1], fmt.Sprintf("%d others", len(others)-1))
	}
	return strings.TrimSpace(text + " " + direction + " " + strings.Join(others, " and "))
}

// contentWords writes a record's fields for reading: without quotes and brackets, in
// the order of their names, leaving out what is empty.
func contentWords(content string) string {
	var fields map[string]any
	if json.Unmarshal([]byte(content), &fields) != nil {
		return content
	}
	var out []string
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		if name == "id" {
			continue
		}
		value := fmt.Sprint(fields[name])
		switch v := fields[name].(type) {
		case float64:
			value = fmt.Sprintf("%.0f", v)
		case []any, map[string]any:
			raw, err := json.Marshal(v)
			if err != nil {
				continue
			}
			value = strings.NewReplacer(`"`, "", "{", "", "}", "", "[", "", "]", "", ",", ", ", ":", " ").Replace(string(raw))
		}
		if value != "" {
			out = append(out, strings.ReplaceAll(name, "_", " ")+" "+value)
		}
	}
	return strings.Join(out, "; ")
}

package main

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// collection matches a path segment that can be a collection of resources;
// a version such as "v1" is none.
var collection = regexp.MustCompile(`^[A-Za-z]+$`)

// namePaths renames the path parameters of a Paths Object and joins the paths
// that become equal. Two operations of one method on one path are an error.
func namePaths(paths map[string]any) (map[string]any, error) {
	named := map[string]any{}
	for _, path := range slices.Sorted(maps.Keys(paths)) {
		template, renamed := namePath(path)
		item := object(named[template])
		if item == nil {
			item = map[string]any{}
			named[template] = item
		}
		for method, operation := range object(paths[path]) {
			if item[method] != nil {
				return nil, fmt.Errorf("%s has two operations %q; %s is one of them", template, method, path)
			}
			renameParameters(object(operation), renamed)
			item[method] = operation
		}
	}
	return named, nil
}

// A parameter is the new name of a path parameter and the collection it picks from.
type parameter struct{ name, collection string }

// namePath returns the path with each parameter that follows a collection named
// after it, and the new parameters keyed by their old names.
func namePath(path string) (string, map[string]parameter) {
	renamed := map[string]parameter{}
	taken := map[string]bool{}
	segments := strings.Split(path, "/")
	for i, segment := range segments {
		name, verb, ok := strings.Cut(strings.TrimPrefix(segment, "{"), "}")
		if !ok || !strings.HasPrefix(segment, "{") || i == 0 || !collection.MatchString(segments[i-1]) {
			continue
		}
		p := parameter{name: singular(segments[i-1]), collection: segments[i-1]}
		for n := 2; taken[p.name]; n++ {
			p.name = fmt.Sprintf("%s%d", singular(p.collection), n)
		}
		taken[p.name] = true
		renamed[name] = p
		segments[i] = "{" + p.name + "}" + verb
	}
	return strings.Join(segments, "/"), renamed
}

func renameParameters(operation map[string]any, renamed map[string]parameter) {
	parameters, _ := operation["parameters"].([]any)
	for _, each := range parameters {
		p := object(each)
		name, _ := p["name"].(string)
		to, ok := renamed[name]
		if p["in"] != "path" || !ok {
			continue
		}
		p["name"] = to.name
		// The field's own comment speaks of the whole resource name.
		p["description"] = fmt.Sprintf("The id that follows %s/ in the resource name.", to.collection)
	}
}

// singular returns the English singular of a collection's name, well enough for
// the name of a parameter.
func singular(plural string) string {
	for _, ending := range []struct{ plural, singular string }{
		{"lyses", "lysis"},
		{"ies", "y"},
		{"sses", "ss"},
		{"shes", "sh"},
		{"ches", "ch"},
		{"xes", "x"},
		{"ss", "ss"},
		{"s", ""},
	} {
		if stem, ok := strings.CutSuffix(plural, ending.plural); ok {
			return stem + ending.singular
		}
	}
	return plural
}

func object(value any) map[string]any {
	m, _ := value.(map[string]any)
	return m
}

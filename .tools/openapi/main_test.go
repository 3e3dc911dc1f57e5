package main

import (
	"encoding/json"
	"maps"
	"slices"
	"strings"
	"testing"
)

// What the generators write for reading and for changing a lot.
const readAndChange = `{
  "openapi": "3.1.0",
  "info": {"title": "t", "version": "v1"},
  "paths": {
    "/v1/shops/{name}/lots/{name_1}": {"get": {
      "operationId": "Get",
      "parameters": [
        {"name": "name", "in": "path", "required": true, "schema": {"type": "string"}},
        {"name": "name_1", "in": "path", "required": true, "schema": {"type": "string"}},
        {"name": "name", "in": "query", "schema": {"type": "string"}}
      ],
      "responses": {"200": {"description": "ok"}}
    }},
    "/v1/shops/{lot.name}/lots/{lot.name_1}": {"patch": {
      "operationId": "Update",
      "parameters": [
        {"name": "lot.name", "in": "path", "required": true, "schema": {"type": "string"}},
        {"name": "lot.name_1", "in": "path", "required": true, "schema": {"type": "string"}}
      ],
      "responses": {"200": {"description": "ok"}}
    }}
  }
}`

// The judge is kin-openapi, which implements the rule of OpenAPI 3.1.0, Paths
// Object: "Templated paths with the same hierarchy but different templated
// names MUST NOT exist as they are identical."
func TestFinishMakesIdenticalPathsOne(t *testing.T) {
	if validate([]byte(readAndChange)) == nil {
		t.Fatal("the judge accepts two identical paths, so this test proves nothing")
	}
	out, err := finish([]byte(readAndChange))
	if err != nil {
		t.Fatal(err)
	}
	var document struct {
		Paths map[string]map[string]struct {
			Parameters []struct{ Name, In string }
		}
	}
	if err := json.Unmarshal(out, &document); err != nil {
		t.Fatal(err)
	}
	item := document.Paths["/v1/shops/{shop}/lots/{lot}"]
	if got := slices.Sorted(maps.Keys(item)); len(document.Paths) != 1 || !slices.Equal(got, []string{"get", "patch"}) {
		t.Fatalf("got paths %v, want one path with get and patch", document.Paths)
	}
	if got := item["get"].Parameters[2]; got.Name != "name" {
		t.Errorf("query parameter became %q, want it left alone", got.Name)
	}
}

// draft-pbryan-zyp-json-ref-03, section 3: "Any members other than "$ref" in a
// JSON Reference object SHALL be ignored." OpenAPI 3.1.0, Schema Object, lets
// other keywords stand beside it.
func TestFinishLeavesReferencesBareInTwoOnly(t *testing.T) {
	for version, test := range map[string]struct {
		document string
		kept     bool
	}{
		"2.0": {`{"swagger": "2.0", "info": {"title": "t", "version": "v1"},
			"paths": {"/a": {"get": {"responses": {"200": {"description": "ok",
				"schema": {"$ref": "#/definitions/A", "readOnly": true}}}}}},
			"definitions": {"A": {"type": "object"}}}`, false},
		"3.1": {`{"openapi": "3.1.0", "info": {"title": "t", "version": "v1"},
			"paths": {"/a": {"get": {"responses": {"200": {"description": "ok", "content": {"application/json": {
				"schema": {"$ref": "#/components/schemas/A", "readOnly": true}}}}}}}},
			"components": {"schemas": {"A": {"type": "object"}}}}`, true},
	} {
		out, err := finish([]byte(test.document))
		if err != nil {
			t.Fatalf("%s: %v", version, err)
		}
		if kept := strings.Contains(string(out), "readOnly"); kept != test.kept {
			t.Errorf("%s: readOnly kept: %t, want %t", version, kept, test.kept)
		}
		if !strings.Contains(string(out), `"$ref"`) {
			t.Errorf("%s: the reference is gone", version)
		}
	}
}

// JSON Schema 2020-12, Validation, section 6.1.1, and Core, section 10.2.1.2: a type may be
// one of several, and anyOf takes what one of its schemas takes.
func TestFinishSaysWhatIsAnswered(t *testing.T) {
	const document = `{"openapi": "3.1.0", "info": {"title": "t", "version": "v1"}, "paths": {"/a:watch": {"get": {"responses": {"200": {"description": "ok",
		"content": {"application/json": {"schema": {"title": "Stream result of A", "type": "object"}}}}}}}}, "components": {"schemas": {
		"E": {"type": "string", "enum": ["X"]}, "B": {"type": "object"}, "A": {"type": "object", "required": ["there", "sent"], "properties": {
		"bare": {"$ref": "#/components/schemas/B"}, "all": {"allOf": [{"$ref": "#/components/schemas/B"}], "readOnly": true},
		"there": {"$ref": "#/components/schemas/B"}, "sent": {"allOf": [{"$ref": "#/components/schemas/B"}], "writeOnly": true},
		"word": {"$ref": "#/components/schemas/E"}, "time": {"type": "string", "format": "date-time"}, "text": {"type": "string"}}}}}}`
	out, err := finish([]byte(document))
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Paths map[string]struct {
			Get struct {
				Responses map[string]struct{ Content map[string]any }
			}
		}
		Components struct {
			Schemas map[string]struct{ Properties map[string]json.RawMessage }
		}
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if content := got.Paths["/a:watch"].Get.Responses["200"].Content; len(content) != 1 || content["application/x-ndjson"] == nil {
		t.Errorf("a stream answers %v", content)
	}
	for name, want := range map[string]bool{"bare": true, "all": true, "there": false, "sent": true, "word": false, "time": true, "text": false} {
		if null := strings.Contains(string(got.Components.Schemas["A"].Properties[name]), `"null"`); null != want {
			t.Errorf("%s: %s", name, got.Components.Schemas["A"].Properties[name])
		}
	}
}

func TestFinishRefuses(t *testing.T) {
	for name, document := range map[string]string{
		"two operations of one method": `{"openapi": "3.1.0", "info": {"title": "t", "version": "v1"}, "paths": {
			"/lots/{a}": {"get": {"responses": {"200": {"description": "ok"}}}},
			"/lots/{b}": {"get": {"responses": {"200": {"description": "ok"}}}}}}`,
		"no version, in 3.1":        `{"openapi": "3.1.0", "info": {"title": "t"}, "paths": {}}`,
		"unknown place, in 2.0":     `{"swagger": "2.0", "info": {"title": "t", "version": "v1"}, "paths": {"/a": {"get": {"parameters": [{"name": "q", "in": "nowhere", "type": "string"}], "responses": {"200": {"description": "ok"}}}}}}`,
		"reference to nothing, 3.1": `{"openapi": "3.1.0", "info": {"title": "t", "version": "v1"}, "paths": {"/a": {"get": {"responses": {"200": {"$ref": "#/components/responses/none"}}}}}}`,
		"not JSON":                  `openapi: 3.1.0`,
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := finish([]byte(document)); err == nil {
				t.Error("accepted")
			}
		})
	}
}

func TestNamePath(t *testing.T) {
	for path, want := range map[string]string{
		"/v1/shops/{name}/lots/{name_1}:split": "/v1/shops/{shop}/lots/{lot}:split",
		"/v1/shops/{parent}/entries:watch":     "/v1/shops/{shop}/entries:watch",
		"/v1/shops/{a}/entries/{b}":            "/v1/shops/{shop}/entries/{entry}",
		"/v1/shops/{a}/shops/{b}":              "/v1/shops/{shop}/shops/{shop2}",
		"/v1/{name}":                           "/v1/{name}",
		"/healthz":                             "/healthz",
	} {
		if got, _ := namePath(path); got != want {
			t.Errorf("%s: got %s, want %s", path, got, want)
		}
	}
}

func TestSingular(t *testing.T) {
	for plural, want := range map[string]string{
		"lots": "lot", "alloys": "alloy", "entries": "entry", "losses": "loss", "batches": "batch",
		"fluxes": "flux", "analyses": "analysis", "crucibles": "crucible", "stock": "stock", "gross": "gross",
	} {
		if got := singular(plural); got != want {
			t.Errorf("%s: got %s, want %s", plural, got, want)
		}
	}
}

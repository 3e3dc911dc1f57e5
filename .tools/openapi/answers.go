package main

import "strings"

// streamOf begins the title that the generators give the schema of a stream's messages.
const streamOf = "Stream result of "

// allowNull lets null stand for what an answer does not have: a message or a time that
// is not set, which the JSON mapping of protocol buffers writes so when it writes every
// field. The generators know only what may be sent. What is required is there, unless it
// is only sent.
func allowNull(schemas map[string]any) {
	for _, schema := range schemas {
		required := map[any]bool{}
		names, _ := object(schema)["required"].([]any)
		for _, name := range names {
			required[name] = true
		}
		for name, property := range object(object(schema)["properties"]) {
			if property := object(property); !required[name] || property["writeOnly"] == true {
				orNull(property, schemas)
			}
		}
	}
}

func orNull(property, schemas map[string]any) {
	reference := property["$ref"]
	if all, _ := property["allOf"].([]any); len(all) == 1 {
		reference = object(all[0])["$ref"]
	}
	name, _ := reference.(string)
	target := object(schemas[strings.TrimPrefix(name, "#/components/schemas/")])
	switch {
	case target["type"] == "object":
		delete(property, "$ref")
		delete(property, "allOf")
		property["anyOf"] = []any{map[string]any{"$ref": name}, map[string]any{"type": "null"}}
	case property["format"] == "date-time":
		property["type"] = []any{"string", "null"}
	}
}

// nameStreams says that a stream answers one JSON value a line; the generators say that
// all of it is one.
func nameStreams(paths map[string]any) {
	for _, item := range paths {
		for _, operation := range object(item) {
			answer := object(object(object(operation)["responses"])["200"])
			if title, _ := object(answer["schema"])["title"].(string); strings.HasPrefix(title, streamOf) { // in 2.0
				object(operation)["produces"] = []any{"application/x-ndjson", "application/json"} // and its errors
			}
			content := object(answer["content"])
			one := content["application/json"]
			if title, _ := object(object(one)["schema"])["title"].(string); strings.HasPrefix(title, streamOf) {
				delete(content, "application/json")
				content["application/x-ndjson"] = one
			}
		}
	}
}

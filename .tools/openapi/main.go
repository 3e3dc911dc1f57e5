// Command openapi finishes a generated OpenAPI document, 2.0 or 3.1: it names
// the path parameters after the collections they stand in, leaves references
// bare in 2.0, lets answers hold null in 3.1, says what a stream is, and refuses to write a document that a second implementation of
// the standard rejects.
//
// The generators name a path parameter after the request field that it fills,
// so reading a lot is /shops/{name}/lots/{name_1} and changing it is
// /shops/{lot.name}/lots/{lot.name_1}. OpenAPI calls two such paths identical
// and forbids them (OpenAPI 3.1.0, Paths Object). Here both become
// /shops/{shop}/lots/{lot}, one path with two methods.
//
// For 2.0 they also write readOnly beside a $ref. OpenAPI 2.0 takes its Reference
// Object from draft-pbryan-zyp-json-ref-03, where (section 3) every member other
// than $ref is ignored, so strict readers reject one. OpenAPI 3.1 allows them.
//
// Usage:
//
//	openapi IN OUT
package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"

	"github.com/getkin/kin-openapi/openapi2"
	"github.com/getkin/kin-openapi/openapi2conv"
	"github.com/getkin/kin-openapi/openapi3"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "openapi:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) != 2 {
		return errors.New("want two arguments, the document to read and the one to write")
	}
	in, err := os.ReadFile(args[0])
	if err != nil {
		return err
	}
	out, err := finish(in)
	if err != nil {
		return fmt.Errorf("%s: %w", args[0], err)
	}
	return os.WriteFile(args[1], out, 0o644)
}

// finish returns the document put right and judged valid, keys sorted.
func finish(in []byte) ([]byte, error) {
	var document map[string]any
	decoder := json.NewDecoder(bytes.NewReader(in))
	decoder.UseNumber()
	if err := decoder.Decode(&document); err != nil {
		return nil, err
	}
	paths, err := namePaths(object(document["paths"]))
	if err != nil {
		return nil, err
	}
	document["paths"] = paths
	nameStreams(paths)
	if document["swagger"] != nil {
		bareReferences(document) // and 2.0 has no null
	} else {
		allowNull(object(object(document["components"])["schemas"]))
	}

	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(document); err != nil {
		return nil, err
	}
	return out.Bytes(), validate(out.Bytes())
}

// bareReferences takes every member beside a $ref out of value.
func bareReferences(value any) {
	switch value := value.(type) {
	case map[string]any:
		reference, ok := value["$ref"].(string)
		if ok {
			clear(value)
			value["$ref"] = reference
			return
		}
		for _, member := range value {
			bareReferences(member)
		}
	case []any:
		for _, element := range value {
			bareReferences(element)
		}
	}
}

// validate reports where the document departs from its version of OpenAPI.
func validate(document []byte) error {
	var old openapi2.T
	if err := json.Unmarshal(document, &old); err != nil {
		return err
	}
	loader := openapi3.NewLoader()
	if old.Swagger == "" {
		parsed, err := loader.LoadFromData(document)
		if err != nil {
			return err
		}
		return parsed.Validate(context.Background())
	}
	// The library judges version 2.0 by what it becomes in version 3.
	parsed, err := openapi2conv.ToV3(&old)
	if err != nil {
		return err
	}
	return parsed.Validate(context.Background())
}

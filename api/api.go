// Package api holds the descriptions of the API in OpenAPI, as generated from the
// schema; the schema itself, and its Go form, are in remelt/v1.
package api

import _ "embed" // for the descriptions

// OpenAPI is the description in OpenAPI 3.1, as JSON.
//
//go:embed openapi.json
var OpenAPI []byte

// OpenAPIv2 is the description in OpenAPI 2.0, as JSON.
//
//go:embed openapi.v2.json
var OpenAPIv2 []byte

// Command protodeps writes out the .proto files that the schema under api/
// imports but does not own: HTTP rules, field behavior, error details,
// validation rules and OpenAPI options.
//
// Every Go package generated from a .proto file carries the descriptor of that
// file, so the modules pinned in go.mod already hold the sources in compiled
// form. This command prints them back as text. Thus no schema registry has to
// be asked, no third-party file is committed, and one version pin governs both
// the schema and the Go code.
//
// It writes only what the roots below reach, never the well-known types under
// google/protobuf, which every protobuf compiler brings along. Comments are not
// part of a compiled descriptor and are therefore missing from the output.
//
// Usage:
//
//	protodeps DIR
package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	openapiv2 "github.com/grpc-ecosystem/grpc-gateway/v2/protoc-gen-openapiv2/options"
	openapiv3 "github.com/grpc-ecosystem/grpc-gateway/v2/protoc-gen-openapiv3/options"
	"github.com/jhump/protoreflect/v2/protoprint"
	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/genproto/googleapis/api/httpbody"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// roots are the files that the schema may import. A further third-party import
// in api/ needs a line here and, if it is new, a module in go.mod.
var roots = []protoreflect.FileDescriptor{
	annotations.File_google_api_annotations_proto,
	annotations.File_google_api_client_proto,
	annotations.File_google_api_field_behavior_proto,
	annotations.File_google_api_field_info_proto,
	annotations.File_google_api_resource_proto,
	httpbody.File_google_api_httpbody_proto,
	errdetails.File_google_rpc_error_details_proto,
	status.File_google_rpc_status_proto,
	validate.File_buf_validate_validate_proto,
	openapiv2.File_protoc_gen_openapiv2_options_annotations_proto,
	openapiv3.File_protoc_gen_openapiv3_options_annotations_proto,
}

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "protodeps:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) != 1 {
		return errors.New("want exactly one argument, the directory to write to")
	}
	files := map[string]protoreflect.FileDescriptor{}
	for _, root := range roots {
		if err := collect(files, root); err != nil {
			return err
		}
	}
	for _, path := range slices.Sorted(maps.Keys(files)) {
		if err := write(args[0], files[path]); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	return nil
}

// collect adds file and everything it imports to files, keyed by import path.
func collect(files map[string]protoreflect.FileDescriptor, file protoreflect.FileDescriptor) error {
	path := file.Path()
	if strings.HasPrefix(path, "google/protobuf/") || files[path] != nil {
		return nil
	}
	if file.IsPlaceholder() {
		return fmt.Errorf("%s is imported but linked into no pinned Go module", path)
	}
	files[path] = file
	imports := file.Imports()
	for i := range imports.Len() {
		if err := collect(files, imports.Get(i).FileDescriptor); err != nil {
			return err
		}
	}
	return nil
}

// write prints file as protobuf source to its import path below dir.
func write(dir string, file protoreflect.FileDescriptor) (err error) {
	path := filepath.Join(dir, filepath.FromSlash(file.Path()))
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	printer := protoprint.Printer{Compact: true}
	return printer.PrintProtoFile(file, out)
}

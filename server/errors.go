package server

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"example.org/remelt/ledger"
)

// errorDomain is the domain of every ErrorInfo this server sends.
const errorDomain = "remelt"

// Keys of ErrorInfo metadata. Every changing part of a message is there too.
const (
	metaClass  = "class" // the word of the row below
	metaField  = "field"
	metaValue  = "value" // cut to maxValue bytes
	metaWant   = "want"
	metaUnsaid = "unsaid" // how many faults there are beyond the field violations
	metaLogID  = "log_id" // with INTERNAL: finds the line in the server's log
)

// maxValue is the most of an input value that an error repeats, in bytes; the
// details travel in a header, which is no place for a page of text.
const maxValue = 200

// row says how one class of the domain's errors goes over the wire.
type row struct {
	class   error
	word    string // in the metadata, so that a client can tell classes of one code apart
	code    codes.Code
	details func(*ledger.Error) []protoadapt.MessageV1
	theirs  bool // the caller's doing: the cause is part of the explanation and is shown
}

// errorTable has a row for every class of [ledger.Error]. What has no row is
// hidden: the caller gets INTERNAL and a log id, the log gets the error.
var errorTable = []row{
	{ledger.ErrInvalid, "invalid", codes.InvalidArgument, badRequest, true},
	{ledger.ErrNotFound, "not-found", codes.NotFound, resourceInfo, true},
	{ledger.ErrExists, "exists", codes.AlreadyExists, resourceInfo, true},
	{ledger.ErrState, "state", codes.FailedPrecondition, precondition, true},
	{ledger.ErrNeedsReason, "needs-reason", codes.FailedPrecondition, unusual, true},
	{ledger.ErrRequestReused, "request-reused", codes.AlreadyExists, resourceInfo, true},
	{ledger.ErrStale, "stale", codes.Aborted, nothing, true},
	{ledger.ErrSignIn, "sign-in", codes.Unauthenticated, nothing, true},
	{ledger.ErrDenied, "denied", codes.PermissionDenied, nothing, true},
	{ledger.ErrTooMany, "too-many", codes.ResourceExhausted, retry, true},
	{ledger.ErrUnavailable, "unavailable", codes.Unavailable, retry, false},
	{ledger.ErrForeignFile, "foreign-file", codes.FailedPrecondition, precondition, false},
	{ledger.ErrCorrupt, "corrupt", codes.DataLoss, nothing, false},
}

// statusOf turns an error into what goes over the wire: a code and exactly one
// ErrorInfo, with the details that fit. known is false for an error that nobody
// named; its status says nothing and it is for the log.
func statusOf(err error) (st *status.Status, known bool) {
	if st, ok := status.FromError(err); ok { // from gRPC itself, or made here
		return complete(st), true
	}
	var e *ledger.Error
	if errors.As(err, &e) {
		for _, r := range errorTable {
			if errors.Is(e.Class, r.class) {
				return r.status(e, ended(err, r.code)), true
			}
		}
	}
	switch code := ended(err, codes.Internal); code {
	case codes.DeadlineExceeded:
		return newStatus(code, "DEADLINE_EXCEEDED",
			"the time allowed ran out before there was an answer; ask again with the same request id", nil), true
	case codes.Canceled:
		return newStatus(code, "CANCELLED", "the caller went away; ask again with the same request id", nil), true
	}
	return nil, false
}

// ended is the code for an error whose reason is that the call was over, else code.
func ended(err error, code codes.Code) codes.Code {
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return codes.DeadlineExceeded
	case errors.Is(err, context.Canceled):
		return codes.Canceled
	}
	return code
}

func (r row) status(e *ledger.Error, code codes.Code) *status.Status {
	shown := *e
	shown.Field, shown.Value = utf8Only(e.Field), clip(e.Value)
	shown.Want = utf8Only(e.Want)
	shown.Cause = nil
	if e.Cause != nil && r.theirs { // in want, so that no changing part is in the message alone
		shown.Want = strings.TrimPrefix(shown.Want+": "+clip(e.Cause.Error()), ": ")
	}
	meta := map[string]string{metaClass: r.word}
	unsaid := ""
	if e.Unsaid > 0 {
		unsaid = strconv.Itoa(e.Unsaid)
	}
	for key, v := range map[string]string{metaField: shown.Field, metaValue: shown.Value, metaWant: shown.Want, metaUnsaid: unsaid} {
		if v != "" {
			meta[key] = v
		}
	}
	return newStatus(code, e.Reason, shown.Error(), meta, r.details(&shown)...)
}

// newStatus builds a status with one ErrorInfo first and then the details.
func newStatus(code codes.Code, reason, message string, meta map[string]string, details ...protoadapt.MessageV1) *status.Status {
	info := &errdetails.ErrorInfo{Reason: reason, Domain: errorDomain, Metadata: meta}
	st, err := status.New(code, utf8Only(message)).WithDetails(append([]protoadapt.MessageV1{info}, details...)...)
	if err != nil { // details that cannot be encoded; the code and message still can
		return status.New(code, utf8Only(message))
	}
	return st
}

// complete gives a status that has no ErrorInfo one whose reason is the code.
func complete(st *status.Status) *status.Status {
	if st.Code() == codes.OK {
		return st
	}
	for _, d := range st.Details() {
		if _, ok := d.(*errdetails.ErrorInfo); ok {
			return st
		}
	}
	return newStatus(st.Code(), codeName(st.Code()), st.Message(), nil)
}

var wordEnd = regexp.MustCompile(`([a-z])([A-Z])`)

// codeName is a code's name in capitals: INVALID_ARGUMENT.
func codeName(c codes.Code) string {
	if c == codes.Canceled {
		return "CANCELLED"
	}
	return strings.ToUpper(wordEnd.ReplaceAllString(c.String(), "${1}_$2"))
}

// hidden is what the caller is told of an error that is the server's own.
func hidden(logID string) *status.Status {
	return newStatus(codes.Internal, "INTERNAL",
		fmt.Sprintf("something went wrong in the server; its log says more under %s; ask again with the same request id", logID),
		map[string]string{metaLogID: logID})
}

func nothing(*ledger.Error) []protoadapt.MessageV1 { return nil }

func badRequest(e *ledger.Error) []protoadapt.MessageV1 {
	if e.Field == "" {
		return nil
	}
	d := &errdetails.BadRequest{}
	for _, fault := range append([]*ledger.Error{e}, e.More...) {
		d.FieldViolations = append(d.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: utf8Only(fault.Field), Reason: fault.Reason, Description: utf8Only(wanted(fault))})
	}
	return []protoadapt.MessageV1{d}
}

func resourceInfo(e *ledger.Error) []protoadapt.MessageV1 {
	return []protoadapt.MessageV1{&errdetails.ResourceInfo{ResourceType: e.Field, ResourceName: e.Value, Description: wanted(e)}}
}

func precondition(e *ledger.Error) []protoadapt.MessageV1 {
	return []protoadapt.MessageV1{&errdetails.PreconditionFailure{Violations: []*errdetails.PreconditionFailure_Violation{
		{Type: e.Reason, Subject: e.Value, Description: wanted(e)}}}}
}

// unusual lists what makes the fact unusual: one violation per flag, its type
// the flag's code. With a reason the same request is recorded and flagged.
func unusual(e *ledger.Error) []protoadapt.MessageV1 {
	d := &errdetails.PreconditionFailure{}
	for _, f := range e.Flags {
		d.Violations = append(d.Violations, &errdetails.PreconditionFailure_Violation{
			Type: f.Code, Subject: e.Field, Description: utf8Only(f.Text)})
	}
	return []protoadapt.MessageV1{d}
}

// retry: nothing was recorded and a moment later it may work.
func retry(e *ledger.Error) []protoadapt.MessageV1 {
	return []protoadapt.MessageV1{&errdetails.RetryInfo{RetryDelay: durationpb.New(cmp.Or(e.After, time.Second))}}
}

func wanted(e *ledger.Error) string {
	if e.Want != "" {
		return e.Want
	}
	return e.Class.Error()
}

// utf8Only makes a text fit for a protobuf string.
func utf8Only(s string) string { return strings.ToValidUTF8(s, "\uFFFD") }

func clip(s string) string {
	s = utf8Only(s)
	if len(s) <= maxValue {
		return s
	}
	return strings.ToValidUTF8(s[:maxValue], "") + "…"
}

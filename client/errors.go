package client

import (
	"context"
	"errors"
	"strconv"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"example.org/remelt/ledger"
)

// Fault is a refusal or failure that a server reported. errors.Is and errors.As
// see through it to the domain's own error, so errors.Is(err, ledger.ErrNotFound)
// and errors.As(err, &ledgerError) work as they do beside the book; a value longer
// than a few hundred bytes comes back cut.
//
// A Fault without a domain error says nothing about whether the write happened:
// the connection broke, the time ran out, or the server failed inside. Ask again
// with the same request id.
type Fault struct {
	Refused    *ledger.Error // nil when the server, or the way to it, failed
	RetryAfter time.Duration // how long to wait before trying again; 0 when nothing was said
	LogID      string        // with an internal failure: finds it in the server's log
	status     *status.Status
}

// Error is the domain's sentence, or the server's when there is none.
func (f *Fault) Error() string {
	if f.Refused != nil {
		return f.Refused.Error()
	}
	return f.status.Message()
}

// Unwrap gives the domain's error, or context's when the call was over.
func (f *Fault) Unwrap() []error {
	var all []error
	if f.Refused != nil {
		all = append(all, f.Refused)
	}
	switch f.status.Code() {
	case codes.DeadlineExceeded:
		all = append(all, context.DeadlineExceeded)
	case codes.Canceled:
		all = append(all, context.Canceled)
	}
	return all
}

// GRPCStatus gives the status as it was received.
func (f *Fault) GRPCStatus() *status.Status { return f.status }

// classes are the words by which a server names the domain's classes.
var classes = map[string]error{
	"invalid":        ledger.ErrInvalid,
	"not-found":      ledger.ErrNotFound,
	"exists":         ledger.ErrExists,
	"state":          ledger.ErrState,
	"needs-reason":   ledger.ErrNeedsReason,
	"request-reused": ledger.ErrRequestReused,
	"stale":          ledger.ErrStale,
	"sign-in":        ledger.ErrSignIn,
	"denied":         ledger.ErrDenied,
	"too-many":       ledger.ErrTooMany,
	"unavailable":    ledger.ErrUnavailable,
	"foreign-file":   ledger.ErrForeignFile,
	"corrupt":        ledger.ErrCorrupt,
}

// FromStatus rebuilds the domain's error from what a call returned, as a *[Fault].
// nil stays nil, and an error that did not come from a call comes back as it is.
func FromStatus(err error) error {
	var known *Fault
	if err == nil || errors.As(err, &known) {
		return err
	}
	st, ok := status.FromError(err)
	if !ok {
		return err
	}
	f := &Fault{status: st}
	var flags []ledger.Flag
	var more []*ledger.Error
	for _, d := range st.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			if d.GetDomain() != "remelt" {
				continue
			}
			meta := d.GetMetadata()
			f.LogID = meta["log_id"]
			if class := classes[meta["class"]]; class != nil {
				f.Refused = &ledger.Error{Class: class, Reason: d.GetReason(),
					Field: meta["field"], Value: meta["value"], Want: meta["want"]}
				f.Refused.Unsaid, _ = strconv.Atoi(meta["unsaid"]) // 0 when nothing is said
			}
		case *errdetails.PreconditionFailure:
			for _, v := range d.GetViolations() {
				flags = append(flags, ledger.Flag{Code: v.GetType(), Text: v.GetDescription()})
			}
		case *errdetails.BadRequest:
			for i, v := range d.GetFieldViolations() {
				if i > 0 { // the first is the error itself
					more = append(more, &ledger.Error{Class: ledger.ErrInvalid, Reason: v.GetReason(), Field: v.GetField(), Want: v.GetDescription()})
				}
			}
		case *errdetails.RetryInfo:
			f.RetryAfter = d.GetRetryDelay().AsDuration()
		}
	}
	if f.Refused != nil {
		f.Refused.More = more
		if errors.Is(f.Refused.Class, ledger.ErrTooMany) {
			f.Refused.After = f.RetryAfter
		}
	}
	if f.Refused != nil && errors.Is(f.Refused.Class, ledger.ErrNeedsReason) {
		f.Refused.Flags = flags
	}
	return f
}

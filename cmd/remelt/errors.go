package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc/codes"

	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

// Exit statuses. They are part of the interface: scripts branch on them.
const (
	exitOK          = 0
	exitUnexpected  = 1
	exitUsage       = 2
	exitRefused     = 3
	exitNotFound    = 4
	exitReason      = 5
	exitState       = 6
	exitUnavailable = 7
	exitDenied      = 8
)

func exitHelp() *cobra.Command {
	return &cobra.Command{
		Use:   "exit",
		Short: "What the exit status says",
		Long: `What the exit status says:

  0  done
  1  something unexpected; also a book found damaged
  2  the command line was not understood
  3  the input was refused: it cannot be a fact, or lines of a file are bad
  4  the named thing is not in the book
  5  unusual, so it needs a reason: say it with --reason and send it again
  6  not possible in the state that things are in, or in conflict with
     something recorded meanwhile
  7  no answer, or the server cannot write now; a write may or may not have
     been recorded: send it again with the --request-id that is shown
  8  the server wants to know who you are, or you may not do this

The sentence on standard error ends with a machine-readable reason in brackets;
with -o json it is a JSON object.`,
	}
}

// usageError is a command line that was not understood.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// statusError ends with a given status when everything was said already.
type statusError int

func (statusError) Error() string { return "" }

// sentError is the error of a write, with the request id to send it again under.
type sentError struct {
	error
	id string
}

func (e sentError) Unwrap() error { return e.error }

// report says what went wrong and gives the exit status.
func (a *app) report(err error) int {
	var status statusError
	switch {
	case err == nil:
		return exitOK
	case errors.As(err, &status):
		return int(status)
	}
	code := exitStatus(err)
	p := problemOf(err)
	if a.json() {
		raw, _ := json.Marshal(struct {
			Error problem `json:"error"`
		}{p})
		fmt.Fprintln(a.err, string(raw))
		return code
	}
	fmt.Fprintln(a.err, "remelt: "+p.sentence(a.address))
	if code == exitUsage {
		fmt.Fprintln(a.err, "remelt help tells what can be done")
	}
	return code
}

// exitStatus maps an error's class to a status.
func exitStatus(err error) int {
	var usage usageError
	if errors.As(err, &usage) {
		return exitUsage
	}
	for _, row := range []struct {
		class  error
		status int
	}{
		{ledger.ErrNeedsReason, exitReason},
		{ledger.ErrInvalid, exitRefused},
		{ledger.ErrForeignFile, exitRefused},
		{ledger.ErrNotFound, exitNotFound},
		{ledger.ErrState, exitState},
		{ledger.ErrExists, exitState},
		{ledger.ErrRequestReused, exitState},
		{ledger.ErrStale, exitState},
		{ledger.ErrSignIn, exitDenied},
		{ledger.ErrDenied, exitDenied},
		{ledger.ErrTooMany, exitUnavailable},
		{ledger.ErrUnavailable, exitUnavailable},
		{ledger.ErrCorrupt, exitUnexpected},
	} {
		if errors.Is(err, row.class) {
			return row.status
		}
	}
	if unanswered(err) {
		return exitUnavailable
	}
	return exitUnexpected
}

// unanswered reports whether nobody knows what became of a call.
func unanswered(err error) bool {
	var f *client.Fault
	if !errors.As(err, &f) || f.Refused != nil {
		return false
	}
	switch f.GRPCStatus().Code() {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Canceled, codes.ResourceExhausted:
		return true
	}
	return false
}

// problem is an error as it is shown.
type problem struct {
	Status    int           `json:"status"`
	Reason    string        `json:"reason,omitempty"`
	Field     string        `json:"field,omitempty"`
	Value     string        `json:"value,omitempty"`
	Want      string        `json:"want,omitempty"`
	Flags     []problemFlag `json:"flags,omitempty"`
	Message   string        `json:"message"`
	LogID     string        `json:"logId,omitempty"`
	RequestID string        `json:"requestId,omitempty"`

	err error
}

type problemFlag struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

func problemOf(err error) problem {
	p := problem{Status: exitStatus(err), Message: err.Error(), err: err}
	var e *ledger.Error
	if errors.As(err, &e) {
		p.Reason, p.Field, p.Value, p.Want = e.Reason, e.Field, e.Value, e.Want
		for _, f := range e.Flags {
			p.Flags = append(p.Flags, problemFlag(f))
		}
		p.Message = e.Error()
	}
	var f *client.Fault
	if errors.As(err, &f) {
		p.LogID = f.LogID
	}
	var sent sentError
	if p.Status == exitUnavailable && errors.As(err, &sent) {
		p.RequestID = sent.id
	}
	return p
}

// sentence is the error for people.
func (p problem) sentence(address string) string {
	var b strings.Builder
	switch {
	case p.Reason == "" && p.Status == exitUnavailable && errors.Is(p.err, context.DeadlineExceeded):
		fmt.Fprintf(&b, "the server at %s did not answer in time", address)
	case p.Reason == "" && p.Status == exitUnavailable:
		fmt.Fprintf(&b, "no server answers at %s; start one with remelt serve, or name another with --server (%s)", address, p.Message)
	case p.Status == exitReason:
		b.WriteString("this is unusual")
	default:
		b.WriteString(p.Message)
	}
	if p.Reason != "" {
		fmt.Fprintf(&b, " [%s]", p.Reason)
	}
	if p.LogID != "" {
		fmt.Fprintf(&b, " [log %s]", p.LogID)
	}
	for _, f := range p.Flags {
		fmt.Fprintf(&b, "\n  %s: %s", f.Code, f.Text)
	}
	if p.Status == exitReason {
		b.WriteString("\nIf it is a fact, say why with --reason \"…\": it is recorded with its reason and flagged.")
	}
	switch {
	case p.RequestID != "" && unanswered(p.err):
		fmt.Fprintf(&b, "\nNobody knows whether it was recorded. To be sure, run the same command once more with --request-id %s", p.RequestID)
	case p.RequestID != "": // it was refused; if it was tried before, an answer may have been lost
		fmt.Fprintf(&b, "\nWhen it can write again, run the same command once more; with --request-id %s it is recorded only once, whatever was tried before", p.RequestID)
	}
	return b.String()
}

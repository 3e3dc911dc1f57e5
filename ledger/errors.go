package ledger

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// Classes of failure. Every error that leaves this package and its stores for
// a reason the caller can act on is an *[Error] whose Class is one of these, so
// errors.Is(err, ledger.ErrNotFound) works through any wrapping.
var (
	// ErrInvalid: the input cannot be a fact or a plan; mend it.
	ErrInvalid = errors.New("invalid")
	// ErrNotFound: the named thing is not in this shop's book.
	ErrNotFound = errors.New("not found")
	// ErrExists: the chosen id is taken.
	ErrExists = errors.New("already exists")
	// ErrState: the thing is there but not in a state that allows this.
	ErrState = errors.New("not possible now")
	// ErrNeedsReason: unusual, but a fact is never refused: say why and send again.
	ErrNeedsReason = errors.New("needs a reason")
	// ErrRequestReused: the request id was used before for something else.
	ErrRequestReused = errors.New("request id reused")
	// ErrStale: somebody changed it meanwhile (etag mismatch); read again.
	ErrStale = errors.New("changed meanwhile")
	// ErrSignIn: nobody knows who asks; sign in first.
	ErrSignIn = errors.New("sign in first")
	// ErrDenied: whoever asks may not do this.
	ErrDenied = errors.New("not allowed")
	// ErrTooMany: asked too often; wait as long as Error.After says.
	ErrTooMany = errors.New("too often")
	// ErrUnavailable: the store cannot write now; nothing was recorded; try again.
	ErrUnavailable = errors.New("unavailable")
	// ErrForeignFile: the file is not a metal book, or one of a newer version.
	ErrForeignFile = errors.New("not a metal book this program can open")
	// ErrCorrupt: the stored book contradicts itself.
	ErrCorrupt = errors.New("the book is damaged")
)

// Error says what was wrong, where, and what would be right. Reason is stable
// and machine-readable (UPPER_SNAKE); the same one reaches gRPC, REST, the
// command line and the pages.
type Error struct {
	Class  error
	Reason string
	Field  string // path of the input field, if one is to blame
	Value  string // what was given
	Want   string // what would be right, as a phrase
	Flags  []Flag // with ErrNeedsReason: what makes the fact unusual
	Cause  error
	More   []*Error      // further faults of the same request, such as other lines of a list
	Unsaid int           // and how many beyond those
	After  time.Duration // with ErrTooMany: how long to wait
}

// NothingRecorded is what an error of ErrUnavailable says of a write.
const NothingRecorded = "nothing was recorded"

// Unread is an error of what only reads: where a write says that nothing was recorded,
// which nobody asked for, it says that nothing could be read.
func Unread(err error) error {
	e, ok := err.(*Error) //nolint:errorlint // one that was wrapped has been told by somebody else
	if !ok || e.Want != NothingRecorded {
		return err
	}
	said := *e
	said.Want = "the book cannot be read now; try again"
	return &said
}

func (e *Error) Error() string {
	var b strings.Builder
	if e.Field != "" {
		fmt.Fprintf(&b, "%s: ", e.Field)
	}
	if e.Value != "" {
		fmt.Fprintf(&b, "%q: ", clip(e.Value))
	}
	switch {
	case errors.Is(e.Class, ErrNeedsReason):
		for i, f := range e.Flags {
			if i > 0 {
				b.WriteString("; ")
			}
			b.WriteString(f.Text)
		}
		b.WriteString(" (give a reason and it will be recorded and flagged)")
	case e.Want != "":
		b.WriteString(e.Want)
	case e.Class != nil:
		b.WriteString(e.Class.Error())
	}
	if e.Cause != nil {
		fmt.Fprintf(&b, ": %v", e.Cause)
	}
	switch n := len(e.More) + e.Unsaid; n {
	case 0:
	case 1:
		b.WriteString(" (and one more fault)")
	default:
		fmt.Fprintf(&b, " (and %d more faults)", n)
	}
	return b.String()
}

// Unwrap makes errors.Is see both the class and the cause.
func (e *Error) Unwrap() []error {
	if e.Cause == nil {
		return []error{e.Class}
	}
	return []error{e.Class, e.Cause}
}

func clip(s string) string {
	const most = 80
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && s[cut]&0xC0 == 0x80 { // not inside a UTF-8 sequence
		cut--
	}
	return s[:cut] + "…"
}

func invalid(reason, field, value, want string) error {
	return &Error{Class: ErrInvalid, Reason: reason, Field: field, Value: value, Want: want}
}

// maxFaults is how many faults of one request are told.
const maxFaults = 100

// oneOf makes one error of the faults of a request: it is about the first and has the
// others in More.
func oneOf(faults []*Error) error {
	first := *faults[0]
	first.More, first.Unsaid = faults[1:], 0
	if len(first.More) >= maxFaults {
		first.More, first.Unsaid = first.More[:maxFaults-1], len(faults)-maxFaults
	}
	return &first
}

func notFound(kind RecordKind, field, id string) error {
	return &Error{Class: ErrNotFound, Reason: "NOT_FOUND", Field: field, Value: id,
		Want: fmt.Sprintf("no %s of this name in the book", kind)}
}

func badState(reason, field, value, want string) error {
	return &Error{Class: ErrState, Reason: reason, Field: field, Value: value, Want: want}
}

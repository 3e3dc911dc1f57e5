package server

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

var update = flag.Bool("update", false, "rewrite the golden files of testdata/rest")

// golden compares an answer with a file of testdata/rest: the HTTP status, the
// headers named, and the body as indented JSON.
func golden(t *testing.T, name string, code int, body string) {
	t.Helper()
	var indented strings.Builder
	fmt.Fprintf(&indented, "HTTP %d\n", code)
	for line := range strings.Lines(body) { // a stream has several
		var v json.RawMessage
		if err := json.Unmarshal([]byte(line), &v); err != nil {
			t.Fatalf("%s: not JSON: %v: %q", name, err, line)
		}
		out, err := json.MarshalIndent(v, "", "  ")
		if err != nil {
			t.Fatal(err)
		}
		indented.Write(append(out, '\n'))
	}
	file := filepath.Join("..", "testdata", "rest", name+".txt")
	if *update {
		if err := os.WriteFile(file, []byte(indented.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), indented.String()); d != "" {
		t.Errorf("%s changed (-want +got; -update rewrites it):\n%s", name, d)
	}
}

// exampleOf is an error of each class with everything filled that the class uses.
func exampleOf(class error) *ledger.Error {
	e := &ledger.Error{Class: class, Reason: "A_REASON", Field: "weighing.net", Value: "−3 kg", Want: "must not be negative"}
	if errors.Is(class, ledger.ErrTooMany) {
		e.After = 8 * time.Second
	}
	if errors.Is(class, ledger.ErrNeedsReason) {
		e.Value, e.Want = "", ""
		e.Reason, e.Field = "NEEDS_REASON", "reason"
		e.Flags = []ledger.Flag{{Code: ledger.FlagOverdrawn, Text: "more than the lot holds"}, {Code: ledger.FlagHeld, Text: "the lot is set apart"}}
	}
	return e
}

func TestEveryClassHasARow(t *testing.T) {
	f, err := parser.ParseFile(token.NewFileSet(), "../ledger/errors.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	texts := map[string]string{} // Err… → its text
	ast.Inspect(f, func(n ast.Node) bool {
		v, ok := n.(*ast.ValueSpec)
		if ok && strings.HasPrefix(v.Names[0].Name, "Err") && len(v.Values) == 1 {
			if call, ok := v.Values[0].(*ast.CallExpr); ok {
				texts[v.Names[0].Name], _ = strconv.Unquote(call.Args[0].(*ast.BasicLit).Value)
			}
		}
		return true
	})
	if len(texts) < 10 {
		t.Fatalf("found only %d classes in ledger/errors.go: %v", len(texts), texts)
	}
	rows := map[string]bool{}
	for _, r := range errorTable {
		rows[r.class.Error()] = true
	}
	for name, text := range texts {
		if !rows[text] {
			t.Errorf("ledger.%s has no row", name)
		}
	}
	if len(rows) != len(texts) {
		t.Errorf("%d rows for %d classes", len(rows), len(texts))
	}
}

// What each class is on the wire. The codes are those of google/rpc/code.proto
// (AIP-193, AIP-154 for the etag, AIP-155 for the request id); the HTTP statuses
// are in the comments of google/rpc/code.proto.
func TestErrorsOnTheWire(t *testing.T) {
	want := map[string]struct {
		code codes.Code
		http int
	}{
		"invalid":        {codes.InvalidArgument, 400},
		"not-found":      {codes.NotFound, 404},
		"exists":         {codes.AlreadyExists, 409},
		"state":          {codes.FailedPrecondition, 400},
		"needs-reason":   {codes.FailedPrecondition, 400},
		"request-reused": {codes.AlreadyExists, 409},
		"stale":          {codes.Aborted, 409},
		"sign-in":        {codes.Unauthenticated, 401},
		"denied":         {codes.PermissionDenied, 403},
		"too-many":       {codes.ResourceExhausted, 429},
		"unavailable":    {codes.Unavailable, 503},
		"foreign-file":   {codes.FailedPrecondition, 400},
		"corrupt":        {codes.DataLoss, 500},
	}
	byWord := map[string]row{}
	for _, r := range errorTable {
		byWord[r.word] = r
	}
	w := serve(t, withGetPlace(func(_ context.Context, r *pb.GetPlaceRequest) error {
		return fmt.Errorf("on the way: %w", exampleOf(byWord[r.GetName()[len("shops/harrow/places/"):]].class))
	}))
	for word, want := range want {
		t.Run(word, func(t *testing.T) {
			sent := exampleOf(byWord[word].class)
			err := w.getPlace("shops/harrow/places/" + word)
			if got := status.Code(err); got != want.code {
				t.Errorf("code %v, want %v", got, want.code)
			}
			infos := 0
			for _, d := range status.Convert(err).Details() {
				if i, ok := d.(*errdetails.ErrorInfo); ok {
					infos++
					if i.GetDomain() != "remelt" || !reasonForm.MatchString(i.GetReason()) {
						t.Errorf("domain %q, reason %q", i.GetDomain(), i.GetReason())
					}
				}
			}
			if infos != 1 {
				t.Errorf("%d ErrorInfo", infos)
			}

			back := client.FromStatus(err)
			if !errors.Is(back, sent.Class) {
				t.Errorf("errors.Is does not work through the wire: %v", back)
			}
			var e *ledger.Error
			if !errors.As(back, &e) {
				t.Fatalf("no domain error in %v", back)
			}
			if d := cmp.Diff(*sent, *e, cmpopts.EquateErrors()); d != "" {
				t.Errorf("after the round trip (-sent +received):\n%s", d)
			}
			if back.Error() != sent.Error() {
				t.Errorf("it reads %q, was %q", back, sent)
			}

			resp, body := w.do("GET", "/v1/shops/harrow/places/"+word, "")
			if resp.StatusCode != want.http {
				t.Errorf("HTTP %d, want %d", resp.StatusCode, want.http)
			}
			if word == "unavailable" && resp.Header.Get("Retry-After") != "1" {
				t.Errorf("Retry-After %q", resp.Header.Get("Retry-After"))
			}
			golden(t, "error-"+word, resp.StatusCode, body)
		})
	}
	if len(want) != len(errorTable) {
		t.Errorf("%d classes checked, %d in the table", len(want), len(errorTable))
	}
}

// reasonForm is the form of a reason by the comment of ErrorInfo in
// google/rpc/error_details.proto; it may have at most 63 characters.
var reasonForm = regexp.MustCompile(`^[A-Z][A-Z0-9_]{0,61}[A-Z0-9]$`)

// Every reason written in the domain has that form.
func TestReasonsHaveTheStandardForm(t *testing.T) {
	field := regexp.MustCompile(`Reason:\s*"([^"]*)"`)
	call := regexp.MustCompile(`(?:invalid|badState|refuse|newStatus)\((?:codes\.\w+, )?"([^"]*)"`)
	seen := 0
	for pattern, form := range map[string]*regexp.Regexp{"../ledger/*.go": call, "*.go": call,
		"../ledger/shop/*.go": field, "../ledger/memory/*.go": field, "../ledger/sqlite/*.go": field} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range files {
			if strings.HasSuffix(file, "_test.go") {
				continue
			}
			src, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			all := form.FindAllStringSubmatch(string(src), -1)
			if form == call {
				all = append(all, field.FindAllStringSubmatch(string(src), -1)...)
			}
			for _, m := range all {
				seen++
				if !reasonForm.MatchString(m[1]) {
					t.Errorf("%s: reason %q", file, m[1])
				}
			}
		}
	}
	if seen < 50 {
		t.Errorf("only %d reasons found", seen)
	}
}

func TestErrorsNobodyNamedAreHidden(t *testing.T) {
	w := serve(t, withGetPlace(func(context.Context, *pb.GetPlaceRequest) error {
		return errors.New("dial tcp 10.1.2.3: secret=hunter2")
	}))
	err := client.FromStatus(w.getPlace("x"))
	var f *client.Fault
	if !errors.As(err, &f) || f.LogID == "" || f.Refused != nil || status.Code(err) != codes.Internal || strings.Contains(err.Error(), "hunter2") {
		t.Fatalf("got %+v", err)
	}
	if l := w.log.lines("internal error"); len(l) != 1 || l[0]["log_id"] != f.LogID || !strings.Contains(fmt.Sprint(l[0]["error"]), "hunter2") {
		t.Errorf("the log has %v", l)
	}
}

// The cause is shown where the caller can mend it, and kept to the log where it
// is about the server.
func TestCausesAreShownToThoseTheyConcern(t *testing.T) {
	for _, c := range []struct {
		class error
		shown bool
	}{{ledger.ErrInvalid, true}, {ledger.ErrState, true}, {ledger.ErrUnavailable, false}, {ledger.ErrCorrupt, false}} {
		st, known := statusOf(&ledger.Error{Class: c.class, Reason: "R1", Field: "f", Cause: errors.New("/srv/book.db: short read")})
		if !known || strings.Contains(st.Message(), "short read") != c.shown {
			t.Errorf("%v: %v", c.class, st)
		}
	}
}

func TestContextErrors(t *testing.T) {
	unavailable := &ledger.Error{Class: ledger.ErrUnavailable, Reason: "CANCELLED", Want: "nothing was recorded", Cause: context.DeadlineExceeded}
	for _, c := range []struct {
		err    error
		code   codes.Code
		reason string
		is     error
	}{
		{context.DeadlineExceeded, codes.DeadlineExceeded, "DEADLINE_EXCEEDED", context.DeadlineExceeded},
		{fmt.Errorf("reading: %w", context.Canceled), codes.Canceled, "CANCELLED", context.Canceled},
		{unavailable, codes.DeadlineExceeded, "CANCELLED", ledger.ErrUnavailable}, // nothing was recorded, and that comes through
		{unavailable, codes.DeadlineExceeded, "CANCELLED", context.DeadlineExceeded},
	} {
		st, known := statusOf(c.err)
		if !known || st.Code() != c.code {
			t.Errorf("%v: %v %v", c.err, st, known)
		}
		if info := st.Details()[0].(*errdetails.ErrorInfo); info.GetReason() != c.reason {
			t.Errorf("%v: reason %s, want %s", c.err, info.GetReason(), c.reason)
		}
		if back := client.FromStatus(st.Err()); !errors.Is(back, c.is) {
			t.Errorf("%v: %v is not %v", c.err, back, c.is)
		}
	}
}

// A connection that breaks says nothing about whether the write happened, so it
// must not look like ErrUnavailable, which promises that it did not.
func TestABrokenConnectionIsNotUnavailable(t *testing.T) {
	err := client.FromStatus(status.Error(codes.Unavailable, "connection refused"))
	if errors.Is(err, ledger.ErrUnavailable) || status.Code(err) != codes.Unavailable {
		t.Errorf("got %v", err)
	}
	if client.FromStatus(nil) != nil {
		t.Error("nil became an error")
	}
	plain := errors.New("plain")
	if got := client.FromStatus(plain); got.Error() != "plain" || !errors.Is(got, plain) {
		t.Error("an error of another kind was changed")
	}
}

func TestLongAndBrokenTextsAreCut(t *testing.T) {
	st, _ := statusOf(&ledger.Error{Class: ledger.ErrInvalid, Reason: "TOO_LONG", Field: "na\xffme", Value: strings.Repeat("é", 10_000) + "\xff", Want: "must be shorter\xff"})
	info := st.Details()[0].(*errdetails.ErrorInfo)
	if v := info.GetMetadata()["value"]; len(v) > maxValue+len("…") || !strings.HasPrefix(v, "éé") || strings.ContainsRune(v, '\uFFFD') {
		t.Errorf("value %q", v)
	}
	if len(st.Proto().String()) > 3000 {
		t.Errorf("the status has %d bytes", len(st.Proto().String()))
	}
}

func TestUnknownMethod(t *testing.T) {
	w := serve(t)
	err := w.conn.Invoke(w.Context(), "/remelt.v1.PlaceService/Teleport", &pb.GetPlaceRequest{}, &pb.GetPlaceResponse{})
	if status.Code(err) != codes.Unimplemented || len(status.Convert(err).Details()) != 1 {
		t.Errorf("got %v", err)
	}
}

func TestFieldRulesOfTheSchema(t *testing.T) {
	w := serve(t)
	_, err := pb.NewLotServiceClient(w.conn).ListLots(w.Context(), &pb.ListLotsRequest{PageSize: -1})
	var e *ledger.Error
	if !errors.As(client.FromStatus(err), &e) || !errors.Is(e, ledger.ErrInvalid) || e.Reason != "BAD_FIELD" || e.Field != "parent" {
		t.Fatalf("got %+v", err)
	}
	var fields []string
	for _, d := range status.Convert(err).Details() {
		if b, ok := d.(*errdetails.BadRequest); ok {
			for _, v := range b.GetFieldViolations() {
				fields = append(fields, v.GetField())
				if v.GetDescription() == "" || !reasonForm.MatchString(v.GetReason()) {
					t.Errorf("violation %v", v)
				}
			}
		}
	}
	if d := cmp.Diff([]string{"parent", "page_size"}, fields); d != "" {
		t.Errorf("violations (-want +got):\n%s", d)
	}
}

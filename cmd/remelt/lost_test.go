package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"example.org/remelt/client"
	"example.org/remelt/ledger"
)

// lossy is a server of a shop on a wire that loses answers.
type lossy struct {
	t       *testing.T
	address string
	// lose says of a call, by its method and how many were sent before it,
	// whether its answer is lost. The server has recorded it all the same.
	lose func(method string, n int) bool
	sent int
}

func newLossy(t *testing.T) *lossy {
	t.Helper()
	s, stop, err := testServer(t.TempDir(), newTestClock())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := stop(); err != nil {
			t.Errorf("the server ended with: %v", err)
		}
	})
	if err := setUpShop(s.GRPCAddr()); err != nil {
		t.Fatal(err)
	}
	return &lossy{t: t, address: s.GRPCAddr()}
}

// run runs a command line and gives its status and what it printed.
func (l *lossy) run(in string, args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	a := &app{in: strings.NewReader(in), out: &o, err: &e, now: time.Now}
	a.patch = func(c *client.Config) {
		c.Wait = time.Millisecond
		c.Dial = append(c.Dial, grpc.WithChainUnaryInterceptor(func(ctx context.Context, method string, req, reply any, conn *grpc.ClientConn, call grpc.UnaryInvoker, opts ...grpc.CallOption) error {
			err := call(ctx, method, req, reply, conn, opts...)
			if l.lose != nil && l.lose(filepath.Base(method), l.sent) {
				err = status.Error(codes.Unavailable, "the answer was lost")
			}
			l.sent++
			return err
		}))
	}
	code = a.run(l.t.Context(), append(args, "--server", l.address))
	return code, o.String(), e.String()
}

// entries counts the entries of a kind.
func (l *lossy) entries(kind string) int {
	l.t.Helper()
	l.lose = nil
	code, out, errs := l.run("", "entries", "list", "--most", "1000", "-o", "json")
	if code != 0 {
		l.t.Fatal(errs)
	}
	return strings.Count(out, `"kind":"`+kind+`"`)
}

// A piece whose answers are all lost stands open until it is answered; what comes
// after it waits, and nothing is counted twice.
func TestLoopWithLostAnswers(t *testing.T) {
	l := newLossy(t)
	weighIns := 0
	l.lose = func(method string, _ int) bool {
		if method != "WeighIn" {
			return false
		}
		weighIns++
		return weighIns <= 7 // all five tries of the first piece, and two of the second go
	}
	code, out, errs := l.run("1 kg\n2 kg\nundo\nagain\n3 kg\n", "weigh-in", "--loop", "--alloy", "C87300")
	if !strings.Contains(errs, `line 1, "1 kg": no answer`) || !strings.Contains(errs, "line 1 got no answer; type again") {
		t.Errorf("the open line is not told:\n%s", errs)
	}
	if !strings.Contains(out, "2 pieces, 4000 g") || code != exitRefused {
		t.Errorf("status %d:\n%s%s", code, out, errs)
	}
	if n := l.entries("weigh-in"); n != 2 {
		t.Errorf("%d pieces are in the book, want 2", n)
	}
}

// A loop that ends while a piece is open says so by its status.
func TestLoopEndsOpen(t *testing.T) {
	l := newLossy(t)
	l.lose = func(method string, _ int) bool { return method == "WeighIn" }
	code, _, errs := l.run("1 kg\n", "weigh-in", "--loop", "--alloy", "C87300")
	if code != exitUnavailable || !strings.Contains(errs, "nobody knows whether it is in the book (request ") {
		t.Errorf("status %d:\n%s", code, errs)
	}
	if n := l.entries("weigh-in"); n != 1 {
		t.Errorf("%d pieces are in the book, want the one whose answer was lost", n)
	}
}

// A write that got no answer tells the request id under which to send it again.
func TestSentAgainByHand(t *testing.T) {
	l := newLossy(t)
	l.lose = func(method string, _ int) bool { return method == "WeighIn" }
	line := []string{"weigh-in", "1 kg", "--alloy", "C87300"}
	code, _, errs := l.run("", line...)
	id := regexp.MustCompile(`--request-id ([0-9a-f-]{36})`).FindStringSubmatch(errs)
	if code != exitUnavailable || id == nil {
		t.Fatalf("status %d:\n%s", code, errs)
	}
	l.lose = nil
	code, out, errs := l.run("", append(line, "--request-id", id[1])...)
	if code != 0 || !strings.Contains(out, "1000 g") {
		t.Errorf("status %d:\n%s%s", code, out, errs)
	}
	if n := l.entries("weigh-in"); n != 1 {
		t.Errorf("%d entries, want 1", n)
	}
}

// An import that broke off goes on where it was when it is run again.
func TestImportGoesOn(t *testing.T) {
	l := newLossy(t)
	file := filepath.Join(t.TempDir(), "lines.csv")
	// The last line of the first call makes a lot that the second adds to.
	text := "weight,alloy,lot,into\n" + strings.Repeat("1 kg,C87300,,\n", 999) + "1 kg,C87300,MORE,\n1 kg,,,MORE\n" + strings.Repeat("1 kg,C87300,,\n", 1003)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	before := l.head()
	calls := 0
	l.lose = func(method string, _ int) bool {
		if method == "ImportLots" {
			calls++
		}
		return calls > 5 // three and the second as lots of its own are checked, one recorded, then the wire is dead
	}
	code, _, errs := l.run("", "import", file, "--as", "weigh-in")
	if code != exitUnavailable || !strings.Contains(errs, "stopped at line 1002; the 1000 before it are recorded") {
		t.Errorf("status %d:\n%s", code, errs)
	}
	if n := l.head() - before; n != 2000 {
		t.Errorf("%d lines are in the book, want 2000: the answer of the second call was lost", n)
	}
	for range 2 {
		if code, out, errs := l.run("", "import", file, "--as", "weigh-in"); code != 0 || !strings.Contains(out, "2004 lines in the book") {
			t.Errorf("status %d:\n%s%s", code, out, errs)
		}
	}
	if n := l.head() - before; n != 2004 {
		t.Errorf("%d lines are in the book, want 2004", n)
	}
}

// An import lists every bad line, however many there are, and records none of the
// good ones.
func TestImportListsEveryBadLine(t *testing.T) {
	l := newLossy(t)
	file := filepath.Join(t.TempDir(), "lines.csv")
	text := "weight,alloy\n" + strings.Repeat("1 kg,C87300\n12 stone,C87300\n", 250)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	before := l.head()
	for _, dry := range []string{"--dry-run=true", "--dry-run=false"} {
		code, out, errs := l.run("", "import", file, "--as", "weigh-in", dry)
		if code != exitRefused || strings.Count(out, `"12 stone"`) != 250 || !strings.Contains(errs, "250 lines are bad; nothing was recorded") {
			t.Errorf("%s: status %d, %d lines listed\n%s", dry, code, strings.Count(out, `"12 stone"`), errs)
		}
	}
	if n := l.head() - before; n != 0 {
		t.Errorf("%d lines are in the book", n)
	}
}

// head is the number of the last entry.
func (l *lossy) head() (n int) {
	l.t.Helper()
	l.lose = nil
	code, out, errs := l.run("", "entries", "list", "--most", "1", "-o", "json")
	found := regexp.MustCompile(`"sequence": *"([0-9]+)"`).FindStringSubmatch(out)
	if code != 0 || found == nil {
		l.t.Fatal(out, errs)
	}
	n, _ = strconv.Atoi(found[1])
	return n
}

// What a server says was not recorded is not said to be unknown too; the request id is
// told all the same, as an earlier try may have been lost.
func TestNotRecordedIsKnown(t *testing.T) {
	fault := &ledger.Error{Class: ledger.ErrUnavailable, Reason: "STORE_FAULT", Want: ledger.NothingRecorded}
	said := problemOf(sentError{fault, "0191e0a4"}).sentence("here")
	if !strings.Contains(said, "nothing was recorded [STORE_FAULT]") || strings.Contains(said, "Nobody knows") || !strings.Contains(said, "--request-id 0191e0a4") {
		t.Error(said)
	}
}

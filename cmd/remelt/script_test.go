package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"example.org/remelt/ledger/sqlite"
	"example.org/remelt/server"
)

var update = flag.Bool("update", false, "write what the commands print into the scripts and golden files")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"remelt": main})
}

// TestScripts runs every script against a server of its own on a fresh file. The
// server's clock stands at 2 March 2026, 08:00 UTC until a script moves it.
//
// Beside the usual words of testscript the scripts know:
//
//	shop               opens the book of Harrow Lane Foundry and sets it up
//	clock TIME         moves the server's clock
//	exits N CMD...     runs a command that must end with status N
//	eventually CMD...  runs a command until it succeeds
//	joins PASSWORD     takes up the invitation in the last output, as a browser does
//	again N FILE       writes the last line of a file N times more
//	captures NAME RE   puts what the last output has in the group of RE in the variable
func TestScripts(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir:           filepath.Join("..", "..", "testdata", "script"),
		UpdateScripts: *update,
		Setup:         setUpScript,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"shop":       scriptShop,
			"clock":      scriptClock,
			"exits":      scriptExits,
			"eventually": scriptEventually,
			"again":      scriptAgain,
			"joins":      scriptJoins,
			"captures":   scriptCaptures,
		},
	})
}

// testClock is the clock of a script's server.
type testClock struct {
	mu sync.Mutex
	at time.Time
}

func (c *testClock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

type clockKey struct{}

// testServer is a server on a file of its own in a folder, and what stops it.
func testServer(dir string, clock *testClock) (*server.Server, func() error, error) {
	store, err := sqlite.Open(context.Background(), filepath.Join(dir, "book.db"), sqlite.Options{})
	if err != nil {
		return nil, nil, err
	}
	s, err := server.New(server.Config{Store: store, GRPC: "127.0.0.1:0", HTTP: "127.0.0.1:0", Now: clock.now, Version: "test",
		Log: slog.New(slog.NewTextHandler(io.Discard, nil)), Backup: backupOf(store)})
	if err != nil {
		return nil, nil, errors.Join(err, store.Close())
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	return s, func() error { stop(); return <-ended }, nil
}

func newTestClock() *testClock { return &testClock{at: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)} }

func setUpScript(env *testscript.Env) error {
	dir := filepath.Join(env.WorkDir, ".server")
	if err := os.Mkdir(dir, 0o755); err != nil {
		return err
	}
	clock := newTestClock()
	s, stop, err := testServer(dir, clock)
	if err != nil {
		return err
	}
	env.Defer(func() {
		if err := stop(); err != nil {
			env.T().Fatal(fmt.Sprintf("the server ended with: %v", err))
		}
	})
	env.Values[clockKey{}] = clock
	free, err := freeAddresses(2)
	if err != nil {
		return err
	}
	env.Setenv("REMELT_SERVER", s.GRPCAddr())
	env.Setenv("REMELT_WHO", "mara")
	env.Setenv("HTTP", s.HTTPAddr())
	env.Setenv("FREE1", free[0])
	env.Setenv("FREE2", free[1])
	env.Setenv("TMPDIR", env.WorkDir)
	return nil
}

// freeAddresses gives addresses that nobody listens on.
func freeAddresses(n int) (all []string, err error) {
	for range n {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			return nil, err
		}
		defer l.Close()
		all = append(all, l.Addr().String())
	}
	return all, nil
}

func scriptClock(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: clock TIME")
	}
	at, err := time.Parse(time.RFC3339, args[0])
	ts.Check(err)
	c := ts.Value(clockKey{}).(*testClock)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = at
}

// scriptShop sets up an invented shop that weighs in grams, as the worked heat does.
func scriptShop(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: shop")
	}
	if err := setUpShop(ts.Getenv("REMELT_SERVER")); err != nil {
		ts.Fatalf("%v", err)
	}
}

func setUpShop(address string) error {
	for _, line := range [][]string{
		{"set", "shop", "harrow", "Harrow Lane Foundry", "--mass-unit", "g", "--time-zone", "America/Chicago"},
		{"set", "scale", "floor", "floor scale", "--division", "10 g", "--class", "III"},
		{"set", "place", "rack", "ingot rack"},
		{"set", "place", "bin-3", "third bin"},
		{"set", "tare", "blue-bin", "blue bin", "--weight", "2 kg"},
		{"set", "crucible", "A60", "no. 60", "--volume", "9 l", "--family", "silicon bronze", "--life", "60"},
		{"set", "party", "northmetal", "North Metal", "--role", "supplier"},
		{"set", "party", "iris", "Iris Vale", "--role", "customer"},
		{"set", "supply", "borax", "anhydrous borax", "--purpose", "flux"},
	} {
		var out, errs bytes.Buffer
		a := &app{in: strings.NewReader(""), out: &out, err: &errs, now: time.Now}
		if code := a.run(context.Background(), append(line, "--server", address, "--who", "mara")); code != 0 {
			return fmt.Errorf("%s: status %d: %s", strings.Join(line, " "), code, &errs)
		}
	}
	return nil
}

func scriptExits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits N CMD...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	got := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		got = exit.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if got != want {
		ts.Fatalf("%s ended with status %d, want %d", strings.Join(args[1:], " "), got, want)
	}
}

func scriptEventually(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: eventually CMD...")
	}
	var err error
	for range 40 {
		if err = ts.Exec(args[0], args[1:]...); err == nil {
			return
		}
		time.Sleep(250 * time.Millisecond)
	}
	ts.Fatalf("%s never succeeded: %v", strings.Join(args, " "), err)
}

func scriptAgain(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: again N FILE")
	}
	n, err := strconv.Atoi(args[0])
	ts.Check(err)
	text := ts.ReadFile(args[1])
	lines := strings.SplitAfter(strings.TrimSuffix(text, "\n"), "\n")
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte(text+strings.Repeat(lines[len(lines)-1]+"\n", n)), 0o600))
}

func scriptCaptures(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: captures NAME RE")
	}
	m := regexp.MustCompile(args[1]).FindStringSubmatch(ts.ReadFile("stdout"))
	if len(m) != 2 {
		ts.Fatalf("no %s in the output", args[1])
	}
	ts.Setenv(args[0], m[1])
}

func scriptJoins(ts *testscript.TestScript, neg bool, args []string) {
	m := regexp.MustCompile(`(http://\S+/join)#(\S+)`).FindStringSubmatch(ts.ReadFile("stdout"))
	if neg || len(args) != 1 || len(m) != 3 {
		ts.Fatalf("usage: joins PASSWORD, after a command that shows a link")
	}
	resp, err := http.PostForm(m[1], url.Values{"code": {m[2]}, "password": {args[0]}, "again": {args[0]}})
	if err != nil {
		ts.Fatalf("%v", err)
	}
	defer resp.Body.Close()
	if at := resp.Request.URL.Path; resp.StatusCode >= 500 || strings.HasSuffix(at, "/join") {
		ts.Fatalf("not let in: HTTP %d at %s", resp.StatusCode, at)
	}
}
